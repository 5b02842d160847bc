"""The newer parts of a judged turn, each on sounds whose truth is by construction."""

from __future__ import annotations

import numpy as np
import pytest

from disc.listen.fitted import fitted
from disc.listen.sound.audio import Recording
from disc.listen.sound.bands import FALL_60_DB, Whole, transform
from disc.listen.turn.hear.single_sounds import Beginning
from disc.listen.turn.hear.strike_steps import ToneStep, ToothVoice, own_levels, steps_of
from disc.listen.turn.judge.silent_strikes import (
    MOST_IN_DOUBT,
    MOST_OF_A_LAP,
    PRIOR,
    not_ruled_out,
    over_laps,
    with_others,
)
from disc.listen.turn.judge.single_extra import (
    EXTRA_FROM,
    ExtraCandidate,
    extra_features,
    extra_probability,
    with_other_turns,
)
from disc.listen.turn.learn.true_pitches import off_table
from disc.listen.turn.place.disc_path import Expected

from .struck_bars import RATE, bar, hz, put

T60_S = 2.0


def whole_of(events: list[tuple[float, float, float]], length_s: float) -> tuple[Recording, Whole]:
    """(time in s, pitch, force) of each pure damped tone, in quiet noise."""
    rng = np.random.default_rng(3)
    audio = 1e-4 * rng.normal(size=round(length_s * RATE))
    for at, pitch, force in events:
        t = np.arange(round((length_s - at) * RATE)) / RATE
        put(audio, force * np.exp(-FALL_60_DB / T60_S * t) * np.sin(2 * np.pi * hz(pitch) * t + rng.uniform(0, 6)), at)
    recording = Recording(audio, RATE)
    return recording, transform(recording)


def voice(pitch: float) -> ToothVoice:
    return ToothVoice(hz(pitch), FALL_60_DB / T60_S, True)


def test_a_twin_that_rings_on_adds_nothing_to_the_silent_tooth() -> None:
    # Tooth 1 is struck at 1.0 s and rings; tooth 2, 20 cents above, is looked for at 1.5 s: once silent, once struck.
    voices = {1: voice(76.0), 2: voice(76.2)}
    sought = [(2, 1.5)]
    struck = [(1, 1.0), (2, 1.5)]
    _, silent = whole_of([(1.0, 76.0, 0.2)], 3.0)
    _, sounded = whole_of([(1.0, 76.0, 0.2), (1.5, 76.2, 0.1)], 3.0)
    (none,), (some,) = (steps_of(w, voices, sought, struck) for w in (silent, sounded))
    assert none is not None and some is not None
    assert none.level < 0.01
    assert some.level == pytest.approx(0.1, rel=0.15) and some.gain > 0.9
    assert steps_of(sounded, voices, [(2, 2.99)], struck) == [None]  # beyond the recording nothing is said


def expected(*rows: tuple[int, int, int]) -> list[Expected]:
    """(index, lap, tooth)."""
    return [Expected(index, 0.1 * index + lap, tooth, tooth) for index, lap, tooth in rows]


def test_a_tooths_usual_step_is_that_of_its_louder_half() -> None:
    strikes = expected((0, 0, 1), (1, 0, 1), (2, 0, 1), (3, 0, 1), (4, 0, 2))
    steps: list[ToneStep | None] = [ToneStep(level, 0.01, 0.9, 0.0, 0.0) for level in (0.2, 0.22, 0.24, 0.001)]
    usual = own_levels([*steps, None], strikes)
    assert usual[0] == pytest.approx(0.23, rel=0.06)
    assert usual[4] == usual[0]  # tooth 2 has too few strikes: its neighbours tell


@pytest.mark.parametrize("off_cents", [-110.0, -45.0, 70.0])
def test_a_tooth_off_its_table_is_found_within_three_cents(off_cents: float) -> None:
    table = {1: 72.0, 2: 77.0, 3: 84.0}
    true = table | {2: 77.0 + off_cents / 100.0}
    times = [(0.4 * k + 0.5, 1 + k % 3) for k in range(15)]
    rng = np.random.default_rng(8)
    audio = 1e-3 * rng.normal(size=round(7.5 * RATE))
    for at, tooth in times:
        put(audio, bar(rng, true[tooth], 1.0, 1.0), at)
    strikes = [Expected(k, 0.0, tooth, tooth) for k, (_, tooth) in enumerate(times)]
    found, near = off_table(Recording(audio, RATE), strikes, np.array([t for t, _ in times]), table)
    assert [o.tooth for o in found] == [2] and abs(found[0].cents - off_cents) < 3.0
    assert all(abs(cents) < 3.0 for cents in near.values()) and 2 not in near


def test_what_two_laps_say_is_added_and_no_lap_says_more_than_its_most() -> None:
    strikes = expected((0, 0, 1), (0, 1, 1), (1, 0, 1))
    odds = np.array([PRIOR + 2.0, PRIOR + 9.0, PRIOR + 9.0])
    both = over_laps(odds, strikes, np.array([True, True, True]))
    assert both.tolist() == pytest.approx([PRIOR + 2.0 + MOST_OF_A_LAP] * 2 + [PRIOR + 9.0])
    # A lap that may lie after the disc's stop says nothing.
    alone = over_laps(odds, strikes, np.array([True, False, True]))
    assert alone.tolist() == odds.tolist()


def test_the_other_strikes_of_a_tooth_speak_its_own_laps_do_not() -> None:
    strikes = expected((0, 0, 1), (0, 1, 1), (1, 0, 1), (2, 0, 2))
    first = np.array([5.0, 5.0, -3.0, 5.0])
    told = with_others({}, first, strikes, np.array([True] * 4))["others"]
    assert told[0] == told[1] == pytest.approx(-3.0 / 2) and told[2] > 0
    assert told[3] == 0.0
    # What lies after the disc's stop says nothing of the others.
    stopped = with_others({}, first, strikes, np.array([True, True, False, True]))["others"]
    assert stopped[0] == 0.0


def test_a_silence_is_not_said_where_half_a_strike_may_have_been_added() -> None:
    # Strike 0: nothing within a tenth; 1: 30 % +- 30 %, not told; 2: that in one lap, the other is clear; 3 to 5: a
    # tooth silent at all of its strikes, each of them hardly measured.
    strikes = expected((0, 0, 1), (1, 0, 1), (2, 0, 2), (2, 1, 2), (3, 0, 3), (4, 0, 3), (5, 0, 3))
    features = {
        "level": np.log([0.05, 0.3, 0.3, 0.05, 0.3, 0.3, 0.3]), "sigma": np.log([0.03, 0.3, 0.3, 0.03, 0.3, 0.3, 0.3])
    }  # fmt: skip
    said = np.array([0.97, 0.97, 0.9, 0.9, 0.9, 0.9, 0.9])
    told = not_ruled_out(said, features, strikes, np.array([True] * 7))
    assert told.tolist() == [0.97, MOST_IN_DOUBT, 0.9, 0.9, 0.9, 0.9, 0.9]
    # If one of its strikes sounded the tooth is not silent at all of them.
    said[6] = 0.1
    told = not_ruled_out(said, features, strikes, np.array([True] * 7))
    assert told[4:].tolist() == [MOST_IN_DOUBT, MOST_IN_DOUBT, 0.1]


def candidate(level: float, gain: float, cause: int | None) -> ExtraCandidate:
    b = Beginning(4, 5.0, level, 0.0, 1.0, 5.0)
    return ExtraCandidate(b, -2.0, 7, ToneStep(level, 0.02, gain, 0.0, 0.0), 1.0, cause, cause is not None)


def test_a_full_tone_of_its_own_is_likelier_extra_than_a_trace_of_one() -> None:
    full, trace = extra_probability([candidate(0.9, 0.9, None), candidate(0.12, 0.1, None)])
    # The one is claimed, by far more than the least, the other is not.
    assert full > 2.0 * EXTRA_FROM and trace < 0.1 and len(extra_probability([])) == 0
    one = [candidate(0.5, 0.5, 3)]
    features = extra_features(one)
    assert set(fitted("extra, first").weights) == set(features)
    assert set(fitted("extra").weights) == set(with_other_turns(features, np.zeros(1), one))
