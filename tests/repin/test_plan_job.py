"""`disc repin` on a job folder: what it writes, what it remembers, and what it says when it cannot go on."""

from __future__ import annotations

import csv
import hashlib
import json
import math
import subprocess
import sys

import pytest

from disc.check.decisions import Verdict, decision_on, load_decisions, stage_decisions
from disc.check.store import load_findings
from disc.cli import main
from disc.errors import BadInput, MissingPart
from disc.job import create_job, open_for_writing, open_job
from disc.records import About, Plate
from disc.repin.make_plan import PlanSettings, parse_window
from disc.repin.plan_job import plan_job
from disc.repin.records import Operation
from disc.repin.store import load_plan

from .material import write_job

RUN = [sys.executable, "-c", "from disc.cli import main; main()", "repin"]


def run(*arguments):
    return subprocess.run([*RUN, *map(str, arguments)], capture_output=True, text=True, timeout=60)


def digest(folder, leave_out=("job.json", ".lock")):
    files = sorted(p for p in folder.rglob("*") if p.is_file() and p.name not in leave_out)
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def plan_once(folder, **chosen):
    with open_for_writing(folder) as job:
        return plan_job(job, PlanSettings(**chosen))


def rows_of(path):
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_plan_reads_back_equal(planned_job, damaged_job):
    made = plan_once(damaged_job, enlarge=5.0)
    assert load_plan(open_job(damaged_job)) == made.plan
    assert load_plan(open_job(planned_job)) == made.plan  # and another job of the same disc has the same plan


def test_no_plan_yet_is_none_and_a_damaged_one_is_told(damaged_job):
    assert load_plan(open_job(damaged_job)) is None
    (damaged_job / "out/plan.json").write_text('{"schema": 2, "plate": 3}')
    with pytest.raises(BadInput, match=r"plan\.json: the plan is damaged .* Run disc repin .*old-disc again"):
        load_plan(open_job(damaged_job))


def test_same_input_same_files(damaged_job):
    plan_once(damaged_job)
    first = digest(damaged_job)
    plan_once(damaged_job)
    assert digest(damaged_job) == first
    assert len([name for name in first if name.startswith("out/drawings/")]) == 9


def test_drawings_of_another_enlargement_go_away(damaged_job):
    plan_once(damaged_job, enlarge=5.0)
    plan_once(damaged_job, enlarge=3.0)
    names = sorted(p.name for p in (damaged_job / "out/drawings").glob("upper*.svg"))
    assert names == ["upper-1to1.svg", "upper-3to1.svg"]


def test_tables_agree_with_each_other(planned_job):
    drills = {row["number"]: row for row in rows_of(planned_job / "out/drawings/drill-table.csv")}
    machines = rows_of(planned_job / "out/drawings/machine-settings.csv")
    worked = [n for n, row in drills.items() if row["operations"] != "leave"]
    assert [row["number"] for row in machines] == worked
    for row in machines:
        place = drills[row["number"]]
        assert row["side"] == place["side"]
        # Seen on the lower face y is mirrored, and the plate is turned the other way under the tool.
        sign = 1 if row["side"] == "upper" else -1
        assert float(row["x_mm"]) == pytest.approx(float(place["x_mm"]), abs=0.00056)
        assert float(row["y_mm"]) == pytest.approx(sign * float(place["y_mm"]), abs=0.00056)
        assert row["plate_turns"] == ("clockwise" if sign > 0 else "counterclockwise")
        crank = int(row["turns"]) + int(row["holes"]) / int(row["circle"])
        reached = crank * 360 / int(row["worm"])
        assert reached == pytest.approx(float(place["theta_deg"]) + float(row["error_deg"]), abs=2e-4)
        assert float(row["error_ms"]) == pytest.approx(float(row["error_deg"]) / 360 * 45000, abs=0.02)
        table = int(row["table_deg"]) + int(row["table_min"]) / 60 + int(row["table_s"]) / 3600
        assert table == pytest.approx(float(place["theta_deg"]), abs=0.5 / 3600 + 1e-4)


def test_a_decision_changes_the_estimate_and_the_history_says_so(damaged_job):
    plan_once(damaged_job)
    with open_for_writing(damaged_job) as job:
        in_doubt = next(f for f in load_findings(job) if f.kind == "in-doubt")
        accepted = decision_on(in_doubt, Verdict.ACCEPTED, "the second strain has it", kind="missing")
        with job.step("desk") as stage:
            stage_decisions(stage, (*load_decisions(job), accepted))
    made = plan_once(damaged_job)
    assert [h["in_doubt"] for h in made.history] == [1, 0]
    assert "set 3.55 -> 4" in made.history[1]["changed"]
    assert made.plan.estimate.hours[0] == made.plan.estimate.hours[2]
    plan_once(damaged_job)
    assert len(open_job(damaged_job).content.results["repin"]["history"]) == 2


def test_rates_are_the_user_s_own(damaged_job, tmp_path):
    plan_once(damaged_job)
    own = damaged_job / "rates.toml"
    text = own.read_text(encoding="utf-8").replace("sample = true\n", "").replace('"EUR"', '"CHF"')
    own.write_text(text.replace("per_hour = 60.0", "per_hour = 90.0"), encoding="utf-8")
    before = own.read_bytes()
    made = plan_once(damaged_job)
    assert made.plan.estimate.currency == "CHF" and not made.plan.estimate.sample
    assert own.read_bytes() == before  # never overwritten
    given = tmp_path / "other.toml"
    given.write_text(text.replace('"CHF"', '"GBP"'), encoding="utf-8")
    assert plan_once(damaged_job, rates=given).plan.estimate.currency == "GBP"
    assert plan_once(damaged_job).plan.estimate.currency == "GBP"  # kept in the job
    assert (damaged_job / "rates.previous.toml").read_bytes() == before


def test_choices_are_remembered(damaged_job):
    plan_once(damaged_job, paper="letter", worm=90, circles="15,20", windows=("4,9,20,40",), drills="iso235")
    made = plan_once(damaged_job)
    assert made.plan.windows == ((4.0, 9.0, 20.0, 40.0),)
    assert made.plan.dividing[0].dividing.worm == 90 and made.plan.dividing[0].dividing.circle in (15, 20)
    new = next(s for s in made.plan.stations if s.needs_hole)
    assert new.stock.drill.name == "0.22 mm"


def test_a_window_near_a_hole_is_seen(damaged_job):
    made = plan_once(damaged_job)
    hole = next(s for s in made.plan.stations if s.needs_hole).place
    window = f"{hole.r_mm + 0.2},{hole.r_mm + 0.9},{hole.theta_deg - 5},{hole.theta_deg + 5}"
    again = plan_once(damaged_job, windows=(window,))
    new = next(s for s in again.plan.stations if s.needs_hole)
    assert new.wall.to == "a crossing's edge" and new.wall.wall_mm == pytest.approx(0.2 - 0.125, abs=1e-6)
    assert any("only 0.07 mm of metal" in note or "only 0.08 mm of metal" in note for note in new.notes)


def test_an_unchecked_job_is_in_doubt_and_says_so(damaged_job):
    (damaged_job / "out/findings.json").unlink()
    made = plan_once(damaged_job)
    assert any("Not checked yet" in note for note in made.plan.notes)
    assert sum(s.in_doubt for s in made.plan.stations) == 3


def test_pins_changed_since_the_check_are_told(damaged_job):
    table = damaged_job / "pins.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    table.write_text("\n".join(lines[:-1]) + "\n", encoding="utf-8")
    told = [doubt.say for doubt in plan_once(damaged_job).doubts if doubt.about is About.STALE]
    assert told == ["the tune and the findings rest on what has changed since: the pins."]


def test_designed_job_counts_every_pin(designed_job):
    job = open_job(designed_job)
    summary = job.content.results["repin"]
    assert summary["operations"]["set"] == summary["operations"]["drill"] == 60
    assert summary["in_doubt"] == 0 and summary["worm"] == 90 and summary["worst_ms"] < 10.0
    assert load_plan(job).designed


def test_holes_of_old_pins_are_not_drilled_again(tmp_path):
    """An old disc filled up: 1 to 50 stay, 51 to 55 go into the holes of lost pins, 56 to 60 get new holes."""
    filled_up = {"kept": list(range(1, 51)), "reused": list(range(51, 56))}
    folder = write_job(tmp_path / "filled-up", designed=True, **filled_up)
    made = plan_once(folder)
    by_pin = {s.pin_id: s for s in made.plan.stations}
    for number in filled_up["reused"]:
        station = by_pin[number]
        assert station.operations == (Operation.SET,) and station.number is not None
        assert station.found == station.place and station.depth_mm is None and not station.on_grid
        assert any("gauge it with a drill's shank" in note for note in station.notes)
    assert {by_pin[n].operations for n in filled_up["kept"]} == {(Operation.LEAVE,)}
    assert {by_pin[n].operations for n in range(56, 61)} == {(Operation.DRILL, Operation.SET)}
    counts = {line.what: line.count[1] for line in made.plan.estimate.lines}
    assert counts["set"] == 10 and counts["drill"] == 5
    rows = {int(row["pin"]): row for row in rows_of(folder / "out/drawings/drill-table.csv")}
    assert sorted(rows) == list(range(51, 61))
    assert {n for n, row in rows.items() if row["drill"]} == set(range(56, 61))
    # Old holes count, with the width of their pins, among what a new one must keep clear of.
    for new in (by_pin[n] for n in range(56, 61)):
        beside = [s.place for s in made.plan.of(new.side) if s is not new]
        gaps = [math.hypot(p.x_mm - new.place.x_mm, p.y_mm - new.place.y_mm) for p in beside]
        assert new.wall.wall_mm <= min(gaps) - (0.25 + new.stock.wire_mm) / 2 + 1e-9
    command = ["pdftotext", folder / "out/work-list.pdf", "-"]
    words = " ".join(subprocess.run(command, capture_output=True, text=True, check=True).stdout.split())
    assert words.count("no drilling, the hole is there") == 5
    assert "An old disc filled up" in words and "every pin is set" not in words


def test_work_list_holds_cautions_reasons_and_history(planned_job):
    command = ["pdftotext", "-layout", planned_job / "out/work-list.pdf", "-"]
    words = " ".join(subprocess.run(command, capture_output=True, text=True, check=True).stdout.split())
    for part in ("Let the mainsprings down", "eye protection", "broken off", "IN DOUBT", "Estimate", "first estimate"):
        assert part in words


def test_no_pins_is_told(tmp_path):
    create_job(tmp_path / "empty", Plate(28.0))
    with open_for_writing(tmp_path / "empty") as job, pytest.raises(MissingPart, match=r"no pins yet\. Run: disc read"):
        plan_job(job, PlanSettings())


# ---- through the command line


def test_command_line(damaged_job):
    done = run(damaged_job, "--worm", 60, "--plates", "20,21;23", "--json")
    assert done.returncode == 0 and done.stderr == ""
    said = json.loads(done.stdout)
    assert said["worm"] == 60 and said["circle"] in (20, 21, 23)
    assert said["operations"]["set"] == 4 and said["in_doubt"] == 1 and "out/plan.json" in said["files"]
    spoken = run(damaged_job)
    assert spoken.returncode == 0
    assert "Before you handle the object" in spoken.stdout and "sample rates" in spoken.stdout


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["--page", "a3"], "no paper is called 'a3' here; choose a4 or letter"),
        (["--enlarge", "40"], "does not fit A4 for a disc of 30 mm; choose more than 1 and at most 5"),
        (["--worm", "0"], "a dividing head of 0:1 is not possible"),
        (["--plates", "15,many"], "circles '15,many' cannot be read"),
        (["--wires", "thin"], "wire sizes 'thin' cannot be read"),
        (["--drills", "9"], "a drill of 9 mm has no use here"),
        (["--window", "3,2,0,10"], "does not lie on the plate"),
        (["--window", "3,4"], "inner radius, outer radius"),
        (["--rates", "no-such.toml"], "no-such.toml: there is no such file"),
        (["--tip-width-mm", "0"], "a tip of 0 mm"),
    ],
)
def test_bad_use_is_one_line_and_changes_nothing(damaged_job, arguments, words, monkeypatch, capsys):
    before = digest(damaged_job, leave_out=(".lock",))
    monkeypatch.setattr(sys, "argv", ["disc", "repin", str(damaged_job), *arguments])
    with pytest.raises(SystemExit) as stopped:
        main()
    said = capsys.readouterr()
    assert stopped.value.code == 2 and said.out == ""
    assert words in said.err and said.err.count("\n") == 1
    assert digest(damaged_job, leave_out=(".lock",)) == before


def test_bad_use_in_a_process_of_its_own(damaged_job):
    done = run(damaged_job, "--drills", "0.6,0.7")
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr.startswith("disc: no drill fits wire of 0.25 mm") and done.stderr.count("\n") == 1


@pytest.mark.parametrize("text", ["nan,4,0,10", "1,4,0,inf", "1;4;0;10", ""])
def test_windows_that_are_none(text):
    with pytest.raises(BadInput, match="the window"):
        parse_window(text, 15.0)


def test_a_planned_disc_keeps_its_old_pins_and_its_screws(tmp_path):
    folder = write_job(tmp_path / "filled-up", designed=True)
    with open_for_writing(folder) as job:
        near = next(p for p in job.pins() if p.id == 50)
        zones = [{"name": "line 2", "r_mm": near.r_mm + 0.5, "theta_deg": near.theta_deg, "diameter_mm": 0.6}]
        zones.append({"name": "line 3", "from_r_mm": 2.0, "to_r_mm": 3.0, "from_theta_deg": 5.0, "to_theta_deg": 50.0})
        job.settings["design"] = {"kept": list(range(1, 41)), "keep_out": zones}
        with job.step("design"):
            pass
    made = plan_once(folder)
    assert sum(s.needs_hole for s in made.plan.stations) == 20
    assert made.plan.windows == ((2.0, 3.0, 5.0, 50.0),)
    hole = next(s for s in made.plan.stations if s.pin_id == 50)
    assert "line 2" in hole.wall.to and hole.wall.wall_mm == pytest.approx(0.5 - 0.3 - 0.125, abs=1e-3)
    assert any("Old pins stay" in note for note in made.plan.notes)
