"""Corrections of a plane: where photo points come to lie, and slopes against differences of nearby states."""

from __future__ import annotations

import numpy as np
import pytest

from disc.photo.marks.slant import Slant
from disc.photo.plane.correction import Carried, corrected
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.joint import SIZE, FaceProblem, PinMarks
from disc.photo.plane.settle import Perspective, _perspective_rows, about_means, heaps

RADIUS_MM = 14.0
TO_PX = np.array([[62.0, 3.0, 1010.0], [2.0, -60.0, 980.0], [1e-3, -2e-3, 1.0]])
PLANE = Plane(TO_PX, 0.03, (2000, 1900))
THETA = np.array([0.01, -0.004, 0.003, 0.006, -0.008, 0.02, -0.01, 0.004])


def slopes_by_differences(of, at, eps=1e-6):
    steps = eps * np.eye(len(at))
    return np.stack([(of(at + step) - of(at - step)) / (2 * eps) for step in steps])


@pytest.mark.parametrize("k1", [0.0, 0.03, -0.05])
def test_points_are_carried_as_the_corrected_plane_has_them(k1):
    plane = Plane(TO_PX, k1, PLANE.size)
    px = np.random.default_rng(0).uniform(100, 1800, (30, 2))
    carried = Carried(plane, RADIUS_MM, px)
    mm, slopes = carried.mm(THETA)
    assert mm.transpose() == pytest.approx(corrected(plane, THETA, RADIUS_MM).to_mm(px), abs=1e-9)
    assert slopes == pytest.approx(slopes_by_differences(lambda at: carried.mm(at)[0], THETA), abs=1e-5)
    r, slopes = carried.radii(THETA)
    assert r == pytest.approx(np.hypot(*mm))
    assert slopes.transpose() == pytest.approx(slopes_by_differences(lambda at: carried.radii(at)[0], THETA), abs=1e-5)


def test_slopes_of_the_pinholes_conditions():
    px = np.random.default_rng(1).uniform(100, 1800, (5, 2))
    marks = PinMarks(px, px + 3, np.full(5, 0.01), np.full(5, 0.01), np.zeros((0, 2)), 0.02)
    problem = FaceProblem(PLANE, RADIUS_MM, marks, Slant(0.004, (0.1, -0.05), 0.03, 5), None)
    at = np.zeros(SIZE)
    at[:8], at[8:11], at[15:19] = THETA, (0.004, 0.1, -0.05), (0.5, 1.1, 0.01, -0.02)
    _, slopes = problem.pinhole(at)
    moved = slopes_by_differences(lambda x: problem.pinhole(x)[0], at)
    assert slopes.transpose() == pytest.approx(moved, rel=1e-5, abs=1e-6)


def test_slopes_of_the_roots_as_feet_and_tips_tell_them():
    px = np.random.default_rng(2).uniform(100, 1800, (5, 2))
    marks = PinMarks(px, px + 3, np.full(5, 0.01), np.full(5, 0.01), np.zeros((0, 2)), 0.02)
    problem = FaceProblem(PLANE, RADIUS_MM, marks, Slant(0.004, (0.1, -0.05), 0.03, 5), None)
    at = np.zeros(SIZE)
    at[:8], at[8:13], at[19] = THETA, (0.004, 0.1, -0.05, 0.01, 0.02), 0.001
    slopes = np.moveaxis(problem.there(at).slopes, -1, 0)
    assert slopes == pytest.approx(slopes_by_differences(lambda x: problem.there(x).two, at), abs=1e-5)


def test_slopes_of_the_perspective(monkeypatch):
    monkeypatch.setattr("disc.photo.plane.settle.WRONG_PERSPECTIVE", 1e6)  # its weight is held while a step is found
    wanted = Perspective(0.03, -0.02, 0.01, 0.004)
    rows, _ = _perspective_rows(PLANE, THETA, RADIUS_MM, wanted)
    # The values fall as fast as the rows say they should.
    moved = slopes_by_differences(lambda at: -_perspective_rows(PLANE, at, RADIUS_MM, wanted)[1], THETA)
    assert rows.transpose() == pytest.approx(moved, abs=1e-4)


def test_heaps_of_radii():
    rng = np.random.default_rng(3)
    tracks = np.array([4.0, 5.5, 6.0, 9.0])
    mine = rng.integers(0, 4, 80)
    mine[:4] = range(4)
    radii = tracks[mine] + 0.01 * rng.standard_normal(80)
    label, found = heaps(radii, np.ones(80), 0.05)
    assert np.array_equal(label, mine)
    assert found == pytest.approx([radii[mine == k].mean() for k in range(4)])
    assert heaps(radii, 1e-3 + mine, 0.05)[1][0] == pytest.approx(radii[mine == 0].mean())
    left = about_means(label, np.ones(80), radii)
    assert np.bincount(label, left) == pytest.approx(np.zeros(4), abs=1e-9)
    none, empty = heaps(np.zeros(0), np.zeros(0), 0.05)
    assert not len(none) and not len(empty)
