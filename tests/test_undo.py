"""Nothing is lost by one command: tables edited by hand, combs that are replaced, and the last step taken back."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from disc.comb.comb_job import PREVIOUS_COMB_FILE, draft_from_pins, take_table
from disc.errors import BadInput
from disc.job import create_job, kept, open_for_writing, open_job
from disc.records import Comb, Pin, Plate, Side, Tooth
from disc.tables import format_comb
from disc.undo import EDITED_PINS_FILE, undo

COMB = Comb(tuple(Tooth(n, Side.UPPER, 5.0 + n, 10.0, 60.0 + n) for n in range(1, 5)))
PINS = tuple(Pin(n, Side.UPPER, 6.0 + n % 4, 8.0 * n, tooth=n % 4 + 1) for n in range(1, 41))
TABLES = ("pins.csv", "comb.csv", "reading.csv")


@pytest.fixture
def job(tmp_path):
    made = create_job(tmp_path / "disc", Plate(28.0, revolution_s=48.0, bore_mm=3.0))
    with made.step("read") as stage:
        made.stage_reading(stage, PINS)
        made.stage_comb(stage, COMB)
    return made


def tables(job):
    return {name: job.path(name).read_bytes() for name in TABLES} | {"plate": job.content.plate.model_dump()}


def run(*arguments):
    code = "from disc.cli import main; main()"
    return subprocess.run([sys.executable, "-c", code, *map(str, arguments)], capture_output=True, text=True)


def edit(job, change):
    path = job.path("pins.csv")
    lines = path.read_text().splitlines()
    path.write_text("\n".join(change(lines)) + "\n")
    return path.read_bytes()


def cell(line, column, text):
    def change(lines):
        cells = lines[line - 1].split(",")
        cells[lines[0].split(",").index(column)] = text
        return [*lines[: line - 1], ",".join(cells), *lines[line:]]

    return change


def test_what_was_edited_by_hand_is_announced_in_one_line(job):
    edit(job, lambda lines: cell(3, "condition", "stub")(cell(2, "condition", "bent")(lines))[:-1])
    done = run("take", job.folder, "--json")
    assert "took over 2 changes, 1 removal" in json.loads(done.stdout)["said"]
    edit(job, cell(4, "condition", "stub"))
    done = run("set", job.folder, "--thickness-mm", "1", "--json")
    assert json.loads(done.stdout) and done.stderr == "disc: pins.csv was edited by hand: took over 1 change.\n"


@pytest.mark.parametrize("left", [0, 20, 35])
def test_more_than_a_tenth_removed_is_asked_for_and_nothing_is_lost(job, left):
    edited = edit(job, lambda lines: lines[: left + 1])
    before = job.path("corrections.json").exists(), job.path("job.json").read_bytes()
    done = run("set", job.folder, "--thickness-mm", "1")
    assert done.returncode == 2 and len(done.stderr.splitlines()) == 1
    assert f"{40 - left} of 40 pins" in done.stderr and "--yes" in done.stderr
    assert (job.path("corrections.json").exists(), job.path("job.json").read_bytes()) == before
    assert job.path("pins.csv").read_bytes() == edited
    assert f"took over {40 - left} removals" in run("take", job.folder, "--yes").stdout
    assert len(open_job(job.folder).pins()) == left
    assert undo(open_job(job.folder)) and open_job(job.folder).pins() == PINS  # that, too, can be had back


def test_a_tenth_removed_is_not_asked_for(job):
    edit(job, lambda lines: lines[:-4])
    with open_for_writing(job.folder) as opened:
        assert len(opened.pins()) == 36


def test_a_table_that_was_spoilt_can_be_had_back(job):
    spoilt = edit(job, lambda lines: lines[:1])
    assert "as it was before it was edited" in run("undo", job.folder).stdout
    again = open_job(job.folder)
    assert again.pins() == PINS and again.path(EDITED_PINS_FILE).read_bytes() == spoilt


@pytest.mark.parametrize(
    "change, words",
    [
        (cell(5, "r_mm", "80"), "line 5: r_mm is 80, off the plate"),
        (cell(5, "r_mm", "1.2"), "line 5: r_mm is 1.2, inside the bore"),
        (cell(7, "tooth", "9999"), "line 7: tooth is 9999, which the comb has not"),
        (cell(7, "r_mm", "nan"), "line 7: r_mm"),
        (cell(7, "theta_deg", "NaN"), "line 7: theta_deg"),
        (cell(7, "confidence", "inf"), "line 7: confidence"),
        (cell(1, "tooth", "r_mm"), "line 1: the heading r_mm stands in column 3 and again in column 12"),
        (lambda lines: [*lines, lines[4]], "line 42: id 4 stands already in line 5"),
    ],
)
def test_what_cannot_be_is_refused_by_line_and_column(job, change, words):
    edited = edit(job, change)
    with pytest.raises(BadInput) as told, open_for_writing(job.folder):
        pass
    assert words in str(told.value) and len(str(told.value).splitlines()) == 1
    assert job.path("pins.csv").read_bytes() == edited


def test_a_measured_comb_that_is_replaced_is_kept_and_had_back(job):
    before = tables(job)
    done = run("comb", job.folder, "--from-pins", "--json")
    assert PREVIOUS_COMB_FILE in done.stderr and "disc undo" in done.stderr
    again = open_job(job.folder)
    assert again.comb().draft and again.path(PREVIOUS_COMB_FILE).read_bytes() == before["comb.csv"]
    draft_from_pins(again)  # a draft over a draft leaves the measured one alone
    assert again.path(PREVIOUS_COMB_FILE).read_bytes() == before["comb.csv"]
    run("undo", job.folder)
    again = open_job(job.folder)
    assert tables(again) == before and not again.comb().draft


def test_undo_goes_back_step_by_step_and_can_be_taken_back_itself(job, tmp_path):
    states = [tables(job)]
    other = tmp_path / "other.csv"
    other.write_text(format_comb(Comb(COMB.teeth[:3])))
    take_table(job, other)
    states.append(tables(job))
    job.content.change_plate({"revolution_s": 60.0})
    with job.step("set"):
        pass
    states.append(tables(job))
    with job.step("report") as stage:  # changes nothing that could be lost
        stage.write_text("out/report.html", "x")
    words = undo(open_job(job.folder))
    assert "(set," in words and "plate is as before" in words and tables(open_job(job.folder)) == states[1]
    assert "comb --table" in undo(open_job(job.folder)) and tables(open_job(job.folder)) == states[0]
    shown = json.loads(run("undo", job.folder, "--list", "--json").stdout)["steps"]
    assert [step["command"] for step in shown] == ["undo", "undo", "set", "comb --table", "read"]
    undo(open_job(job.folder), shown[1]["number"])  # what stood before the first undo
    assert tables(open_job(job.folder)) == states[2]
    with pytest.raises(BadInput, match="no step 99 is kept"):
        undo(open_job(job.folder), 99)


def test_undo_of_the_first_reading_and_then_nothing_more(job):
    undo(job)
    again = open_job(job.folder)
    assert not any(again.has(name) for name in TABLES)
    with pytest.raises(BadInput, match="no step to take back"):
        undo(again)


def test_only_the_newest_are_kept_and_the_desks_in_a_row_are_one(job, monkeypatch):
    monkeypatch.setattr(kept, "MOST_KEPT", 3)
    for turn_s in range(40, 46):
        job.content.change_plate({"revolution_s": float(turn_s)})
        with job.step("set"):
            pass
    assert [one.number for one in kept.kept_sets(job.folder)] == [7, 6, 5]
    assert {path.name.partition("-")[0].partition(".")[0] for path in job.path(".kept").iterdir()} == {"5", "6", "7"}
    for turn_s in range(50, 53):
        job.content.change_plate({"revolution_s": float(turn_s)})
        with job.step("desk"):
            pass
    assert [one.command for one in kept.kept_sets(job.folder)] == ["desk", "set", "set"]
    undo(job)
    assert open_job(job.folder).plate.revolution_s == 45.0
