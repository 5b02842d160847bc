"""A pin that goes through the plate shows its foot on the other face: at its own place in the disc's axes, and near."""

from __future__ import annotations

from dataclasses import replace

import pytest

from disc.comb.other_face import tails
from disc.records import Condition, Pin, Side

STANDING = Pin(1, Side.UPPER, 9.0, 40.0, 0.25, 0.5, tooth=3)
FOOT = Pin(2, Side.LOWER, 9.0, 40.0, condition=Condition.STUB, tooth=8)


@pytest.mark.parametrize("off_mm", [0.0, 0.08, 0.15])
def test_a_mark_in_the_hole_of_a_standing_pin_is_its_tail(off_mm):
    """To 0.15 mm: so far 104 of 105 tails lie from their pins on rendered photographs (chain.py on h6)."""
    assert tails([STANDING, replace(FOOT, r_mm=9.0 + off_mm)]) == {2: STANDING}


@pytest.mark.parametrize(
    "other",
    [
        replace(FOOT, r_mm=9.26),  # a pin's thickness away: a hole of its own
        replace(FOOT, theta_deg=320.0),  # where it would be if the lower face were not turned over
        replace(FOOT, side=Side.UPPER),  # the same face: two marks of one pin, not a tail
    ],
)
def test_any_other_mark_stands_for_itself(other):
    assert tails([STANDING, other]) == {}


def test_what_does_not_stand_or_plays_no_tooth_has_no_tail():
    assert tails([replace(STANDING, condition=Condition.MISSING), FOOT]) == {}
    assert tails([replace(STANDING, tooth=None), FOOT]) == {}
    # Both standing: each lies in the other's hole.
    both = tails([STANDING, replace(FOOT, condition=Condition.SOUND)])
    assert set(both) == {1, 2} and both[1].id == 2
