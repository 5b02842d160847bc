"""The crops that the closer net is given."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.photo.marks import close_looks
from disc.photo.marks.close_looks import _crops_about_tips, _turned_crops, look_again
from disc.photo.marks.networks import CLOSER_PX
from disc.photo.marks.slant import Slant
from disc.photo.marks.spots import Spots
from disc.photo.plane.flatten import Flat


@pytest.mark.parametrize("angle_deg", [0, 35, 90, 200])
@pytest.mark.parametrize("mirrored", [1, -1])
def test_a_crop_is_turned_so_that_the_way_given_points_to_the_right(angle_deg, mirrored):
    # A dot 12 px from the middle along the way, and a fainter one 6 px across it, drawn here.
    a = np.radians(angle_deg)
    right = np.array([np.cos(a), np.sin(a)])
    turn = np.array([right, mirrored * np.array([-right[1], right[0]])])
    at = np.array([80.0, 70.0])
    v, u = np.mgrid[0:160, 0:160]
    picture = np.zeros((160, 160))
    for (along, across), height in (((12, 0), 250), ((0, 6), 120)):
        x, y = at + along * turn[0] + across * turn[1]
        picture += height * np.exp(-((u - x) ** 2 + (v - y) ** 2) / 4)
    flat = Flat(np.repeat(picture[..., None], 3, 2).astype(np.uint8), 79.5, 42.0)
    (crop,) = _turned_crops(flat, at[None], turn[None])
    middle = (CLOSER_PX - 1) / 2
    j, i = np.unravel_index(crop[..., 0].argmax(), (CLOSER_PX, CLOSER_PX))
    assert (i, j) == pytest.approx((middle + 12, middle), abs=1)
    below = crop[round(middle) + 3 :, :, 0]
    j, i = np.unravel_index(below.argmax(), below.shape)
    assert (i, j + round(middle) + 3) == pytest.approx((middle, middle + 6), abs=1)


SLANT = Slant(0.01, (-0.15, 0.1), 0.02, 40)
FLAT = Flat(np.full((640, 640, 3), 128, np.uint8), 319.5, 42.0)


def marks(root, tip, heat) -> Spots:
    n = len(heat)
    kind = np.tile([0.98, 0.01, 0.01], (n, 1))
    small = np.full(n, 0.02)
    bare = Spots(
        np.array(root, float),
        np.array(tip, float),
        kind,
        np.array(heat),
        *[small] * 3,
        np.zeros((n, 0)),
        np.full((n, 2, 2), np.nan),
        np.full(n, np.nan),
    )
    return replace(bare, crop=_crops_about_tips(FLAT.halved(), bare))


@pytest.fixture
def a_pin_and_its_shadow():
    """A believed pin, and a mark whose tip is another pin's, its body the shadow: the true foot lies elsewhere."""
    feet = np.array([[2.0, 1.0], [4.0, -2.0]])
    tips = feet + SLANT.at(feet)
    return feet, tips, marks([feet[0], tips[1] + [0.1, 0.3]], tips, [0.99, 0.6])


def answers(monkeypatch, feet, tips):
    """The closer as it would be if these pins, and nothing else, were to be seen from within 0.1 mm of their feet."""

    def close(_flat, spots, _slant, mirrored=False):
        gap = np.linalg.norm(spots.root[:, None] - feet[None], axis=2)
        near = gap.argmin(1)
        seen = gap.min(1) < 0.1
        root, tip = np.where(seen[:, None], feet[near], spots.root), np.where(seen[:, None], tips[near], spots.tip)
        return marks(root, tip, np.where(seen, 0.97, 0.05)), np.linalg.norm(root - spots.root, axis=1)

    monkeypatch.setattr(close_looks, "_close", close)


def test_a_pin_whose_shadow_was_taken_for_its_body_is_seen_from_where_its_foot_must_be(
    monkeypatch, a_pin_and_its_shadow
):
    feet, tips, seen = a_pin_and_its_shadow
    answers(monkeypatch, feet, tips)
    put = look_again(FLAT, seen, SLANT, np.array([True, False]))
    assert put.root == pytest.approx(feet)
    assert put.heat == pytest.approx([0.99, 0.97])


def test_a_pin_seen_upside_down_is_seen_from_its_tip(monkeypatch, a_pin_and_its_shadow):
    feet, tips, _ = a_pin_and_its_shadow
    bent = np.array([tips[0], feet[1] + [0.3, -0.2]])
    answers(monkeypatch, feet, bent)
    put = look_again(FLAT, marks([feet[0], bent[1]], [tips[0], feet[1]], [0.99, 0.6]), SLANT, np.array([True, False]))
    assert put.root == pytest.approx(feet)
    assert put.tip == pytest.approx(bent)


def test_what_is_not_plain_from_elsewhere_or_is_a_believed_pin_stays_as_it_was(monkeypatch, a_pin_and_its_shadow):
    feet, tips, seen = a_pin_and_its_shadow
    answers(monkeypatch, feet[:1], tips[:1])
    assert look_again(FLAT, seen, SLANT, np.array([True, False])).root == pytest.approx(seen.root)
    own = marks([feet[0], tips[0] + [0.1, 0.3]], [tips[0], tips[0]], [0.99, 0.6])
    assert look_again(FLAT, own, SLANT, np.array([True, False])).root == pytest.approx(own.root)


def test_believed_marks_are_left_alone(monkeypatch, a_pin_and_its_shadow):
    feet, tips, seen = a_pin_and_its_shadow
    answers(monkeypatch, feet, tips)
    assert look_again(FLAT, seen, SLANT, np.array([True, True])).root == pytest.approx(seen.root)


def test_believed_pins_that_lean_alike_lean_into_their_shadows(monkeypatch):
    """Two bodies along one shadow's way are looked at from where the pins would stand upright; a third, bent another
    way, is left as it is, though something upright is to be seen under its tip."""
    feet = np.array([[2.0, 1.0], [4.0, -2.0], [-3.0, 1.0]])
    tips = feet + SLANT.at(feet)
    answers(monkeypatch, feet, tips)
    seen = marks(tips + np.array([[0.1, 0.3], [0.1, 0.3], [-0.3, 0.0]]), tips, [0.99] * 3)
    put = look_again(FLAT, seen, SLANT, np.ones(3, bool))
    assert put.root[np.argsort(-put.root[:, 0])] == pytest.approx(np.array([feet[1], feet[0], seen.root[2]]))
