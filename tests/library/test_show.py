"""A tune of the library shown, and where a disc and its print differ."""

from __future__ import annotations

import sys
import wave
from dataclasses import replace

import numpy as np
import pytest

from disc import cli
from disc.errors import BadInput
from disc.library.answer import bars_that_differ
from disc.library.find_titles import find_titles
from disc.library.records import TuneKey
from disc.library.search.asked.query import make_query
from disc.library.search.find_tunes import find_tunes
from disc.library.show_tune import key_of, show_tune

KEY = TuneKey("airdsAirs/book1.abc", 36)


def test_the_print_and_the_sound_of_a_tune_are_written(small, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["disc", "library", "show", str(KEY), "--out", str(tmp_path / "made")])
    with pytest.raises(SystemExit) as left:
        cli.main()
    assert left.value.code == 0
    files = {path.suffix: path for path in (tmp_path / "made").iterdir()}
    assert files[".pdf"].read_bytes().startswith(b"%PDF") and b"<svg" in files[".svg"].read_bytes()
    with wave.open(str(files[".wav"])) as sound:
        last_s = float(small.reference(small.tune_of(KEY)).onset_quarter[-1]) * 0.5
        assert sound.getnframes() / sound.getframerate() == pytest.approx(last_s + 2.0, abs=0.1)
    assert capsys.readouterr().out.count("Made: ") == 3


def test_a_tune_that_is_not_there_is_said_with_what_to_do(small, tmp_path):
    with pytest.raises(BadInput, match="disc library find"):
        show_tune(small, TuneKey("airdsAirs/book1.abc", 9999), tmp_path)
    with pytest.raises(BadInput, match="give file:number"):
        key_of("book1.abc")


def test_bars_in_which_disc_and_print_differ_are_named(small):
    tune = small.reference(small.tune_of(KEY))
    wrong = np.flatnonzero(tune.bar == 5)
    kept = np.setdiff1d(np.arange(tune.pitch.size), wrong[1:3])
    query = make_query(tune.onset_quarter[kept] * 0.5, tune.pitch[kept].astype(float), None, "disc")
    best = find_tunes(small, query, 1)[0]
    assert best.key == KEY and bars_that_differ(small, best) == [5]
    assert bars_that_differ(small, replace(best, alignment=None)) == []


def test_titles_are_found_by_title_and_collection_in_any_case(small):
    title = small.title(small.tune_of(KEY))
    found = find_titles(small, f"{title.upper()} airds", 5)
    assert KEY in [one.key for one in found]
