"""The tooth's own tone among those that begin at its pluck, by what the whole comb says."""

from __future__ import annotations

import numpy as np

from disc.listen.comb.along_comb import agree_along_comb
from disc.listen.sound.bands import hz_of_pitch
from disc.listen.sound.beginnings import NewTone

PARTIAL = 28.8  # semitones: that of a glockenspiel, far louder than its fundamental


def tone(pitch: float, level_db: float, over_db: float = 35.0, t60_s: float = 1.0) -> NewTone:
    return NewTone(hz_of_pitch(pitch), level_db, over_db, 1.0, t60_s, 20.0)


def glockenspiel(pitches: list[float]) -> list[list[NewTone]]:
    return [[tone(p + PARTIAL, -20.0, 45.0, 0.6), tone(p, -38.0, 30.0, 5.0)] for p in pitches]


PITCHES = [62.0, 64.0, 65.0, 67.0, 69.0, 70.0, 72.0, 74.0, 76.0, 77.0, 79.0, 81.0]
TWICE = [p for p in PITCHES for _ in range(2)]


def test_a_partial_gives_way_to_the_tone_it_belongs_to() -> None:
    heard = glockenspiel(TWICE)
    chosen: list[NewTone | None] = [row[1] for row in heard]
    for k in (4, 5, 11, 20):
        chosen[k] = heard[k][0]
    assert agree_along_comb(heard, chosen) == [row[1] for row in heard]


def test_a_dead_tooth_stays_without_a_tone() -> None:
    heard = glockenspiel(TWICE)
    chosen: list[NewTone | None] = [row[1] for row in heard]
    chosen[6] = chosen[7] = None
    assert [t is None for t in agree_along_comb(heard, chosen)] == [k in (6, 7) for k in range(len(heard))]


def test_a_thump_under_the_tone_gives_way_to_the_line() -> None:
    """A sounding board's hump, louder and lower than the tooth, dies at once."""
    heard = [
        [tone(p - 9.8, -37.0, 18.0, 0.27), tone(p - 9.5, -40.0, 12.0, 0.3), tone(p - 10.4, -42.0, 10.0, 0.2),
         tone(p, -45.0, 28.0, 1.0)]
        for p in TWICE
    ]  # fmt: skip
    chosen: list[NewTone | None] = [row[0] for row in heard]
    assert agree_along_comb(heard, chosen) == [row[3] for row in heard]


def test_octaves_are_left_alone_where_the_comb_does_not_rise() -> None:
    """Teeth plucked in no order: a tooth an octave from the others about it is believed."""
    pitches = list(np.random.default_rng(3).permutation(np.arange(48.0, 96.0, 2.0)))
    heard = [[tone(p, -20.0), tone(p + 12.0, -30.0, 30.0, 0.5)] for p in pitches]
    chosen: list[NewTone | None] = [row[0] for row in heard]
    assert agree_along_comb(heard, chosen) == chosen


def test_one_octave_slip_in_a_rising_comb_is_mended() -> None:
    heard = [[tone(p, -30.0, 20.0), tone(p + 12.0, -20.0, 30.0, 0.5)] for p in TWICE]
    chosen: list[NewTone | None] = [row[0] for row in heard]
    chosen[9] = heard[9][1]
    assert agree_along_comb(heard, chosen) == [row[0] for row in heard]
