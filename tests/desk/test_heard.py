"""A recorded turn laid over the pins: against recordings made here from known motions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from disc.desk.heard import HeardSounds, start_of_turn, turns_at
from disc.records import Strike

PLACES = np.sort(np.random.default_rng(3).uniform(0.02, 0.98, 60))
TEETH = np.random.default_rng(4).integers(1, 13, 60)
STRIKES = tuple(Strike(360.0 * place, 40.0 * place, int(tooth)) for place, tooth in zip(PLACES, TEETH, strict=True))


def recorded(begun, revolution_s, wobble=0.0):
    """Seconds and teeth of one recorded turn that begins at the share `begun` of the turn; rows of the speed beside."""
    grid = np.linspace(0.0, revolution_s, 801)
    ratio = 1.0 + wobble * np.sin(2 * np.pi * grid / revolution_s)
    turns = np.concatenate([[0.0], np.cumsum(0.5 * (ratio[1:] + ratio[:-1]) * np.diff(grid))]) / revolution_s
    at = np.interp((PLACES - begun) % 1.0, turns, grid)
    return at, np.column_stack([grid, ratio])


@given(st.floats(0.0, 0.999), st.floats(20.0, 90.0), st.floats(-0.05, 0.05))
@settings(max_examples=40)
def test_the_place_at_which_a_recording_begins_is_found(begun, revolution_s, wobble):
    at, speed = recorded(begun, revolution_s, wobble)
    sounds = HeardSounds(at, tuple((int(tooth),) for tooth in TEETH))
    shift = start_of_turn(sounds, turns_at(speed, revolution_s), STRIKES)
    assert shift is not None
    assert abs((shift - begun + 0.5) % 1.0 - 0.5) < 0.002


def test_speed_adds_up_to_turns():
    """At the mean speed all along, a revolution's seconds are one turn; twice as fast, two."""
    times = np.linspace(0.0, 50.0, 11)
    assert turns_at(np.column_stack([times, np.ones(11)]), 50.0)[-1] == pytest.approx([50.0, 1.0])
    assert turns_at(np.column_stack([times, np.full(11, 2.0)]), 50.0)[-1] == pytest.approx([50.0, 2.0])


def test_a_recording_of_something_else_is_not_laid_over_the_disc():
    random = np.random.default_rng(7)
    sounds = HeardSounds(np.sort(random.uniform(0, 40, 60)), tuple((int(n),) for n in random.integers(1, 13, 60)))
    _, speed = recorded(0.0, 40.0)
    assert start_of_turn(sounds, turns_at(speed, 40.0), STRIKES) is None
    assert start_of_turn(HeardSounds(np.array([1.0]), ((99,),)), turns_at(speed, 40.0), STRIKES) is None
