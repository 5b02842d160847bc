"""`disc check` as a person meets it: words, JSON, a score given, before and after, and bad use in one line."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import xml.etree.ElementTree as ET
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from unittest import mock

import mido
import pytest

from disc.check.decisions import Verdict, decision_on, stage_decisions
from disc.check.store import load_findings
from disc.cli import main
from disc.job import Job, create_job, open_job
from disc.records import Condition, Pin
from disc.tables import format_pins
from disc.turn.turn_of_job import tune_doubts

from .making import COMB, PITCHES, PLATE, STRAIN, sound_disc

RUN = [sys.executable, "-c", "from disc.cli import main; main()"]
SECOND = len([t for t in STRAIN if t])


def disc(*words: str) -> SimpleNamespace:
    """The command in this process: what a shell would see of it."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), mock.patch.object(sys, "argv", ["disc", *words]):
        try:
            main()
            code = 0
        except SystemExit as left:
            code = left.code or 0
    return SimpleNamespace(returncode=code, stdout=out.getvalue(), stderr=err.getvalue())


def test_once_as_a_program_of_its_own(tmp_path):
    done = subprocess.run([*RUN, "check", str(tmp_path / "none")], capture_output=True, text=True, timeout=120)
    assert done.returncode == 2 and done.stdout == "" and done.stderr.count("\n") == 1
    assert "no job here. Run: disc start" in done.stderr


def a_job(folder: Path, pins: list[Pin]) -> Job:
    job = create_job(folder, PLATE)
    with job.step("made by hand") as stage:
        job.stage_comb(stage, COMB)
        stage.write_text("reading.csv", format_pins(pins))
        stage.write_text("pins.csv", format_pins(pins))
    return job


def damaged() -> list[Pin]:
    pins = list(sound_disc())
    pins[SECOND + 9] = replace(pins[SECOND + 9], condition=Condition.MISSING, height_mm=0.0)
    pins[20] = replace(pins[20], condition=Condition.BENT, lean_x_mm=0.2, lean_y_mm=0.1)
    return pins


@pytest.fixture
def job(tmp_path) -> Job:
    return a_job(tmp_path / "watch", damaged())


def midi_of_the_tune(path: Path) -> Path:
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack([mido.MetaMessage("time_signature", numerator=2, denominator=4)])
    wait = 0
    for tooth in STRAIN * 2:
        if tooth:
            track.append(mido.Message("note_on", note=PITCHES[tooth - 1] - 12, velocity=80, time=wait))
            track.append(mido.Message("note_off", note=PITCHES[tooth - 1] - 12, velocity=0, time=240))
            wait = 0
        else:
            wait += 240
    file.tracks.append(track)
    file.save(path)
    return path


def test_words_file_picture_and_record(job):
    done = disc("check", str(job.folder))
    assert done.returncode == 0 and done.stderr == ""
    assert "1 x missing pin, 1 x leaning pin" in done.stdout
    assert "an empty hole on its tooth's track (seen)" in done.stdout and "(heard)" in done.stdout
    assert "Let the mainsprings down" in done.stdout
    findings = load_findings(open_job(job.folder))
    assert {f.kind for f in findings} == {"missing", "bent"}
    assert open_job(job.folder).content.runs[-1].command == "check"
    picture = ET.parse(job.out("findings.svg")).getroot()
    assert picture.tag.endswith("svg") and picture.attrib["width"].endswith("mm")


def test_json_holds_all_of_it(job):
    with job.step("decide") as stage:
        lean = next(f for f in checked_findings(job) if f.kind == "bent")
        stage_decisions(stage, [decision_on(lean, Verdict.REJECTED, "so since it was made")])
    done = disc("check", str(job.folder), "--json")
    content = json.loads(done.stdout)
    by_kind = {f["kind"]: f for f in content["findings"]}
    missing = by_kind["missing"]  # 42 eighths on: bar 11 of 2/4, or bar 6 where two such bars are written as one
    assert missing["probability"] > 0.8 and missing["bar"] in (11, 6) and missing["words"].startswith("missing pin")
    assert {e["kind"] for e in missing["evidence"]} >= {"seen", "heard"}
    assert all(isinstance(e["weight"], float) for e in missing["evidence"])
    assert by_kind["bent"]["decision"]["verdict"] == "rejected" and by_kind["bent"]["probability"] == 0.0
    assert content["unfit_decisions"] == [] and content["summary"]["known_tune"] is None


def checked_findings(job: Job):
    from disc.check.check_job import check_job

    return check_job(job).findings


def test_a_given_score_is_used(job, tmp_path):
    score = midi_of_the_tune(tmp_path / "tune.mid")
    content = json.loads(disc("check", str(job.folder), "--tune", str(score), "--json").stdout)
    (missing,) = [f for f in content["findings"] if f["kind"] == "missing"]
    assert "known" in {e["kind"] for e in missing["evidence"]}
    assert content["summary"]["known_tune"] is not None
    assert "tune.mid" in json.dumps(open_job(job.folder).content.runs[-1].inputs)


def test_a_tune_that_does_not_lie_on_the_disc_is_in_doubt_wherever_the_findings_are_used(job, tmp_path):
    """The check says it; work list, estimate and report repeat it, until the check is made with another or without."""
    wrong = tmp_path / "wrong.abc"
    wrong.write_text(
        "X:1\nT:Another\nM:3/4\nL:1/8\nK:E\n" + "E2 B2 d2|e2 G2 c2|F2 A2 f2|" * 12 + "\n", encoding="utf-8"
    )
    assert (
        "wrong.abc: this tune does not lie on the disc" in disc("check", str(job.folder), "--tune", str(wrong)).stdout
    )
    for command in ("repin", "offer", "report"):
        doubts = json.loads(disc(command, str(job.folder), "--json").stdout)["doubts"]
        assert [d["say"] for d in doubts if d["about"] == "tune"] == [
            f"{wrong}: this tune does not lie on the disc; the check was made without it."
        ], command
    again = json.loads(disc("check", str(job.folder), "--json").stdout)["doubts"]
    assert not [d for d in again if d["about"] == "tune"]
    assert not tune_doubts(open_job(job.folder))


def test_before_and_after(job, tmp_path):
    after = a_job(tmp_path / "after", list(sound_disc()))
    done = disc("check", str(job.folder), "--compare", str(after.folder))
    assert done.returncode == 0 and "2 places differ" in done.stdout
    assert "a pin stands where none did" in done.stdout and "straightened" in done.stdout
    assert "Nothing changed." in disc("check", str(after.folder), "--compare", str(after.folder)).stdout
    changes = json.loads(disc("check", str(job.folder), "--compare", str(after.folder), "--json").stdout)["changes"]
    assert {c["change"] for c in changes} == {"set", "straightened"}


def test_a_comb_without_pitches_or_tips_is_said(job):
    with job.step("comb") as stage:
        job.stage_comb(stage, replace(COMB, teeth=tuple(replace(t, pitch=None) for t in COMB.teeth)))
    done = disc("check", str(job.folder))
    assert (
        "only the beat could be read: repeats were judged by teeth" in done.stdout and "1 x missing pin" in done.stdout
    )
    with job.step("comb") as stage:
        job.stage_comb(stage, replace(COMB, teeth=tuple(replace(t, tip_theta_deg=None) for t in COMB.teeth)))
    done = disc("check", str(job.folder))
    assert "estimated from the beat" in done.stdout and "1 x missing pin" in done.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--tune", "{tmp}/none.mid"], "none.mid"),
        (["--tune", "{tmp}/junk.mid"], "junk.mid"),
        (["--compare", "{tmp}/nowhere"], "nowhere: no job here"),
        (["--compare", "{tmp}/watch", "--tune", "{tmp}/none.mid"], "give one of them"),
    ],
)
def test_bad_use_is_one_line_and_leaves_the_findings(job, tmp_path, words, said):
    (tmp_path / "junk.mid").write_bytes(b"MThd\x00\x00\x00\x06 not a tune")
    checked_findings(job)
    before = job.out("findings.json").read_bytes()
    done = disc("check", str(job.folder), *(w.format(tmp=tmp_path) for w in words))
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr.count("\n") == 1 and said in done.stderr and "Traceback" not in done.stderr
    assert job.out("findings.json").read_bytes() == before


def test_without_pins_or_comb(tmp_path):
    create_job(tmp_path / "new", PLATE)
    done = disc("check", str(tmp_path / "new"))
    assert done.returncode == 2 and "disc read" in done.stderr and done.stderr.count("\n") == 1


def test_the_same_input_gives_the_same_bytes(job, tmp_path):
    twin = a_job(tmp_path / "twin", damaged())
    checked_findings(job)
    checked_findings(twin)
    for name in ("findings.json", "findings.svg"):
        assert job.out(name).read_bytes() == twin.out(name).read_bytes()
