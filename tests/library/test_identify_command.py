"""disc identify and disc library through the command line."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from disc import cli
from disc.comb.strikes import pins_from_strikes
from disc.errors import BadInput
from disc.job import create_job, open_for_writing, open_job
from disc.library.accepted import accepted_tune
from disc.records import Comb, Plate, Side, Strike, Tooth
from tests.bench.truth.practice import LEVELS, practice_disc


def run(monkeypatch, *arguments):
    monkeypatch.setattr(sys, "argv", ["disc", *map(str, arguments)])
    with pytest.raises(SystemExit) as left:
        cli.main()
    return left.value.code


@pytest.fixture
def table(small, tmp_path):
    rng = np.random.default_rng(4)
    tune = next(i for i in range(40, small.size) if small.reference(i).pitch.size > 60)
    disc = practice_disc(small.reference(tune), LEVELS["mild"], rng)
    path = tmp_path / "strikes.csv"
    rows = [f"{at:.3f},{pitch}" for at, pitch in zip(disc.onset_s, disc.pitch, strict=True)]
    path.write_text("onset_s,pitch\n" + "\n".join(rows) + "\n")
    return path, small.key(tune)


def test_json_has_one_object_a_line_with_the_agreed_names(table, monkeypatch, capsys):
    path, key = table
    assert run(monkeypatch, "identify", path, path, "--json", "--top", 3) == 0
    objects = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert len(objects) == 2
    assert set(objects[0]) == {"input", "seconds", "fit_as_well", "matches", "parts", "doubts"}
    first = objects[0]["matches"][0]
    assert (first["file"], first["number"]) == (key.file, key.number)
    wanted = (
        "file number title collection score probability transposition tempo_ratio from_bar to_bar agree absent extra"
    )
    assert set(wanted.split()) == set(first)
    assert first["probability"] > 0.5 and isinstance(first["absent"], list)


def test_exclude_leaves_the_tune_out(table, monkeypatch, capsys):
    path, key = table
    assert run(monkeypatch, "identify", path, "--json", "--exclude", str(key)) == 0
    matches = json.loads(capsys.readouterr().out)["matches"]
    assert (key.file, key.number) not in [(m["file"], m["number"]) for m in matches]


def test_words_and_the_disc_over_the_print(table, monkeypatch, capsys, tmp_path):
    path, key = table
    picture = tmp_path / "over.svg"
    assert run(monkeypatch, "identify", path, "--top", 2, "--score", picture, "--language", "de") == 0
    assert str(key) in capsys.readouterr().out
    drawn = picture.read_text(encoding="utf-8")
    assert drawn.lstrip().startswith(("<svg", "<?xml")) and ">Scheibe<" in drawn and ">Druck<" in drawn


BAD = {
    "": "empty",
    "onset_s,pitch\n1,60\n": "one strike",
    "time,note\n1,2\n": "onset_s,pitch or onset_s,rank",
    "onset_s,pitch\n1,60\n2,x\n": "line 3",
}


def is_one_line(error, words):
    return words in error and error.count("\n") == 1 and "Traceback" not in error


def test_bad_input_is_one_line_and_exit_2(tmp_path, monkeypatch, capsys):
    bad = tmp_path / "strikes.csv"
    for content, words in BAD.items():
        bad.write_text(content)
        assert run(monkeypatch, "identify", bad) == 2
        said = capsys.readouterr()
        assert said.out == "" and is_one_line(said.err, words)


def test_bad_input_from_a_shell(tmp_path):
    bad = tmp_path / "strikes.csv"
    bad.write_text("")
    done = subprocess.run(
        [sys.executable, "-c", "from disc.cli import main; main()", "identify", str(bad)],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 2 and done.stdout == "" and is_one_line(done.stderr, BAD[""])


def test_missing_file_and_bad_exclude(monkeypatch, capsys, tmp_path):
    assert run(monkeypatch, "identify", tmp_path / "none.csv") == 2
    assert "no file and no job here" in capsys.readouterr().err
    assert run(monkeypatch, "identify", tmp_path / "none.csv", "--exclude", "abc") == 2
    assert "file:number" in capsys.readouterr().err


def test_a_job_keeps_its_matches_and_the_disc_over_the_print(small, tmp_path, monkeypatch, capsys):
    tune = next(i for i in range(40, small.size) if small.reference(i).pitch.size > 60)
    disc = practice_disc(small.reference(tune), LEVELS["mild"], np.random.default_rng(4))
    folder = disc_job(disc, tmp_path / "job")
    assert run(monkeypatch, "identify", folder, "--json") == 0
    assert json.loads(capsys.readouterr().out)["matches"][0]["file"] == small.key(tune).file
    job = open_job(folder)
    assert job.content.results["identify"]["matches"][0]["number"] == small.key(tune).number
    assert job.out("identify.pdf").read_bytes().startswith(b"%PDF") and job.has("out/identify.svg")


def test_only_a_persons_word_makes_a_match_the_tune_and_it_can_be_taken_back(small, tmp_path, monkeypatch, capsys):
    tune = next(i for i in range(40, small.size) if small.reference(i).pitch.size > 60)
    disc = practice_disc(small.reference(tune), LEVELS["mild"], np.random.default_rng(4))
    folder = disc_job(disc, tmp_path / "job")
    assert run(monkeypatch, "identify", folder) == 0
    assert accepted_tune(open_job(folder)) is None
    assert run(monkeypatch, "identify", folder, "--accept", 99) == 2
    assert "no match 99" in capsys.readouterr().err
    assert run(monkeypatch, "identify", folder, "--accept", 1) == 0
    kept = accepted_tune(open_job(folder))
    assert kept.tune.key == small.key(tune) and kept.probability > 0.5
    assert kept.tune.pitch.tolist() == small.reference(tune).pitch.tolist()
    assert run(monkeypatch, "identify", folder, "--accept", 0) == 0
    assert accepted_tune(open_job(folder)) is None


def test_accepting_unasked_searches_first_and_a_damaged_note_is_said(small, tmp_path, monkeypatch, capsys):
    tune = next(i for i in range(40, small.size) if small.reference(i).pitch.size > 60)
    folder = disc_job(practice_disc(small.reference(tune), LEVELS["mild"], np.random.default_rng(4)), tmp_path / "job")
    assert run(monkeypatch, "identify", folder, "--accept", 1, "--json") == 0
    assert json.loads(capsys.readouterr().out)["accepted"]["number"] == small.key(tune).number
    job = open_job(folder)
    job.settings["tune.accepted"]["pitch"] = [60]
    with pytest.raises(BadInput, match="damaged"):
        accepted_tune(job)


def test_a_tune_is_found_by_words_of_its_title(small, monkeypatch, capsys):
    title = next(small.title(i) for i in range(100, small.size) if len(small.title(i).split()) > 2)
    assert run(monkeypatch, "library", "find", *title.lower().split(), "--json") == 0
    assert title in [one["title"] for one in json.loads(capsys.readouterr().out)["tunes"]]
    assert run(monkeypatch, "library", "find", "zzzzqq") == 0
    assert "No tune" in capsys.readouterr().out


@pytest.mark.parametrize("spelt", ["G4 A4 B4", "abc"])
def test_too_few_typed_notes_are_refused_in_one_line(small, spelt, monkeypatch, capsys):
    assert run(monkeypatch, "identify", "--notes", spelt) == 2
    assert "at least 5" in capsys.readouterr().err


def disc_job(disc, folder):
    """A job whose pins play the practice disc on a comb of just its pitches."""
    pitches = sorted(set(disc.pitch.tolist()))
    comb = Comb(tuple(Tooth(i + 1, Side.UPPER, 5 + 0.3 * i, 90.0, float(p)) for i, p in enumerate(pitches)))
    plate = Plate(30.0, revolution_s=float(disc.onset_s[-1]) * 1.05)
    strikes = sorted(
        (
            Strike(float(at / plate.revolution_s * 360), float(at), pitches.index(p) + 1, float(p))
            for at, p in zip(disc.onset_s, disc.pitch, strict=True)
        ),
        key=lambda strike: (strike.turn_deg, strike.tooth),
    )
    pins = pins_from_strikes(strikes, comb, plate)
    pins = tuple(replace(pin, tooth=strike.tooth) for pin, strike in zip(pins, strikes, strict=True))
    create_job(folder, plate)
    with open_for_writing(folder) as job, job.step("test") as stage:
        job.stage_reading(stage, pins)
        job.stage_comb(stage, comb)
    return folder
