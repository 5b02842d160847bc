"""Paper seen through a slot: the foot of the slot's own wall stands out more than the face's edge above it."""

from __future__ import annotations

import numpy as np
import pytest

from disc.photo.plane.face_plane import Plane
from disc.photo.plate.slot import WallSeen, find_slot, wall_seen
from disc.photo.plate.slot_signs import LensOver

RADIUS_MM, WIDTH_MM, PX = 12.0, 0.9, 40.0
SIZE = int(2 * (RADIUS_MM + 2) * PX) + 1
PLANE = Plane(np.array([[PX, 0, (SIZE - 1) / 2], [0, -PX, (SIZE - 1) / 2], [0, 0, 1.0]]), 0.0, (SIZE, SIZE))
PAPER, PLATE, WALL, WALL_MM = 200.0, 120.0, 104.0, 0.11


def seen(wall_mm: float) -> np.ndarray:
    """A plate on white paper, its slot at angle 0; so much of the wall is seen, at the larger angle where negative."""
    down, across = np.mgrid[:SIZE, :SIZE].astype(float)
    x, y = (across - (SIZE - 1) / 2) / PX, -(down - (SIZE - 1) / 2) / PX
    on_plate = np.hypot(x, y) < RADIUS_MM
    slot = on_plate & (x > RADIUS_MM - 1.0) & (np.abs(y) < WIDTH_MM / 2)
    level = np.where(on_plate & ~slot, PLATE, PAPER)
    below = (y - WIDTH_MM / 2 > wall_mm) if wall_mm < 0 else (y + WIDTH_MM / 2 < wall_mm)
    level = np.where(slot & below & (wall_mm != 0), WALL, level)
    grey = np.clip(level + np.random.default_rng(2).normal(0, 1.0, level.shape), 0, 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2)


def middle_mm(pixels: np.ndarray, wall: WallSeen | None) -> tuple[float, float]:
    """Of the slot as found, across, and its width."""
    slot = find_slot(pixels, PLANE, RADIUS_MM, 0.005, wall)
    assert slot is not None
    return float(np.angle(np.exp(1j * slot.angle_rad))) * (RADIUS_MM - 0.5), slot.width_mm


@pytest.mark.parametrize("way", [1, -1])
def test_the_face_edge_above_the_wall_is_taken_where_the_lens_is_known(way):
    pixels = seen(way * WALL_MM)
    blind, narrow = middle_mm(pixels, None)
    assert way * blind > 0.04 and narrow < WIDTH_MM - 0.08
    told, width = middle_mm(pixels, WallSeen(way * 0.06, way * 0.15))
    assert abs(told) < 0.012 and width == pytest.approx(WIDTH_MM, abs=0.03)


def test_a_lens_that_sees_the_other_wall_or_no_wall_changes_nothing():
    for pixels, wall in ((seen(WALL_MM), WallSeen(-0.06, -0.15)), (seen(0.0), WallSeen(0.06, 0.15))):
        assert middle_mm(pixels, wall) == middle_mm(pixels, None)


def test_which_wall_a_lens_sees_and_how_much_of_it():
    """A pinhole over the face: the wall's foot, 1 mm down, is drawn towards the point below the lens."""
    eye, thickness = (5.0, 20.0, 150.0), 1.0
    wall = wall_seen(0.0, RADIUS_MM, eye, thickness)
    foot = np.array([RADIUS_MM, 0.0, -thickness])
    on_face = foot + (np.array(eye) - foot) * thickness / (eye[2] + thickness)
    assert wall.least_mm < on_face[1] < wall.most_mm
    other = wall_seen(np.pi, RADIUS_MM, eye, thickness)
    assert other.most_mm < -on_face[1] < other.least_mm
    assert wall_seen(np.arctan2(20.0, 5.0), RADIUS_MM, eye, thickness) is None  # the lens stands along the slot
    assert LensOver(None, 1.0).wall(0.0, RADIUS_MM) is None
    unmeasured = wall_seen(0.0, RADIUS_MM, eye, None)
    assert unmeasured.least_mm < wall.least_mm and wall.most_mm < unmeasured.most_mm
