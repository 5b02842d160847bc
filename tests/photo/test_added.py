"""What each photograph of a face added, and whether one more, tilted the other way, is asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.photo.plane.view import View
from disc.photo.several.added import what_each_added
from disc.photo.several.merge_pins import ShownFace, merge_pins
from disc.photo.several.other_tilt import leans_to, other_tilt
from disc.records import Condition, Pin, Side


def pin(number, r_mm, theta_deg, condition=Condition.SOUND, sure=0.95, sigma_mm=0.02):
    return Pin(
        number,
        Side.UPPER,
        r_mm,
        theta_deg,
        condition=condition,
        sigma_mm=sigma_mm,
        confidence=0.99,
        condition_probability=sure,
    )


FACE = [pin(k, 6.0 + 0.5 * (k % 6), 13.0 * k) for k in range(20)]


def test_what_only_one_photograph_shows_is_told_to_be_its_own():
    lone = pin(50, 9.9, 301.0)
    stub = replace(FACE[3], condition=Condition.STUB, condition_probability=0.97)
    first = ShownFace([replace(p, condition_probability=0.6) if p is FACE[3] else p for p in FACE], shown_mm=0.1)
    other = ShownFace([*FACE[:3], stub, *FACE[4:], lone], shown_mm=0.1)
    shown = [first, other]
    by_first, by_other = what_each_added(shown, merge_pins(shown))
    assert (by_other.sites, by_other.more, by_other.settled) == (21, 1, 1)
    assert (by_first.sites, by_first.more, by_first.fewer) == (20, 0, 0)
    assert by_other.sigma_mm < by_other.without_mm == pytest.approx(0.02)
    assert by_other.words("b.jpg").startswith("b.jpg shows 21 sites; it added: 1 site more, 1 condition told otherwise")


def test_of_a_lone_photograph_nothing_is_said():
    assert what_each_added([ShownFace(FACE)], FACE) == []


def view(eye_xy_mm, quarter=0.0):
    """A camera over the face at 20 px a millimetre, its picture turned."""
    c, s = 20 * np.cos(quarter), 20 * np.sin(quarter)
    plane = (c, -s, 500.0, -s, -c, 400.0, 0.0, 0.0, 1.0)
    return View("a.jpg", Side.UPPER, 1000, 800, plane, 0.0, (*eye_xy_mm, 100.0), True, 13.0)


@pytest.mark.parametrize(
    ("eye", "quarter", "edge"),
    [((0, 30), 0, "upper"), ((0, -30), 0, "lower"), ((-30, 4), 0, "left"), ((0, 30), -np.pi / 2, "right")],
)
def test_the_edge_is_named_towards_which_the_camera_stood(eye, quarter, edge):
    assert leans_to(view(eye, quarter)) == edge


def test_one_more_is_asked_for_from_the_other_side():
    unsure = [replace(p, condition=Condition.STUB, condition_probability=0.6) for p in FACE[:2]]
    said = other_tilt(Side.UPPER, [view((0, 30))], [0.2], [*unsure, *FACE[2:]])
    assert len(said) == 1 and said[0].side is Side.UPPER
    assert "towards the picture's upper edge, let it now stand towards the lower one" in said[0].advice
    assert not other_tilt(Side.UPPER, [view((0, 30))], [0.2], FACE)  # nothing that it would settle
    both = [view((0, 30)), view((5, -30))]
    assert not other_tilt(Side.UPPER, both, [0.2, 0.2], [*unsure, *FACE[2:]])  # it has been taken
    alike = [view((0, 30)), view((20, 25))]
    assert other_tilt(Side.UPPER, alike, [0.2, 0.2], [*unsure, *FACE[2:]])


def test_pins_seen_from_straight_above_ask_for_any_tilt():
    said = other_tilt(Side.LOWER, [view((0, 1))], [0.01], FACE)
    assert "straight above" in said[0].say and "disc read JOB --lower PHOTO OTHER" in said[0].advice
    assert not other_tilt(Side.LOWER, [view((0, 1)), view((0, 30))], [0.01, 0.2], FACE)
