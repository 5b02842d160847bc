"""Bars and beats against music21's own counting, and the spread against scipy's."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from music21 import meter, note, stream
from scipy.stats import median_abs_deviation

from disc.comb.pin_spread import robust_sigma
from disc.records import Key, Metre, Tune
from disc.turn.bars import BarGrid, grid_of, late_s

from .making import strikes, tune


def bars_of(metre: Metre) -> BarGrid:
    """Bars of a tune without notes: half a second a quarter, bar 1 after three seconds."""
    return BarGrid(Tune((), metre, Key(0, "major", 0), Fraction(0), 0.5, 3.0), 0.02)


# 3/8 is left out: music21 counts it as one beat of three parts, we count three beats as a dancing master does.
@pytest.mark.parametrize("words", ["2/4", "3/4", "4/4", "6/8", "9/8", "2/2", "12/8"])
def test_bar_and_beat_as_music21_counts(words):
    beats, unit = map(int, words.split("/"))
    part = stream.Part([meter.TimeSignature(words)])
    for _ in range(40):
        part.append(note.Note(quarterLength=0.5))
    grid = bars_of(Metre(beats, unit))
    measured = part.makeMeasures()
    for one in measured.recurse().notes:
        if one.tie is not None and one.tie.type != "start":
            continue
        quarter = Fraction(one.getOffsetInHierarchy(measured)).limit_denominator(24)
        bar, beat = grid.bar_and_beat(3.0 + 0.5 * float(quarter) + 0.011)
        assert (bar, beat) == (one.measureNumber, Fraction(one.beat).limit_denominator(24)), (words, quarter)


def test_an_upbeat_stands_in_bar_0():
    grid = bars_of(Metre(4, 4))
    assert grid.bar_and_beat(3.0 - 0.5) == (0, Fraction(4))


def test_robust_sigma_is_scipys():
    values = np.random.default_rng(4).normal(0, 2.0, 301)
    assert robust_sigma(values) == pytest.approx(median_abs_deviation(values, scale="normal"), rel=1e-4)
    assert robust_sigma([1.0]) == 0.0


@pytest.mark.parametrize("spread_s", [0.010, 0.015, 0.035])
def test_spread_of_the_strikes_about_the_beat(spread_s):
    from dataclasses import replace

    written = tune()
    late_one = strikes(spread_s, seed=3)
    numbered = tuple(replace(s, pin_id=i) for i, s in enumerate(late_one))
    notes = tuple(replace(n, pins=(i,)) for i, n in enumerate(written.notes))
    linked = replace(written, notes=notes)
    assert grid_of(linked, numbered).sigma_s == pytest.approx(spread_s, rel=0.35)
    assert len(late_s(linked, numbered)) == len(numbered)
