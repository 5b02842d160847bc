"""Which guess at clock, octave and tempo is taken, weak and dead teeth, what is left open: against built recordings."""

from __future__ import annotations

import numpy as np
import pytest

from disc.errors import BadInput
from disc.listen.sound.audio import Recording
from disc.listen.turn.hear.strike_attacks import Attacks
from disc.listen.turn.hear_turn import read_turn
from disc.listen.turn.turn_record import Turn

from .struck_bars import RATE, a_tune, hz, played_turn, put

COMB = dict(enumerate([67.0, 69.02, 71.0, 72.0, 74.01, 76.0, 78.0, 79.02, 81.0], start=1))
PERIOD_S = 22.0
TUNE = a_tune(np.random.default_rng(14), list(COMB), 44)


def stringy(rng: np.random.Generator, pitch: float, force: float = 1.0) -> np.ndarray:
    """A plucked string whose second partial is four times as strong as its fundamental."""
    t = np.arange(int(2.0 * RATE)) / RATE
    parts = ((1, 0.25), (2, 1.0), (3, 0.3))
    sound = sum(a * np.exp(-4.0 * t) * np.sin(2 * np.pi * n * hz(pitch) * t + rng.uniform(0, 6.28)) for n, a in parts)
    return 0.2 * force * sound * (1 - np.exp(-t / 0.0006))


def strings(tune: list[tuple[float, int]]) -> np.ndarray:
    rng = np.random.default_rng(3)
    audio = 1e-4 * rng.normal(size=int((PERIOD_S + 3.0) * RATE))
    for u, tooth in tune:
        put(audio, stringy(rng, COMB[tooth]), 0.6 + u * PERIOD_S)
    return audio


@pytest.mark.parametrize("stated", [1, 2])
def test_second_partials_are_not_taken_for_a_clock_twice_as_fast(stated: int) -> None:
    """Louder second partials, at the right rate and at a stated rate that is half the true one."""
    turn = read_turn(Recording(strings(TUNE), RATE / stated), COMB, TUNE)
    assert turn.clock == pytest.approx(stated, rel=1e-3)
    assert turn.revolution_s == pytest.approx(PERIOD_S, rel=2e-3)
    assert turn.silent == ()


def test_half_a_turn_is_laid_over_the_pins() -> None:
    audio, _ = played_turn(np.random.default_rng(5), COMB, TUNE, PERIOD_S, slowing=0.0)
    turn = read_turn(Recording(audio[: int(0.5 * PERIOD_S * RATE)], RATE), COMB, TUNE)
    assert turn.revolution_s == pytest.approx(PERIOD_S, rel=0.01)
    assert turn.unheard and max(turn.silent, default=-1) < min(turn.unheard)


WEAK, DEAD = 6, 3


@pytest.fixture(scope="module")
def uneven() -> Turn:
    """One tooth thirty times as weak as the others, with its pin's click; another tooth dead."""
    rng = np.random.default_rng(9)
    audio = 2e-5 * rng.normal(size=int((PERIOD_S + 3.0) * RATE))
    for u, tooth in TUNE:
        if tooth != DEAD:
            note, _ = played_turn(rng, COMB, [(0.0, tooth)], 1.0)
            put(audio, note[int(0.8 * RATE) :] * (1 / 30 if tooth == WEAK else 1.0), 0.6 + u * PERIOD_S)
    return read_turn(Recording(audio, RATE), COMB, TUNE)


def test_a_tooth_weak_at_all_its_pins_is_weak_and_not_silent(uneven: Turn) -> None:
    weak = {k for k, (_, tooth) in enumerate(TUNE) if tooth == WEAK}
    assert uneven.weak_teeth == (WEAK,)
    assert len(weak & set(uneven.silent)) <= 1 and not weak & set(uneven.weak)


def test_a_tooth_that_never_sounds_is_silent_at_all_its_pins(uneven: Turn) -> None:
    assert set(uneven.silent) >= {k for k, (_, tooth) in enumerate(TUNE) if tooth == DEAD}


def test_a_tooth_known_to_be_dead_lends_its_strikes_to_no_other() -> None:
    """Teeth 10 and 1 have one pitch and strike within each other's reach; the table says which of them is dead."""
    comb = COMB | {10: COMB[1] + 0.1}
    mine = [u for u, tooth in TUNE if tooth == 1]
    tune = sorted([*TUNE, *((u + 0.004, 10) for u in mine)])
    audio, _ = played_turn(np.random.default_rng(6), COMB, TUNE, PERIOD_S)
    turn = read_turn(Recording(audio, RATE), comb, tune, dead={10})
    assert {tune[k][1] for k in turn.silent} == {10} and len(turn.silent) == len(mine)
    assert all(s.tooth != 10 for s in turn.sounds)


def test_what_cannot_be_told_is_not_called_silent() -> None:
    """A strike under the much louder second partial of the tooth an octave below it is left open or heard."""
    comb = COMB | {10: COMB[1] + 12.0}
    tune = [(u, tooth) for u, tooth in TUNE if tooth != 9]
    at = next(u for u, tooth in tune if tooth == 1)
    rng = np.random.default_rng(12)
    audio = 1e-4 * rng.normal(size=int((PERIOD_S + 3.0) * RATE))
    for u, tooth in tune:
        put(audio, stringy(rng, comb[tooth]), 0.6 + u * PERIOD_S)
    turn = read_turn(Recording(audio, RATE), comb, [*tune, (at, 10)])
    assert len(tune) not in turn.silent


def test_a_strike_far_off_its_place_is_late_and_neither_silent_nor_extra() -> None:
    """A pin that leans by two tenths of a millimetre more than was read."""
    rest = {k: min(abs(u - v) for v, n in TUNE if n == tooth and v != u) for k, (u, tooth) in enumerate(TUNE)}
    far = max(rest, key=lambda k: rest[k])
    audio, _ = played_turn(np.random.default_rng(8), COMB, TUNE, PERIOD_S, late={far: 0.22})
    turn = read_turn(Recording(audio, RATE), COMB, TUNE)
    assert turn.silent == () and turn.extra == ()
    assert [(s.strike, round(s.late_s, 2)) for s in turn.early_late] == [(far, 0.22)]


def test_no_turn_in_the_recording_is_one_line() -> None:
    t = np.arange(20 * RATE) / RATE
    for sound in (0.2 * np.sin(2 * np.pi * 440.0 * t), 0.1 * np.random.default_rng(1).normal(size=len(t))):
        with pytest.raises(BadInput, match="does not follow the pins") as caught:
            read_turn(Recording(sound, RATE), COMB, TUNE)
        assert "\n" not in str(caught.value)


def test_the_attack_of_a_lone_strike_speaks_for_it_and_its_lack_against() -> None:
    curve = np.zeros(5000)
    places = np.arange(1, 11) * 0.9
    curve[np.round(places[:9] / 0.002).astype(int)] = 20.0
    cue = Attacks(curve, 0.002).cue(places, np.full(10, 9.0))
    assert np.all(cue[:9] > 1.0) and cue[9] < -1.0


def test_a_tune_without_a_gap_leaves_the_attacks_undecided_but_finite() -> None:
    places = np.arange(1, 200) * 0.05
    cue = Attacks(np.full(6000, 20.0), 0.002).cue(places, np.full(len(places), 9.0))
    assert np.all(np.isfinite(cue))
