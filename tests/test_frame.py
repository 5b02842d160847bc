"""Sides, turning and the strike equation: laws as properties, and a case worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from disc import frame
from disc.records import Side, Turns

angles = st.floats(0.0, 360.0, exclude_max=True)
lengths = st.floats(0.1, 20.0)
any_turns = st.sampled_from(Turns)
any_side = st.sampled_from(Side)


def test_worked_by_hand():
    # A clock face drawn on paper, upper side towards you. Tip at 90 degrees (top), pin at 120 degrees (left of it).
    # Clockwise the pin comes over the top after 30 degrees; counter-clockwise it must go round the long way, 330.
    assert frame.turn_deg(120.0, 90.0, Turns.CLOCKWISE) == pytest.approx(30.0)
    assert frame.turn_deg(120.0, 90.0, Turns.COUNTERCLOCKWISE) == pytest.approx(330.0)
    # 30 degrees of a 48 s turn are 4 s.
    assert frame.onset_s(30.0, 48.0) == pytest.approx(4.0)


@given(theta=angles, tip=angles, turns=any_turns)
def test_pin_returns_to_its_angle(theta, tip, turns):
    turned = frame.turn_deg(theta, tip, turns)
    assert 0.0 <= turned < 360.0
    assert frame.angle_gap_deg(frame.theta_for(turned, tip, turns), theta) < 1e-9


@given(theta=angles, tip=angles)
def test_the_two_ways_of_turning_make_one_full_turn(theta, tip):
    both = frame.turn_deg(theta, tip, Turns.CLOCKWISE) + frame.turn_deg(theta, tip, Turns.COUNTERCLOCKWISE)
    assert min(abs(both), abs(both - 360.0)) < 1e-9


@given(theta=angles, tip=angles, shift=angles, turns=any_turns)
def test_turning_datum_and_comb_together_changes_nothing(theta, tip, shift, turns):
    moved = frame.turn_deg(frame.wrap_deg(theta + shift), frame.wrap_deg(tip + shift), turns)
    assert frame.angle_gap_deg(moved, frame.turn_deg(theta, tip, turns)) < 1e-9


@given(x=st.floats(-20, 20), y=st.floats(-20, 20), side=any_side)
def test_mirroring_twice_changes_nothing(x, y, side):
    assert frame.view_to_disc_mm(*frame.disc_to_view_mm(x, y, side), side) == (x, y)


def test_lower_view_is_mirrored_and_upper_is_not():
    # Seen on the lower side, what stands counter-clockwise of the slot (y > 0) appears clockwise of it (below).
    assert frame.disc_to_view_mm(0.0, 5.0, Side.UPPER) == (0.0, 5.0)
    assert frame.disc_to_view_mm(0.0, 5.0, Side.LOWER) == (0.0, -5.0)


@given(r=lengths, theta=angles)
def test_polar_there_and_back(r, theta):
    r_back, theta_back = frame.to_polar(*frame.to_xy_mm(r, theta))
    assert r_back == pytest.approx(r)
    assert frame.angle_gap_deg(theta_back, theta) < 1e-9


@pytest.mark.parametrize("angle, wrapped", [(360.0, 0.0), (-0.5, 359.5), (359.9, 359.9), (720.25, 0.25), (-1e-17, 0.0)])
def test_wrap_at_the_full_turn(angle, wrapped):
    assert frame.wrap_deg(angle) == pytest.approx(wrapped)
    assert frame.wrap_deg(np.array([angle]))[0] < 360.0


def test_arrays_and_floats_agree():
    theta = np.array([0.0, 10.0, 359.9])
    each = [frame.turn_deg(float(t), 5.0, Turns.CLOCKWISE) for t in theta]
    assert frame.turn_deg(theta, 5.0, Turns.CLOCKWISE) == pytest.approx(each)


@given(seconds=st.floats(0.0, 59.0), revolution=st.floats(20.0, 120.0))
def test_onset_there_and_back(seconds, revolution):
    assert frame.onset_s(frame.turn_for_onset_deg(seconds, revolution), revolution) == pytest.approx(seconds)


def test_no_revolution_time_no_onset():
    with pytest.raises(ValueError, match="revolution_s must be positive"):
        frame.onset_s(10.0, 0.0)


@given(theta=angles, turns=any_turns)
def test_a_pin_leaning_along_the_motion_strikes_early(theta, turns):
    x, y = frame.to_xy_mm(10.0, theta)
    ahead = frame.theta_for(1.0, theta, turns)  # where a pin stands that has one degree left to go to theta
    behind_x, behind_y = frame.to_xy_mm(10.0, ahead)
    along, outward = frame.along_motion_mm(x - behind_x, y - behind_y, ahead, turns)
    assert along == pytest.approx(10.0 * np.sin(np.deg2rad(1.0)))
    assert abs(outward) < 0.01
