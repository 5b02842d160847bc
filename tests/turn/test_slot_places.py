"""A stop slot that is not plain to see: the turn weighs both likely places and says which, with what settles it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from disc.comb.pin_spread import give_teeth
from disc.photo.plate.which_slot import SlotOdds
from disc.records import About, Side
from disc.turn.fit.slot_places import WeighedSlot, slot_doubt, weigh_slots
from tests.repin.material import PLATE, make_comb, make_pins

AT = 137.0  # of the wrong place, from the right one


def turned(pins, side, deg):
    return tuple(replace(p, theta_deg=(p.theta_deg + deg) % 360.0) if p.side is side else p for p in pins)


def weighed(pins, odds):
    comb = make_comb()
    return weigh_slots(give_teeth(pins, comb).pins, comb, PLATE, odds)


@pytest.mark.parametrize("side", list(Side))
def test_the_place_that_keeps_the_beat_is_likelier_whatever_the_photograph_says(side):
    pins, _ = make_pins(make_comb(), PLATE)
    right = weighed(pins, {side: SlotOdds(0.45, AT, 0.5)})[side]
    assert right.as_read > 0.9 and right.other < 0.05
    wrong = weighed(turned(pins, side, -AT), {side: SlotOdds(0.6, 360.0 - AT, 0.35)})[side]
    assert wrong.other > 0.9 and wrong.as_read < 0.05
    neither = weighed(turned(pins, side, 71.3), {side: SlotOdds(0.5, AT, 0.4)})[side]
    assert neither.as_read + neither.other < 0.9  # the music leaves both less likely than they were


def test_both_faces_are_weighed_together():
    pins, _ = make_pins(make_comb(), PLATE)
    both = turned(turned(pins, Side.UPPER, -AT), Side.LOWER, 62.9)
    odds = {Side.UPPER: SlotOdds(0.5, 360.0 - AT, 0.45), Side.LOWER: SlotOdds(0.5, 62.9, 0.45)}
    found = weighed(both, odds)
    assert found[Side.UPPER].other > 0.9 and found[Side.LOWER].other > 0.9


def test_what_is_said_names_the_likelier_place_and_the_command():
    doubt = slot_doubt(Side.LOWER, WeighedSlot(0.1, 0.85, 222.6), "disc read J --slot-lower 10,20")
    assert doubt is not None and doubt.about is About.SLOT and doubt.side is Side.LOWER
    assert "likelier at 223 degrees than where it was read" in doubt.say and doubt.probability == pytest.approx(0.9)
    assert doubt.advice.endswith("disc read J --slot-lower 10,20")
    kept = slot_doubt(Side.LOWER, WeighedSlot(0.8, 0.1, 222.6), "X")
    assert kept is not None and "speak for the place that was read" in kept.say
    assert slot_doubt(Side.LOWER, WeighedSlot(0.99, 0.005, 222.6), "X") is None
