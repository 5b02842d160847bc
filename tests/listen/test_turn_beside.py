"""A strike beside its place is early or late only where its own tone rises; what one lap tells is not left open."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from disc.listen.sound.audio import Recording
from disc.listen.turn.early_late import beside_the_path
from disc.listen.turn.followed import Followed
from disc.listen.turn.hear.heard_strikes import HeardStrike, Matched, left_open
from disc.listen.turn.hear.strike_steps import steps_of
from disc.listen.turn.hear_turn import off_their_table
from disc.listen.turn.judge.which_tooth import Told
from disc.listen.turn.place.disc_path import Expected
from disc.listen.turn.place.place_in_recording import is_usual_clock
from disc.listen.turn.place.speed import motion_from
from disc.listen.turn.place.tones import tones_at

from .struck_bars import hz
from .test_turn_judges import voice, whole_of

PITCH = {1: 72.0, 2: 76.0}


def followed(strikes: list[tuple[int, float, float | None]]) -> Followed:
    """strikes: (tooth, s where the path puts it, s where it sounds or None)."""
    _, whole = whole_of([(at, PITCH[tooth], 0.2) for tooth, _, at in strikes if at is not None], 9.0)
    voices = {tooth: voice(pitch) for tooth, pitch in PITCH.items()}
    tones = tones_at(whole, [(1,), (2,)], [[hz(PITCH[1])], [hz(PITCH[2])]])
    heard = tuple(
        HeardStrike(Expected(k, path / 10.0, tooth, tooth - 1), path, None, -2.0)
        for k, (tooth, path, _) in enumerate(strikes)
    )
    path = np.array([p for _, p, _ in strikes])
    sought = [(tooth, p) for tooth, p, _ in strikes]
    motion = motion_from(path, path / 10.0)
    told = Told(Matched(heard, (), np.ones(2)), {})
    steps = steps_of(whole, voices, sought, sought)
    return Followed(whole, tones, told, motion, (), voices, voices, steps, path, np.zeros(len(path)))


ON_TIME: list[tuple[int, float, float | None]] = [(1 + k % 2, 0.6 + 0.7 * k, 0.6 + 0.7 * k) for k in range(9)]


@pytest.mark.parametrize("late_s", [-0.09, -0.05, 0.06, 0.1])
def test_a_strike_that_sounds_beside_its_place_is_found_there(late_s: float) -> None:
    strikes = [*ON_TIME, (2, 7.2, 7.2 + late_s), (1, 8.0, None)]
    seen = followed(strikes)
    heard = beside_the_path(seen, seen.places_s).told.matched.heard
    early = heard[9].beginning
    assert early is not None and early.time_s - 7.2 == pytest.approx(late_s, abs=0.006)
    assert heard[10].beginning is None  # a silent one stays silent
    assert all(h.beginning is None for h in heard[:9])  # what rises on the path is not looked for beside it


def test_what_begins_with_another_strike_is_not_taken_for_an_early_one() -> None:
    # Something of tooth 2 begins together with tooth 1: it may be that one's partial.
    strikes = [*ON_TIME, (2, 7.2, 7.14), (1, 7.14, 7.14)]
    seen = followed(strikes)
    assert beside_the_path(seen, seen.places_s).told.matched.heard[9].beginning is None


def test_a_strike_that_one_lap_calls_silent_is_not_left_open_by_another() -> None:
    silent = HeardStrike(Expected(3, 0.4, 1, 0), 4.0, None, -3.0, 0.97)
    outside = HeardStrike(Expected(3, 1.4, 1, 0), 44.0, None, -0.3, None)
    open_ = HeardStrike(Expected(4, 0.5, 1, 0), 5.0, None, -0.3, 0.4)
    assert left_open([silent, outside]) == set() and left_open([silent, outside, open_]) == {4}
    assert left_open([replace(silent, beyond=True), outside]) == {3}


def test_a_tooth_a_little_off_its_table_shows_in_the_tone_of_its_strikes() -> None:
    seen = followed(ON_TIME)
    assert off_their_table(seen, PITCH, 0.0) == ()
    (off,) = off_their_table(seen, PITCH | {2: 75.74}, 0.0)
    assert off.tooth == 2 and off.cents == pytest.approx(26.0, abs=0.5)
    # A comb that sounds 26 cents above its table as a whole has no tooth off it, but for one that does not.
    low = {tooth: pitch - 0.26 for tooth, pitch in PITCH.items()}
    assert off_their_table(seen, low, 26.0) == ()
    assert [o.tooth for o in off_their_table(seen, low | {1: PITCH[1]}, 26.0)] == [1]
    # A tooth whose tone explains none of its strikes tells nothing.
    silent = replace(seen, steps=[None if s is None else replace(s, gain=0.1) for s in seen.steps])
    assert off_their_table(silent, PITCH | {2: 75.74}, 0.0) == ()


@pytest.mark.parametrize(("clock", "usual"), [(1.0, True), (48000 / 44100, True), (1.706, False)])
def test_a_clock_that_no_recorder_has_is_known_as_such(clock: float, usual: bool) -> None:
    right = Recording(np.zeros(10), 44100 * clock)  # its rate put right by the clock
    assert is_usual_clock(SimpleNamespace(clock=clock, recording=right)) is usual
