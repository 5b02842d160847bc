"""`disc transcribe` on a job: what it writes, what it remembers, what it says when it cannot."""

from __future__ import annotations

import csv
import json
import re
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from disc.comb.strikes import pins_from_strikes
from disc.errors import BadInput, MissingPart
from disc.job import create_job, open_for_writing, open_job
from disc.records import Comb, Condition, Side, Tooth
from disc.tune.store import load_tune
from disc.turn.order import parse_order
from disc.turn.transcribe_job import transcribe_job

from .made import PLATE, strikes_of
from .test_read_tune import JIG_BASS, JIG_TWICE


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A job whose pins play the jig twice; pin 20 is doubtful, pin 7 broken off."""
    strikes = strikes_of([*JIG_TWICE, *JIG_BASS], 0.42, start_s=1.5, error_s=0.01)
    numbers = sorted({s.tooth for s in strikes})
    teeth = tuple(
        Tooth(i, Side.UPPER if i % 2 else Side.LOWER, 4.0 + 0.5 * i, (30.0 + i) % 360, float(n))
        for i, n in enumerate(numbers, start=1)
    )
    renumbered = [replace(s, tooth=numbers.index(s.tooth) + 1) for s in strikes]
    pins = [
        replace(
            pin,
            tooth=None,
            confidence=0.7 if pin.id == 20 else 0.99,
            condition=Condition.STUB if pin.id == 7 else Condition.SOUND,
        )
        for pin in pins_from_strikes(renumbered, Comb(teeth), PLATE)
    ]
    place = tmp_path / "job"
    create_job(place, PLATE)
    with open_for_writing(place) as job, job.step("made for a test") as stage:
        job.stage_reading(stage, tuple(pins))
        job.stage_comb(stage, Comb(teeth))
    return place


def command(*words: str) -> subprocess.CompletedProcess[str]:
    code = "import sys; from disc.cli import main; sys.argv = ['disc', *sys.argv[1:]]; main()"
    return subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=False)


def test_everything_is_written_and_remembered(folder: Path) -> None:
    with open_for_writing(folder) as job:
        made = transcribe_job(job)
    names = {"tune.mid", "tune.musicxml", "tune.svg", "tune.pdf", "tune.wav", "strikes.csv", "tune.json"}
    assert names <= {path.name for path in (folder / "out").iterdir()}
    job = open_job(folder)
    tune = load_tune(job)
    assert tune == made.reading.tune
    assert tune is not None and (tune.metre.beats, tune.metre.unit) == (6, 8)
    found = job.content.results["tune"]
    assert found["metre"] == "6/8" and found["doubtful_pins"] == [20]
    assert found["alternatives"] and found["alternatives"][0]["why"]
    assert {pin for note in tune.notes for pin in note.pins} == {p.id for p in job.pins() if p.id != 7}
    assert "?20" in (folder / "out" / "tune.musicxml").read_text(encoding="utf-8")
    with (folder / "out" / "strikes.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["onset_s", "pitch", "tooth", "pin", "turn_fraction"]
    assert len(rows) == len(made.strikes)
    assert float(rows[3]["onset_s"]) / PLATE.revolution_s == pytest.approx(float(rows[3]["turn_fraction"]), abs=1e-5)


def test_settings_are_kept_until_taken_back(folder: Path) -> None:
    with open_for_writing(folder) as job:
        transcribe_job(job, {"metre": "3/4", "key": "E minor"})
    with open_for_writing(folder) as job:
        assert transcribe_job(job).reading.tune.metre.beats == 3
    with open_for_writing(folder) as job:
        assert job.settings["metre"] == "3/4"
        assert transcribe_job(job, {"metre": "auto"}).reading.tune.metre.beats == 6
    assert "metre" not in open_job(folder).settings and open_job(folder).settings["key"] == "E minor"


def test_a_known_quarter_rules_the_note_values(folder: Path) -> None:
    """The jig is set with a quarter of 0.42 s; a quarter said to be twice as long halves every value, and is kept."""
    deg = 360 * 0.42 / PLATE.revolution_s
    onsets = []
    for factor in (1, 2):
        with open_for_writing(folder) as job:
            tune = transcribe_job(job, {"quarter_deg": f"{factor * deg:.6f}"}).reading.tune
        assert tune.quarter_s == pytest.approx(factor * 0.42, rel=0.01)
        onsets.append([n.onset_quarter - tune.notes[0].onset_quarter for n in tune.notes])
    assert onsets[0] == [2 * onset for onset in onsets[1]]
    with open_for_writing(folder) as job:
        assert transcribe_job(job).reading.tune.quarter_s == pytest.approx(0.84, rel=0.01)
    with open_for_writing(folder) as job:
        assert transcribe_job(job, {"quarter_deg": "auto"}).reading.tune.metre.unit == 8


def test_pages_of_a_longer_score_go_away(folder: Path) -> None:
    """A page of a score written before is no page of this one; what a person put there stays."""
    with open_for_writing(folder) as job:
        transcribe_job(job)
    written = {path.name for path in (folder / "out").glob("tune*.svg")}
    for name in ("tune-7.svg", "tune-12.svg", "tune-mine.svg"):
        (folder / "out" / name).write_text("<svg/>")
    with open_for_writing(folder) as job:
        transcribe_job(job)
    assert {path.name for path in (folder / "out").glob("tune*.svg")} == written | {"tune-mine.svg"}


def test_bad_words_leave_the_job_as_it_was(folder: Path) -> None:
    with open_for_writing(folder) as job:
        transcribe_job(job, {"title": "A jig"})
    before = {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
    for given, words in (
        ({"metre": "six eight"}, "the metre 'six eight' cannot be read"),
        ({"upbeat": "x"}, "the length 'x' cannot be read"),
        ({"beats": "many"}, "the number of beats 'many' cannot be read"),
        ({"quarter_deg": "fast"}, "the turn for a quarter, 'fast', cannot be read"),
        ({"quarter_deg": "-1"}, "cannot be read"),
        ({"quarter_deg": "170"}, "no beat fits what was set by hand"),
        ({"beats": "3"}, "3 beats are too few"),
        ({"beats": "9999"}, "no beat fits what was set by hand"),
    ):
        with pytest.raises(BadInput, match=words), open_for_writing(folder) as job:
            transcribe_job(job, given)
    after = {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
    assert after == before


def test_the_same_job_gives_the_same_files(folder: Path) -> None:
    made = []
    for _ in range(2):
        with open_for_writing(folder) as job:
            transcribe_job(job)
        made.append({p.name: p.read_bytes() for p in sorted((folder / "out").iterdir())})
    assert made[0] == made[1]


def test_a_comb_without_pitches_is_guessed_only_when_asked(folder: Path) -> None:
    with open_for_writing(folder) as job, job.step("test") as stage:
        bare = Comb(tuple(replace(t, pitch=None, tip_theta_deg=None) for t in job.comb().teeth))
        job.stage_comb(stage, bare)
    with pytest.raises(MissingPart, match="have no pitch"), open_for_writing(folder) as job:
        transcribe_job(job)
    order = ",".join(str(t.number) for t in bare.teeth)
    with open_for_writing(folder) as job:
        made = transcribe_job(job, {"order": order, "tip_limit": 2.0})
    assert "pitches guessed" in made.reading.tune.title
    found = open_job(folder).content.results["tune"]
    assert found["guessed_pitches"]["alternatives"]
    assert found["estimated_tips"]["limit_deg"] == 2.0


def test_lengths_of_teeth_tell_how_far_apart_they_sound(folder: Path) -> None:
    """A clamped bar's frequency goes with 1 / L^2 (comb/bar.py): lengths made from the true pitches bring them back."""
    with open_for_writing(folder) as job, job.step("test") as stage:
        true = {t.number: t.pitch or 0.0 for t in job.comb().teeth}
        job.stage_comb(stage, Comb(tuple(replace(t, pitch=None) for t in job.comb().teeth)))
    rising = sorted(true, key=lambda number: true[number])
    order = ",".join(f"{n}={10.0 * 2.0 ** (-(true[n] - true[rising[0]]) / 24.0):.3f}" for n in rising)
    with open_for_writing(folder) as job:
        transcribe_job(job, {"order": order})
    guessed = {int(n): p for n, p in open_job(folder).content.results["tune"]["guessed_pitches"]["pitch"].items()}
    steps = [(guessed[b] - guessed[a], round(true[b] - true[a])) for a, b in pairwise(rising)]
    assert sum(abs(got - want) <= 1 for got, want in steps) >= 0.9 * len(steps)


@pytest.mark.parametrize("order, words", [("12=x", "cannot be read"), ("1=-4,2,3", "a length that cannot be")])
def test_an_order_that_cannot_be_read(order: str, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        parse_order(order)


def test_the_print_with_tooth_numbers_goes_when_it_is_not_asked_for(folder: Path) -> None:
    with open_for_writing(folder) as job:
        assert "out/tune-teeth.pdf" in transcribe_job(job, teeth=True).files
    assert (folder / "out" / "tune-teeth.pdf").read_bytes().startswith(b"%PDF")
    with open_for_writing(folder) as job:
        transcribe_job(job)
    assert not (folder / "out" / "tune-teeth.pdf").exists() and (folder / "out" / "tune.pdf").exists()


def test_the_paper_is_kept_until_another_is_named(folder: Path) -> None:
    """Letter is 8.5 by 11 inches: 612 by 792 points of 1/72 inch, as a PDF says it."""

    def size() -> tuple[int, int]:
        found = re.search(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)", (folder / "out/tune.pdf").read_bytes())
        assert found is not None
        return round(float(found[1])), round(float(found[2]))

    for paper, points in (("Letter", (612, 792)), (None, (612, 792)), ("a4", (595, 842))):
        with open_for_writing(folder) as job:
            transcribe_job(job, {}, paper=paper)
        assert size() == points
    with open_for_writing(folder) as job, pytest.raises(BadInput, match="no paper is called 'a0' here; choose a4 or"):
        transcribe_job(job, {}, paper="a0")


def test_through_the_command_line(folder: Path) -> None:
    good = command("transcribe", str(folder), "--json", "--title", "A jig")
    assert good.returncode == 0 and good.stderr == ""
    found = json.loads(good.stdout)
    assert found["tune"]["metre"] == "6/8" and "out/tune.mid" in found["files"]
    bad = command("transcribe", str(folder), "--metre", "x")
    assert bad.returncode == 2 and bad.stdout == ""
    assert len(bad.stderr.strip().splitlines()) == 1 and "cannot be read" in bad.stderr
    empty = command("transcribe", str(folder / "nowhere"))
    assert empty.returncode == 2 and "no job here" in empty.stderr
