"""Nothing is lost by one command: what a bad day does to a job, each told in one line, all of it there afterwards.

Every case starts from a copy of one job. What must not be lost is held against what was there before: untouched where
the command refuses, to be had back by `disc undo` where it goes on.
"""

from __future__ import annotations

import json
import shutil
import sys

import cv2
import numpy as np
import pytest

from disc.check.check_job import check_job
from disc.cli import main
from disc.comb.comb_job import PREVIOUS_COMB_FILE
from disc.job import open_for_writing, open_job
from disc.job.made_from import FINDINGS, PLAN, REPORT, TUNE
from disc.job.stale import stale_results
from disc.repin.plan_job import PlanSettings, plan_job
from disc.report.condition import make_report
from disc.undo import EDITED_COMB_FILE, EDITED_PINS_FILE
from tests.photo.photo_sample import SAMPLE
from tests.repin.material import write_job

TABLES = ("pins.csv", "comb.csv", "reading.csv", "corrections.json", "decisions.json")


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A job with pins, comb, tune, findings, decisions, plan and report; made once."""
    folder = write_job(tmp_path_factory.mktemp("whole") / "disc")
    with open_for_writing(folder) as job:
        check_job(job)
        plan_job(job, PlanSettings())
        make_report(job, parts=("doubts", "findings"))
    return folder


@pytest.fixture
def job(whole, tmp_path):
    return shutil.copytree(whole, tmp_path / "disc")


@pytest.fixture
def disc(monkeypatch, capsys):
    """Runs a command in this process: (exit code, lines on standard output, lines on standard error)."""

    def run(*arguments):
        monkeypatch.setattr(sys, "argv", ["disc", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return ended.value.code, out.splitlines(), err.splitlines()

    return run


def kept(folder):
    """What a person made or has to answer for, and what the program last wrote of it."""
    names = [*TABLES, "job.json", ".pins.csv", ".comb.csv", "out/findings.json", "out/plan.json"]
    return {name: (folder / name).read_bytes() for name in names if (folder / name).is_file()}


def tables(folder):
    return {name: data for name, data in kept(folder).items() if name in TABLES}


def edited(path, change):
    path.write_text("\n".join(change(path.read_text(encoding="utf-8").splitlines())) + "\n", encoding="utf-8")


def cell(line, column, text):
    def change(lines):
        cells = lines[line - 1].split(",")
        cells[lines[0].split(",").index(column)] = text
        return [*lines[: line - 1], ",".join(cells), *lines[line:]]

    return change


def heading(lines):
    return lines[:1]


def half(lines):
    return lines[: len(lines) // 2]


def twice(row):
    return lambda lines: [*lines, lines[row]]


def cut_columns(lines):
    return [",".join(line.split(",")[:2]) for line in lines]


PIN_EDITS = {
    "header only": (heading, "59 of 59 pins are no longer in the table"),
    "half of it": (half, "pins are no longer in the table"),
    "off the plate": (cell(5, "r_mm", "80"), "line 5: r_mm is 80, off the plate"),
    "in the bore": (cell(5, "r_mm", "1.2"), "line 5: r_mm is 1.2, inside the bore"),
    "not a number": (cell(7, "r_mm", "nan"), "line 7: r_mm"),
    "infinite": (cell(7, "theta_deg", "inf"), "line 7: theta_deg"),
    "unknown tooth": (cell(7, "tooth", "9999"), "line 7: tooth is 9999, which the comb has not"),
    "unknown condition": (cell(7, "condition", "lost"), "line 7: condition is 'lost'"),
    "unknown side": (cell(7, "side", "left"), "line 7: side is 'left'"),
    "heading twice": (cell(1, "tooth", "r_mm"), "line 1: the heading r_mm stands in column 3 and again in column 12"),
    "number twice": (twice(4), "line 61: id 4 stands already in line 5"),
    "columns lost": (cut_columns, "has no column r_mm"),
    "emptied": (lambda lines: [], "is empty"),
}
COMB_EDITS = {
    "header only": (heading, "has no teeth"),
    "two of ten": (lambda lines: lines[:-2], "2 of 10 teeth are no longer in the table"),
    "off the plate": (cell(4, "tip_r_mm", "40"), "line 4: tip_r_mm is 40, off the plate"),
    "in the bore": (cell(4, "tip_r_mm", "1"), "line 4: tip_r_mm is 1, inside the bore"),
    "not a number": (cell(4, "tip_theta_deg", "NaN"), "line 4: tip_theta_deg"),
    "heading twice": (cell(1, "pitch", "side"), "line 1: the heading side stands in column 2 and again in column 5"),
    "number twice": (twice(3), "line 12: number 3 stands already in line 4"),
}


@pytest.mark.parametrize("change, words", PIN_EDITS.values(), ids=PIN_EDITS)
def test_a_spoilt_pin_table_is_refused_and_had_back(job, disc, change, words):
    _refused_and_had_back(job, disc, "pins.csv", EDITED_PINS_FILE, change, words)


@pytest.mark.parametrize("change, words", COMB_EDITS.values(), ids=COMB_EDITS)
def test_a_spoilt_comb_table_is_refused_and_had_back(job, disc, change, words):
    _refused_and_had_back(job, disc, "comb.csv", EDITED_COMB_FILE, change, words)


def _refused_and_had_back(job, disc, name, aside, change, words):
    before = kept(job)
    edited(job / name, change)
    spoilt = (job / name).read_bytes()
    for command in ("check", "repin"):
        code, out, (line,) = disc(command, job)
        assert code == 2 and out == [] and words in line
        assert f"disc undo {job} brings the table back" in line
    assert kept(job) == before | {name: spoilt}
    code, _, _ = disc("undo", job)
    assert code == 0 and tables(job) == {name: data for name, data in before.items() if name in TABLES}
    assert (job / aside).read_bytes() == spoilt


def test_what_was_edited_in_both_tables_is_announced_in_one_line_each(job, disc):
    before = kept(job)
    edited(job / "comb.csv", lambda lines: cell(3, "pitch", "71.5")(cell(2, "tip_r_mm", "5.52")(lines))[:-1])
    edited(job / "pins.csv", cell(9, "condition", "bent"))
    code, _, said = disc("set", job, "--thickness-mm", "1.1")
    assert code == 0 and len(said) == 1
    assert "comb.csv was edited by hand: took over 2 changes, 1 removal." in said[0]
    assert "pins.csv was edited by hand: took over 1 change." in said[0]
    now = open_job(job)
    assert now.comb().tooth(2).pitch == 71.5 and len(now.comb().teeth) == 9
    for _ in range(3):  # what was set, the pins, the comb
        disc("undo", job)
    assert {name: kept(job)[name] for name in ("pins.csv", "comb.csv")} == {
        n: before[n] for n in ("pins.csv", "comb.csv")
    }


def test_a_removal_that_is_meant_is_taken_over_and_had_back(job, disc):
    edited(job / "comb.csv", lambda lines: lines[:-3])
    _, out, _ = disc("take", job, "--yes")
    assert out == ["comb.csv was edited by hand: took over 3 removals."]
    assert len(open_job(job).comb().teeth) == 7
    disc("undo", job)
    assert len(open_job(job).comb().teeth) == 10


@pytest.mark.parametrize("how", ["--from-pins", "--table"])
def test_a_measured_comb_that_is_replaced_is_kept(job, disc, tmp_path, how):
    before = kept(job)
    edited_table = tmp_path / "other.csv"
    edited_table.write_text("\n".join((job / "comb.csv").read_text().splitlines()[:-2]) + "\n")
    code, _, (line,) = disc("comb", job, *((how,) if how == "--from-pins" else (how, edited_table)))
    assert code == 0 and PREVIOUS_COMB_FILE in line and "disc undo" in line
    assert (job / PREVIOUS_COMB_FILE).read_bytes() == before["comb.csv"] != (job / "comb.csv").read_bytes()
    disc("undo", job)
    assert kept(job)["comb.csv"] == before["comb.csv"] and not open_job(job).comb().draft


@pytest.mark.parametrize(
    "name, command",
    [
        ("job.json", "check"),
        ("corrections.json", "check"),
        ("decisions.json", "repin"),
        ("out/findings.json", "repin"),
        ("out/plan.json", "drill"),
        ("out/plan.json", "offer"),
        ("log.json", "report"),
        ("rates.toml", "repin"),
    ],
)
def test_a_truncated_file_is_named_and_nothing_else_is_touched(job, disc, name, command):
    if name == "corrections.json":
        edited(job / "pins.csv", cell(9, "condition", "bent"))
        disc("take", job)
    if name == "log.json":
        disc("log", job, "add", "--note", "dial off")
    path = job / name
    path.write_bytes(path.read_bytes()[: -len(path.read_bytes()) // 3])
    before = kept(job) | {name: path.read_bytes()}
    code, out, (line,) = disc(command, job)
    assert code == 2 and out == [] and name.rpartition("/")[2] in line
    assert kept(job) | {name: path.read_bytes()} == before


def test_stale_results_are_named_in_one_line_and_nothing_is_drilled_by_them(job, disc):
    edited(job / "pins.csv", cell(9, "condition", "stub"))
    code, out, _ = disc("check", shutil.copytree(job, job.parent / "checked"))
    (stale,) = [line for line in out if line.startswith("In doubt (stale)")]
    assert code == 0 and "the tune, the plan and the report rest on what has changed since: the pins." in stale
    disc("take", job)
    assert {TUNE, FINDINGS, PLAN, REPORT} <= set(stale_results(open_job(job)))
    assert disc("drill", job)[0] == 2  # nothing is drilled by it
    disc("undo", job)
    assert not stale_results(open_job(job)).keys() & {TUNE, FINDINGS, PLAN}


def test_a_job_is_not_started_or_designed_over_another(job, disc):
    before = kept(job)
    code, _, (line,) = disc("start", job, "--diameter-mm", "20")
    assert code == 2 and "there is a job here already" in line
    code, _, (line,) = disc("design", "scores/evening-round.abc", "--comb", job / "comb.csv", "--out", job)
    assert code == 2 and "there is a job here already" in line
    assert kept(job) == before


def test_an_undo_is_taken_back(job, disc):
    before = open_job(job).content.plate
    disc("set", job, "--revolution-s", "61")
    disc("undo", job)
    assert open_job(job).content.plate == before
    _, out, _ = disc("undo", job, "--list", "--json")
    newest = json.loads(out[0])["steps"][0]["number"]
    disc("undo", job, newest)
    assert open_job(job).plate.revolution_s == 61.0


def test_a_value_that_cannot_be_leaves_the_plate(job, disc):
    before = kept(job)
    code, _, (line,) = disc("set", job, "--diameter-mm", "900")
    assert code == 2 and "diameter_mm" in line and kept(job) == before


# ---- photographs


@pytest.fixture(scope="module")
def read_once(tmp_path_factory, small):
    """A job with one face read, from a small picture."""
    from disc.job import create_job
    from disc.photo.read_photos import read_job

    folder = tmp_path_factory.mktemp("read") / "disc"
    create_job(folder, {"diameter_mm": 26.0, "turns": "clockwise", "revolution_s": 45.0, "rest_arc_deg": 14.0})
    with open_for_writing(folder) as job:
        read_job(job, upper=(small["upper"],))
    return folder


def test_photographs_that_would_replace_a_good_reading_are_kept_aside(read_once, small, disc, tmp_path):
    from disc.photo.read_photos import ASIDE_TABLE

    for name, words in {
        "black": "disc",
        "hidden": "kept aside, not put in force",
        "lower": "kept aside, not put in force",
    }.items():
        folder = shutil.copytree(read_once, tmp_path / name)
        before = {name: (folder / name).read_bytes() for name in ("pins.csv", "reading.csv")}
        code, out, err = disc("read", folder, "--upper", small[name])
        said = [line for line in (*out, *err) if words in line]
        assert len(said) == 1 and (code == 2) is (name == "black"), (name, out, err)
        assert {n: (folder / n).read_bytes() for n in before} == before
        assert (folder / ASIDE_TABLE).is_file() is (name != "black")


def test_a_diameter_that_is_corrected_moves_every_pin(read_once, disc, tmp_path):
    """The same photographs at another scale are no other disc, to be kept aside: the reading follows."""
    folder = shutil.copytree(read_once, tmp_path / "disc")
    before = [pin.r_mm for pin in open_job(folder).pins()]
    code, out, _ = disc("set", folder, "--diameter-mm", "28.6")
    after = [pin.r_mm for pin in open_job(folder).pins()]
    assert code == 0 and any("read anew" in line for line in out)
    assert np.median(after) / np.median(before) == pytest.approx(1.1, abs=0.02)
    disc("undo", folder)
    assert [pin.r_mm for pin in open_job(folder).pins()] == before


def test_two_photographs_of_one_name_are_both_kept(read_once, small, tmp_path):
    from disc.photo.read_photos import read_job

    folder = shutil.copytree(read_once, tmp_path / "disc")
    first = (folder / "photos/upper.jpg").read_bytes()
    again = tmp_path / "upper.jpg"
    again.write_bytes(small["upper"].read_bytes() + b"\0")  # another file, the same picture
    with open_for_writing(folder) as job:
        read_job(job, upper=(again,))
    assert (folder / "photos/upper.jpg").read_bytes() == first
    assert (folder / "photos/upper-2.jpg").read_bytes() == again.read_bytes()


def test_two_recordings_of_one_name_are_both_kept(job, tmp_path):
    from disc.listen.kept_recordings import recordings_of, stage_recordings

    first, second = (tmp_path / day / "turn.wav" for day in ("monday", "tuesday"))
    for path, data in ((first, b"one turn"), (second, b"the same turn again")):
        path.parent.mkdir()
        path.write_bytes(data)
    with open_for_writing(job) as opened:
        with opened.step("listen", (first, second)) as stage:
            assert stage_recordings(opened, stage, (first, second)) == ("turn.wav", "turn-2.wav")
        # Listened to again, neither is kept a third time.
        with opened.step("listen", (second, first)) as stage:
            assert stage_recordings(opened, stage, (second, first)) == ("turn-2.wav", "turn.wav")
        assert recordings_of(opened) == ["turn-2.wav", "turn.wav"]
    assert (job / "recordings/turn.wav").read_bytes() == first.read_bytes()
    assert (job / "recordings/turn-2.wav").read_bytes() == second.read_bytes()
    inputs = open_job(job).content.runs[-2].inputs
    assert sorted(inputs) == ["turn.wav", "turn.wav (2)"] and len(set(inputs.values())) == 2


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The sample's photographs made small, one face half hidden, and a black one."""
    folder = tmp_path_factory.mktemp("small")
    made = {}
    for side in ("upper", "lower"):
        picture = cv2.imread(str(SAMPLE / f"{side}.jpg"))
        scale = 1000 / max(picture.shape)
        picture = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        made[side] = picture
    hidden = made["upper"].copy()
    height, width = hidden.shape[:2]
    hidden[int(0.34 * height) :, :] = cv2.GaussianBlur(hidden[int(0.34 * height) :, :], (0, 0), 12)
    made |= {"hidden": hidden, "black": np.zeros((height, width, 3), np.uint8)}
    for name, picture in made.items():
        cv2.imwrite(str(folder / f"{name}.jpg"), picture, [cv2.IMWRITE_JPEG_QUALITY, 95])
    return {name: folder / f"{name}.jpg" for name in made}
