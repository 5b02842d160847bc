"""One hole through the plate belongs to one face: by what conventions.md says of a through hole's place."""

from __future__ import annotations

from disc.photo.marks.other_face import own_pins
from disc.records import Condition, Pin, Side


def pin(side, r_mm, theta_deg, condition=Condition.SOUND, confidence=0.99):
    height = {Condition.MISSING: 0.0, Condition.STUB: None}.get(condition, 0.5)
    return Pin(1, side, r_mm, theta_deg, height_mm=height, condition=condition, confidence=confidence)


UPPER = [pin(Side.UPPER, 8.0, 10.0 * k) for k in range(1, 9)]
LOWER = [pin(Side.LOWER, 9.5, 10.0 * k + 5) for k in range(1, 9)]


def test_tail_of_a_standing_pin_is_no_stub():
    tail = pin(Side.LOWER, 8.02, 20.1, Condition.STUB)
    stub = pin(Side.LOWER, 9.5, 200.0, Condition.STUB)
    assert own_pins([*LOWER, tail, stub], UPPER) == (*LOWER, stub)
    assert own_pins(UPPER, [*LOWER, tail, stub]) == tuple(UPPER)


def test_tail_that_seems_to_stand_goes_by_the_tracks_where_the_face_shows_tails():
    tails = [pin(Side.LOWER, 8.0, 10.0 * k, Condition.STUB) for k in (4, 5, 6)]
    tail = pin(Side.LOWER, 8.0, 30.0, confidence=1.0)
    assert own_pins([*LOWER, *tails, tail], UPPER) == tuple(LOWER)
    assert own_pins(UPPER, [*LOWER, *tails, tail]) == tuple(UPPER)


def test_pins_back_to_back_stay_where_no_tails_show():
    back = pin(Side.LOWER, 8.0, 30.0)
    assert own_pins([*LOWER, back], UPPER) == (*LOWER, back)


def test_through_hole_belongs_to_the_face_whose_track_it_lies_on():
    here, there = (pin(side, 8.0, 300.0, Condition.MISSING) for side in (Side.UPPER, Side.LOWER))
    assert own_pins([*UPPER, here], [*LOWER, there]) == (*UPPER, here)
    assert own_pins([*LOWER, there], [*UPPER, here]) == tuple(LOWER)


def test_faint_mark_explains_nothing():
    stub = pin(Side.LOWER, 8.0, 40.0, Condition.STUB)
    faint = [p if p.theta_deg != 40.0 else pin(Side.UPPER, 8.0, 40.0, confidence=0.55) for p in UPPER]
    assert stub in own_pins([*LOWER, stub], faint)
