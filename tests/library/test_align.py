"""Alignment on discs whose truth is known because they are written out here."""

from __future__ import annotations

import numpy as np
import pytest

from disc.errors import BadInput
from disc.library.read.reference import tunes_of_abc
from disc.library.search.places.align import align, by_chance, split_tuning

TUNE = """X:1
T:Own tune
M:4/4
L:1/8
K:G
|: G2 AB c2 dB | e2 dc B2 AG | F2 GA B2 cA | d4 D4 :|
|: B2 cd e2 fg | a2 gf e2 dc | B2 AG F2 EF | G8 :|
"""
QUARTER_S, SHIFT = 0.62, 9


@pytest.fixture
def print_():
    return tunes_of_abc(TUNE, "own.abc", "own")[0]


@pytest.fixture
def disc(print_):
    """The whole tune once, an exact disc: (onset_s, pitch)."""
    return 1.5 + print_.onset_quarter * QUARTER_S, print_.pitch.astype(float) + SHIFT


def test_exact_disc_agrees_throughout(print_, disc):
    found = align(*disc, print_)
    assert len(found.agree) == print_.pitch.size and not found.absent and not found.extra and not found.displaced
    assert found.transposition == SHIFT
    assert found.quarter_s == pytest.approx(QUARTER_S, rel=1e-3)
    assert (found.from_bar, found.to_bar) == (1, 8)


def test_absent_displaced_and_extra_are_told_apart(print_, disc):
    onset, pitch = (array.copy() for array in disc)
    onset[20] += 0.2  # displaced by a fifth of a second
    keep = np.ones(onset.size, dtype=bool)
    keep[[10, 31]] = False
    onset, pitch = np.append(onset[keep], 7.03), np.append(pitch[keep], 50.0)
    order = np.argsort(onset)
    found = align(onset[order], pitch[order], print_)
    assert found.absent == (10, 31)
    assert [p.note for p in found.displaced] == [20]
    assert found.displaced[0].late_s == pytest.approx(0.2, abs=0.02)
    assert pitch[order][list(found.extra)].tolist() == [50.0]


def test_accompaniment_is_extra_where_the_print_is_melody_alone(print_, disc):
    bass = np.arange(1.5, disc[0][-1], QUARTER_S)
    onset, pitch = np.concatenate([disc[0], bass]), np.concatenate([disc[1], np.full(bass.size, 45.0)])
    order = np.lexsort((pitch, onset))
    found = align(onset[order], pitch[order], print_)
    assert len(found.agree) == print_.pitch.size
    assert set(pitch[order][list(found.extra)]) == {45.0}


def test_a_repeat_played_once(print_, disc):
    half = print_.pitch.size // 2  # second part
    first_once = np.r_[: half // 2, half : print_.pitch.size]
    onset = disc[0].copy()
    onset[half:] -= 16 * QUARTER_S  # the first part's repeat is left out: 16 quarters
    found = align(onset[first_once], disc[1][first_once], print_)
    assert len(found.agree) == first_once.size
    assert (found.from_bar, found.to_bar) == (1, 8)


def test_a_note_folded_by_an_octave_still_agrees(print_, disc):
    pitch = disc[1].copy()
    pitch[pitch > 86] -= 12
    found = align(disc[0], pitch, print_)
    assert len(found.agree) == print_.pitch.size
    assert {p.octaves for p in found.agree} == {0, -1}


def test_a_comb_tuned_flat_is_a_fractional_transposition(print_, disc):
    assert align(disc[0], disc[1] - 0.3, print_).transposition == pytest.approx(SHIFT - 0.3, abs=1e-3)
    tuning, whole = split_tuning(np.array([68.7, 70.7]))
    assert tuning == pytest.approx(-0.3) and whole.tolist() == [69, 71]


def test_only_some_bars(print_, disc):
    part = slice(15, 40)
    found = align(disc[0][part], disc[1][part], print_)
    assert next(p.note for p in found.agree) in (15, 15 - print_.pitch.size // 4)
    assert not found.absent


def test_too_little_is_refused(print_):
    with pytest.raises(BadInput, match="at least two strikes"):
        align(np.array([1.0]), np.array([60.0]), print_)


# By its definition: every strike counts by how near its pitch is, a Gaussian of two semitones, over the time.
def test_how_often_a_meeting_happens_by_chance():
    onset, pitch = np.array([0.0, 1.0, 2.0, 4.0]), np.array([60, 62, 60, 90])
    near = np.exp(-0.5 * ((pitch[:, None] - pitch) / 2.0) ** 2).sum(axis=1) / 5.0
    assert by_chance(onset, pitch) == pytest.approx((near + 0.2) / 4.0)
