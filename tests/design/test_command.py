"""`disc design` from the outside: the job it writes works like any other; bad input ends in one line and no job."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from disc.cli import main
from disc.job import open_for_writing, open_job
from disc.tables import format_comb
from disc.tune.score.read_score import read_score
from disc.tune.score.records import ScoreIn

from .small import comb_of

TUNE = """X:1
T:The Winding Stem
M:3/4
L:1/8
Q:1/4=100
K:G
D2|:G2 B2 d2|(3gfe d4-|1 d2 B4|G4 D2:|2 d2 A4|G6|]
"""
# Bars of four, two and one quarters, whose beat no reader could be sure of; onsets in quarters, by hand.
ODD = "X:1\nT:Odd\nM:4/4\nL:1/16\nQ:1/4=160\nK:C\nc2BcdefgfedcBcd|e4|d2e2f2e2|c4B4|]\n"
ODD_ONSETS = [Fraction(n, 4) for n in (0, *range(2, 15), 15, 19, 21, 23, 25, 27, 31)]
# A long tune: forty bars, of which a turn holds about thirty at a playable speed.
LONG = "X:1\nT:Long\nM:4/4\nL:1/4\nQ:1/4=60\nK:G\n" + "GABc|d2 e2|" * 40 + "]\n"


def disc(*words: str) -> subprocess.CompletedProcess[str]:
    code = "import sys; from disc.cli import main; sys.argv[0] = 'disc'; main()"
    return subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=120)


def disc_here(monkeypatch, capsys, *words: str) -> tuple[int, str, str]:
    """The same without a process of its own: exit code, standard output, standard error."""
    monkeypatch.setattr(sys, "argv", ["disc", *words])
    with pytest.raises(SystemExit) as end:
        main()
    said = capsys.readouterr()
    return int(end.value.code or 0), said.out, said.err


@pytest.fixture(scope="module")
def bench(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("bench")
    (folder / "stem.abc").write_text(TUNE)
    (folder / "long.abc").write_text(LONG)
    (folder / "two.abc").write_text(TUNE + "\n" + TUNE.replace("X:1", "X:2").replace("Stem", "Key"))
    (folder / "comb.csv").write_text(format_comb(comb_of([74, 78, 79, 81, 83, 84, 86, 88, 90, 91])))
    return folder


@pytest.fixture(scope="module")
def made(bench) -> Path:
    job = bench / "job"
    done = disc("design", str(bench / "stem.abc"), "--comb", str(bench / "comb.csv"), "--out", str(job))
    assert done.returncode == 0, done.stderr
    assert "20 of 20 notes" in done.stdout and "proven" in done.stdout and "eye protection" in done.stdout
    return job


def test_the_job_is_a_job_like_any_other(made: Path) -> None:
    job = open_job(made)
    assert len(job.pins()) == 20 and len(job.comb().teeth) == 10 and "design" in job.settings
    names = ("disc.png", "preview.wav", "marked-score.pdf", "marked-score.musicxml", "tune.mid", "tune.json")
    assert all(job.out(name).stat().st_size > 100 for name in names)


def test_the_midi_says_what_was_asked(made: Path, bench: Path) -> None:
    """Read back with mido (another reader than the writer's): the tune an octave up, note for note."""
    (asked,) = read_score(bench / "stem.abc")
    (written,) = read_score(made / "out" / "tune.mid")
    first = written.start_quarter - asked.start_quarter
    assert [(n.onset_quarter - first, n.pitch - 12) for n in written.notes] == [
        (n.onset_quarter, n.pitch) for n in asked.notes
    ]


@pytest.mark.parametrize("command", ["transcribe", "repin"])
def test_the_other_commands_work_on_it(made: Path, command: str, tmp_path: Path, monkeypatch, capsys) -> None:
    job = tmp_path / "copy"
    shutil.copytree(made, job)
    code, out, _ = disc_here(monkeypatch, capsys, command, str(job), "--json")
    assert code == 0
    found = json.loads(out)
    if command == "transcribe":
        assert found["tune"]["strikes"] == 20 and found["tune"]["metre"] == "3/4"


def test_note_values_stay_where_bars_are_irregular(bench: Path, tmp_path: Path, monkeypatch, capsys) -> None:
    """No strike tells a slow tune in quarters from a fast one in halves; the job's quarter_deg does, also for a
    movement that turns at another speed. The note values are those of the file above.
    """
    job = tmp_path / "odd"
    (tmp_path / "odd.abc").write_text(ODD)
    (tmp_path / "comb.csv").write_text(format_comb(comb_of([71, 72, 74, 76, 77, 79, 83, 84])))
    words = [str(tmp_path / "odd.abc"), "--comb", str(tmp_path / "comb.csv"), "--out", str(job)]
    assert disc_here(monkeypatch, capsys, "design", *words)[0] == 0
    planned = notes_of(read_score(job / "out" / "tune.mid")[0])
    assert [onset for onset, _ in planned] == ODD_ONSETS
    for seconds in (None, 40.0):
        if seconds:
            with open_for_writing(job) as opened, opened.step("test"):
                opened.set_plate(replace(opened.plate, revolution_s=seconds))
        assert disc_here(monkeypatch, capsys, "transcribe", str(job), "--json")[0] == 0
        assert notes_of(read_score(job / "out" / "tune.mid")[0]) == planned


def notes_of(score: ScoreIn) -> list[tuple[Fraction, int]]:
    return [(note.onset_quarter - score.start_quarter, note.pitch) for note in score.notes]


def test_only_some_bars(bench: Path, tmp_path: Path, monkeypatch, capsys) -> None:
    words = ["--comb", str(bench / "comb.csv"), "--out", str(tmp_path / "j"), "--bars", "0-4", "--json"]
    code, out, _ = disc_here(monkeypatch, capsys, "design", str(bench / "stem.abc"), *words)
    assert code == 0
    assert json.loads(out)["design"]["notes"] == 11  # upbeat 1, then 3, 4 (one tied on), 1 and 2 (by hand)


def line(text: str) -> str:
    """The text as the comb's table; a tooth on each line."""
    return "number,side,tip_r_mm,tip_theta_deg,pitch\n" + text


BAD = {
    "too long": (["long.abc"], "", r"too long.*Bars 1 to \d+ fit.*--bars 1-\d+"),
    "two tunes": (["two.abc"], "", "holds 2 tunes.*--number N"),
    "no such tune": (["two.abc", "--number", "3"], "", "holds 2 tunes"),
    "bars": (["stem.abc", "--bars", "7-99"], "", "bars 7-99 are not in the tune.*0 to 8"),
    "bars words": (["stem.abc", "--bars", "first"], "", "'first' cannot be read.*1-16"),
    "one tooth": (["stem.abc"], line("1,upper,9,20,72\n"), "1 usable tooth of 1.*at least 2"),
    "no pitches": (["stem.abc"], line("1,upper,9,20,\n2,upper,8,20,72\n"), "1 usable tooth of 2.*pitch is not known"),
    "no tips": (["stem.abc"], line("1,upper,9,,72\n2,upper,8,,74\n"), "no tip angle for tooth 1, 2"),
    "outside": (
        ["stem.abc", "--diameter-mm", "20"],
        line("1,upper,10.5,20,72\n2,upper,8,20,74\n"),
        "tooth 1: its tip at 10.5 mm stands outside the plate.*--diameter-mm",
    ),
    "over the bore": (
        ["stem.abc", "--bore-mm", "6"],
        line("1,upper,2.5,20,72\n2,upper,8,20,74\n"),
        "tooth 1.*over the bore",
    ),
    "no teeth": (["stem.abc"], line(""), "no teeth"),
    "thick pins": (["stem.abc", "--pin-diameter-mm", "3"], "", "pins' diameter is 3 mm"),
    "choice": (["stem.abc", "--missing", "louder"], "", "neither drop nor nearest"),
    "absent": (["gone.abc"], "", "no such file"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_one_line_and_leaves_no_job(bench: Path, tmp_path: Path, name: str, monkeypatch, capsys) -> None:
    words, table, expected = BAD[name]
    comb = bench / "comb.csv"
    if table:
        comb = tmp_path / "comb.csv"
        comb.write_text(table)
    asked = ["design", str(bench / words[0]), *words[1:], "--comb", str(comb), "--out", str(tmp_path / "job")]
    code, out, error = disc_here(monkeypatch, capsys, *asked)
    assert code == 2 and out == ""
    assert error.count("\n") == 1 and "Traceback" not in error
    assert re.search(expected, error), error
    assert not (tmp_path / "job").exists()


def test_bad_input_from_a_shell(bench: Path, tmp_path: Path) -> None:
    done = disc("design", str(bench / "long.abc"), "--comb", str(bench / "comb.csv"), "--out", str(tmp_path / "job"))
    assert done.returncode == 2 and done.stdout == "" and done.stderr.count("\n") == 1
    assert done.stderr.startswith("disc: the tune is too long")


def test_a_job_already_there_is_left_alone(bench: Path, made: Path) -> None:
    before = (made / "pins.csv").read_bytes()
    done = disc("design", str(bench / "stem.abc"), "--comb", str(bench / "comb.csv"), "--out", str(made))
    assert done.returncode == 2 and "there is a job here already" in done.stderr
    assert (made / "pins.csv").read_bytes() == before


def test_the_same_input_gives_the_same_disc(bench: Path, made: Path, tmp_path: Path) -> None:
    again = tmp_path / "again"
    done = disc("design", str(bench / "stem.abc"), "--comb", str(bench / "comb.csv"), "--out", str(again))
    assert done.returncode == 0
    for name in ("pins.csv", "out/disc.png", "out/preview.wav", "out/marked-score.pdf", "out/design.json"):
        assert (again / name).read_bytes() == (made / name).read_bytes(), name


def test_a_person_may_name_the_melodys_part(bench: Path, monkeypatch, capsys) -> None:
    """Two voices of an ABC tune: the upper leads unless the lower is named; an unknown name lists the parts."""
    body = "X:1\nT:Two\nM:3/4\nL:1/4\nK:G\nV:1 name=Treble\ngfe|dBG|AGA|G3|]\nV:2 name=Bass\nGGD|GGG|DDD|G3|]\n"
    (bench / "voices.abc").write_text(body)
    words = ("design", str(bench / "voices.abc"), "--comb", str(bench / "comb.csv"), "--json", "--out")
    for melody, count in ((), 10), (("--melody", "2"), 10):
        code, out, err = disc_here(monkeypatch, capsys, *words, str(bench / f"v{len(melody)}"), *melody)
        assert code == 0, err
        found = json.loads(out)["design"]
        assert found["melody_part"].startswith("2" if melody else "1") and found["melody"] == count
    code, _, err = disc_here(monkeypatch, capsys, *words, str(bench / "v3"), "--melody", "flute")
    assert code == 2 and "its parts are 1" in err and err.count("\n") == 1


def test_what_is_changed_is_said_and_why(bench: Path, monkeypatch, capsys) -> None:
    """A tune of three bars in a turn of 20 s goes slower, and says so and why."""
    text = 'X:1\nT:Short\nM:3/4\nL:1/4\nQ:1/4=100\nK:G\n"G"gfe|"D"dBd|"G"g3|]\n'
    (bench / "short.abc").write_text(text)
    words = ("design", str(bench / "short.abc"), "--comb", str(bench / "comb.csv"), "--out", str(bench / "short"))
    code, out, err = disc_here(monkeypatch, capsys, *words)
    assert code == 0, err
    assert re.search(r"It goes \d+% slower than written, because a turn .* takes 20 s at least", out)
    assert "3 chord symbols played as a bass with after-beats" in out
    assert "Of all keys and tempi tried, none is worth more by the weights (proven)" in out
