"""Concentric marks tell the plate's middle, whatever the light makes of them; a plate without them tells nothing."""

from __future__ import annotations

import numpy as np
import pytest

from disc.photo.plane.face_plane import Plane
from disc.photo.plate.turned import INNER, OUTER, turned_marks

PX_PER_MM, RADIUS_MM, SIDE_PX = 50.0, 10.0, 1100
TO_PX = np.array([[PX_PER_MM, 0, SIDE_PX / 2], [0, -PX_PER_MM, SIDE_PX / 2], [0, 0, 1.0]])


def plate(grooves, grain, seed):
    """Grey plate, BGR: grooves in rings whose walls shine towards and away from a lamp at 40 degrees, and grain."""
    rng = np.random.default_rng(seed)
    v, u = np.mgrid[0:SIDE_PX, 0:SIDE_PX]
    x, y = (u - SIDE_PX / 2) / PX_PER_MM, (SIDE_PX / 2 - v) / PX_PER_MM
    r, phi = np.hypot(x, y), np.arctan2(y, x)
    wall = np.interp(r, np.arange(0, 16, 0.05), rng.standard_normal(320))
    grey = 120 + grooves * wall * np.cos(phi - 0.7) + grain * rng.standard_normal(r.shape)
    return np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, 2)


def off_by(x, y):
    """A plane whose middle lies at (x, y) mm of the true one."""
    return Plane(TO_PX @ np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]]), 0.0, (SIDE_PX, SIDE_PX))


def middles(marks, plane):
    """(2 rings, 2) mm in the plane, and their sigma (2 rings, 2)."""
    r = [plane.to_mm(px) for px in marks.ring_px]
    sigma = np.sqrt(np.diagonal(np.linalg.inv(marks.weight), axis1=1, axis2=2)).T
    return np.array([m.mean(0) for m in r]), sigma


@pytest.mark.parametrize("seed", range(4))
def test_rings_show_their_middle_from_a_plane_that_lies_beside(seed):
    plane = off_by(0.04, -0.03)
    at, sigma = middles(turned_marks(plate(12, 6, seed), plane, RADIUS_MM), plane)
    assert np.abs(at - [-0.04, 0.03]).max() < 0.012
    assert (np.abs(at - [-0.04, 0.03]) / sigma).max() < 3.0
    assert sigma.max() < 0.02


def test_the_rings_that_stand_for_all_lie_at_their_radii():
    plane = off_by(0.0, 0.0)
    marks = turned_marks(plate(12, 6, 0), plane, RADIUS_MM)
    for q, px in zip((INNER, OUTER), marks.ring_px, strict=True):
        assert np.hypot(*(plane.to_mm(px) - plane.to_mm(px).mean(0)).T) == pytest.approx(q * RADIUS_MM)


def test_a_perspective_moves_the_outer_ring_by_the_square_of_its_radius():
    wrong = np.array([[1, 0, 0], [0, 1, 0], [6e-4, 0, 1.0]])  # 0.06 mm at the rim
    plane = Plane(TO_PX @ wrong, 0.0, (SIDE_PX, SIDE_PX))
    at, _ = middles(turned_marks(plate(12, 6, 1), plane, RADIUS_MM), plane)
    want = np.array([[0.06 * INNER**2, 0.0], [0.06 * OUTER**2, 0.0]])
    assert np.abs(at - want).max() < 0.012


def test_rings_far_beside_the_plane_say_so_and_tell_the_rest_when_read_again():
    """Far off the marks are smeared and misread by 0.02 mm; that is near enough for a second reading."""
    beside = np.array([0.06, -0.04])
    picture, plane = plate(12, 6, 2), off_by(*beside)
    first = turned_marks(picture, plane, RADIUS_MM)
    assert first.off_mm(plane) > 0.05
    at, _ = middles(first, plane)
    assert np.abs(at[1] + beside).max() > 0.012
    again = off_by(*(beside + at[1]))
    second, _ = middles(turned_marks(picture, again, RADIUS_MM), again)
    assert np.abs(second[1] + at[1] + beside).max() < 0.004
    none = turned_marks(plate(0, 0, 0), plane, RADIUS_MM)
    assert none.off_mm(plane) < 0.03


@pytest.mark.parametrize("grain", [0, 6])
def test_a_plate_without_rings_says_next_to_nothing(grain):
    plane = off_by(0.05, 0.0)
    _, sigma = middles(turned_marks(plate(0, grain, 0), plane, RADIUS_MM), plane)
    assert sigma.min() > 0.04


def test_a_burnt_out_plate_says_nothing_and_breaks_nothing():
    """White but for one sector: what is there tells no middle."""
    plane = off_by(0.0, 0.0)
    picture = np.clip(plate(12, 6, 0).astype(int) + 140, 0, 255).astype(np.uint8)
    picture[:, : SIDE_PX // 2 + 300] = 255
    _, sigma = middles(turned_marks(picture, plane, RADIUS_MM), plane)
    assert sigma.max() > 0.04
