"""What a turn tells beyond its notes: teeth of one pitch, partials, weak pins, two laps, bars that rush."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from disc.listen.sound.audio import Recording
from disc.listen.store import turn_json
from disc.listen.turn.hear_turn import read_turn
from disc.listen.turn.pace import bars_of, pace_words, paces_json, paces_of, tenths
from disc.listen.turn.place.speed import motion_from
from disc.listen.turn.plot import plot_turn
from disc.listen.turn.turn_record import Sound, Turn, twins_at_once
from disc.records import Key, Metre, Note, Tune

from .struck_bars import RATE, bar, hz, put

PERIOD_S = 20.0
# Teeth 3 and 4 are meant to be alike and are 9 cents apart; each rings its own time.
COMB = {1: 67.0, 2: 69.0, 3: 71.0, 4: 71.09, 5: 74.0, 6: 76.0, 7: 79.0}
T60_S = {1: 1.6, 2: 1.5, 3: 0.9, 4: 1.6, 5: 1.2, 6: 1.0, 7: 1.0}
ORDER = (1, 3, 5, 4, 2, 6, 7, 3, 4, 5, 1, 4, 6, 3, 2, 7, 5, 3, 4, 6, 1, 7, 3, 2, 4, 5)
STRIKES = [(0.04 + 0.035 * k, tooth) for k, tooth in enumerate(ORDER)]
WEAK, SILENT, EXTRA = 11, 5, (0.2325, 4)  # an extra sound of tooth 4 between two strikes


def two_laps(rng: np.random.Generator) -> np.ndarray:
    """Two turns at a steady pace; one pin is weak in both, one silent, and the extra sound comes at each turn."""
    audio = 1e-4 * rng.normal(size=int((2 * PERIOD_S + 3) * RATE))
    for lap in range(2):
        for k, (u, tooth) in enumerate(STRIKES):
            if k != SILENT:
                force = 0.22 if k == WEAK else np.exp(rng.normal(0, 0.08))
                put(audio, bar(rng, COMB[tooth], T60_S[tooth], 2.0, float(force)), 0.7 + (u + lap) * PERIOD_S)
        u, tooth = EXTRA
        put(audio, bar(rng, COMB[tooth], T60_S[tooth], 2.0), 0.7 + (u + lap) * PERIOD_S)
        # A partial of some other thing, 20 cents off tooth 7 and short, is no extra strike of it.
        t = np.arange(RATE) / RATE
        put(audio, 0.15 * np.exp(-30 * t) * np.sin(2 * np.pi * hz(COMB[7] - 0.2) * t), 0.7 + (0.522 + lap) * PERIOD_S)
    return audio


@pytest.fixture(scope="module")
def turn() -> Turn:
    return read_turn(Recording(two_laps(np.random.default_rng(8)), RATE), COMB, STRIKES, PERIOD_S)


def test_two_laps(turn: Turn) -> None:
    assert turn.laps == pytest.approx(2.0, abs=0.2)
    assert turn.revolution_s == pytest.approx(PERIOD_S, rel=5e-4)
    assert turn.silent == (SILENT,) and [m.strike for m in turn.missed] == [SILENT, SILENT]
    expected = [0.7 + (STRIKES[SILENT][0] + lap) * PERIOD_S for lap in (0, 1)]
    assert [m.time_s for m in turn.missed] == pytest.approx(expected, abs=0.01)


def test_teeth_of_one_pitch_are_told_apart(turn: Turn) -> None:
    """By cents and ring time, both known by construction; a partial beside another tooth is none of its strikes."""
    assert [(s.tooth, s.undecidable) for s in turn.extra] == [(4, False), (4, False)]
    assert [s.time_s for s in turn.extra] == pytest.approx(
        [0.7 + (EXTRA[0] + lap) * PERIOD_S for lap in (0, 1)], abs=0.01
    )


def test_weak_in_all_its_repeats(turn: Turn) -> None:
    assert turn.weak == (WEAK,)


def test_picture(turn: Turn) -> None:
    svg = plot_turn(turn, paces_of(turn, tenths()))
    assert svg.count("<circle") == 2 + 2  # the legend's two and two silent strikes
    assert svg.count('height="5" fill="#c0392b"') == 1 + 2


def uneven(turn: Turn) -> Turn:
    """The same turn on a disc that runs 4 % fast in its fourth tenth."""
    from dataclasses import replace

    u = np.linspace(0.0, 2.0, 401)
    fast = ((u % 1.0) >= 0.3) & ((u % 1.0) < 0.4)
    times = np.r_[0.0, np.cumsum(np.diff(u) * PERIOD_S / np.where(fast[:-1], 1.04, 1.0))]
    return replace(turn, motion=replace(turn.motion, knots_s=times, turns=u), revolution_s=float(times[-1]) / 2)


def test_which_tenths_rush(turn: Turn) -> None:
    assert pace_words(paces_of(turn, tenths())) == ()
    fast = uneven(turn)
    paces = paces_of(fast, tenths())
    assert pace_words(paces) == ("tenth 4 of the turn rushes by 3.6 % against the mean of the turn",)
    assert turn_json(fast, paces)["rushing"] == list(pace_words(paces))
    assert [item["name"] for item in paces_json(paces) if item["rushes"]] == ["4/10"]


def test_which_bars_rush(turn: Turn) -> None:
    """Bars of 3/4 from 1 s after the start, quarters of half a second: bar k begins at 1 + 1.5 (k - 1) s of 20 s."""
    notes = tuple(Note(Fraction(q), Fraction(1), 70) for q in range(36))
    tune = Tune(notes, Metre(3, 4), Key(0, "major", 0), Fraction(1), 0.5, 1.0)
    bars = bars_of(tune, PERIOD_S)
    assert [b.name for b in bars][:3] == ["upbeat", "1", "2"] and bars[0].from_turn == pytest.approx(0.025)
    assert bars[4].from_turn == pytest.approx((1.0 + 3 * 1.5) / PERIOD_S)
    # The fast tenth, 6 to 8 s, takes two thirds of bar 4 (5.5 to 7 s) and of bar 5: 1.5 s in 1.4615 s, and the whole
    # turn 20 s in 19.923 s: 2.24 %.
    assert pace_words(paces_of(uneven(turn), bars)) == ("bars 4 to 5 rush by up to 2.2 % against the mean of the turn",)


def test_a_pitch_that_speaks_late_does_not_bend_the_motion() -> None:
    rng = np.random.default_rng(3)
    turns = np.sort(rng.uniform(0, 1, 80))
    pitch = rng.integers(0, 8, 80)
    late = np.where(pitch == 2, 0.03, 0.0)
    motion = motion_from(1.0 + 40.0 * turns + late + rng.normal(0, 0.001, 80), turns, pitch.tolist())
    assert motion.speed(np.array([5.0, 20.0, 35.0])) == pytest.approx([1 / 40.0] * 3, rel=1e-3)
    assert motion.late_s[2] - np.median(list(motion.late_s.values())) == pytest.approx(0.03, abs=0.003)


def test_teeth_of_one_note_struck_at_once_are_named_together() -> None:
    def sound(at: float, pitch: float, tooth: int, shared: bool) -> Sound:
        return Sound(at, pitch, tooth, tooth, 0, 0.0, 1.0, undecidable=shared)

    pair = [sound(at, pitch, tooth, True) for at in (6.88, 14.29) for tooth, pitch in ((14, 77.0), (15, 77.1))]
    others = [sound(6.88, 79.0, 16, True), sound(9.0, 77.0, 14, False), sound(9.0, 77.1, 15, False)]
    assert twins_at_once([*pair, *others]) == {(14, 15): [6.88, 14.29]}
