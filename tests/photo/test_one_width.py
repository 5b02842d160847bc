"""One slot, one width: a lost edge is put where the other edge and the disc's other photographs have it."""

from __future__ import annotations

import numpy as np
import pytest

from disc.photo.plane.face_plane import Plane
from disc.photo.plate.one_width import BEVEL_MM, EDGE_LEAST_MM, EDGE_MM_NOISES, KnownWidth, width_by, with_width
from disc.photo.plate.slot import Slot, find_slot
from disc.photo.plate.slot_signs import SlotPlace
from disc.photo.plate.which_slot import FaceMarks
from disc.photo.several.one_slot import slots_of_disc

RADIUS_MM, WIDTH_MM, PX = 12.0, 0.9, 40.0


def picture(last_edge_mm: float, last_level: float) -> np.ndarray:
    """A plate seen squarely, its slot at angle 0, dark; a wall of another level hides the slot's last edge."""
    size = int(2 * (RADIUS_MM + 2) * PX) + 1
    down, across = np.mgrid[:size, :size].astype(float)
    x, y = (across - (size - 1) / 2) / PX, -(down - (size - 1) / 2) / PX
    level = np.where(np.hypot(x, y) < RADIUS_MM, 180.0, 60.0)
    inside = (x > RADIUS_MM - 1.0) & (np.hypot(x, y) < RADIUS_MM)
    level = np.where(inside & (np.abs(y) < WIDTH_MM / 2), 60.0, level)
    level = np.where(inside & (y > last_edge_mm) & (y < WIDTH_MM / 2), last_level, level)
    rng = np.random.default_rng(1)
    grey = np.clip(level + rng.normal(0, 1.0, level.shape), 0, 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2)


def middle_mm(slot: Slot) -> float:
    return float(np.angle(np.exp(1j * slot.angle_rad))) * (RADIUS_MM - 0.5)


def test_a_wall_nearly_as_light_as_the_plate_moves_the_slot_until_another_photograph_tells_the_width():
    size = int(2 * (RADIUS_MM + 2) * PX) + 1
    half = (size - 1) / 2
    plane = Plane(np.array([[PX, 0, half], [0, -PX, half], [0, 0, 1.0]]), 0.0, (size, size))
    clear = find_slot(picture(WIDTH_MM / 2, 60.0), plane, RADIUS_MM, 0.01)
    lost = find_slot(picture(WIDTH_MM / 2 - 0.10, 172.0), plane, RADIUS_MM, 0.01)
    assert clear is not None and lost is not None
    assert abs(middle_mm(clear)) < 0.004
    assert middle_mm(lost) < -0.03
    weak = Slot(lost.angle_rad, lost.width_mm, 3.0, (lost.edges[0], 3.0))  # as its shade leaves it in a photograph
    assert abs(middle_mm(with_width(weak, width_by([clear]), RADIUS_MM - 0.5))) < 0.015


def test_the_weak_edge_moves_by_what_its_sigma_asks_for():
    """The least squares of two edges and a width, solved here as such."""
    slot, known = Slot(0.3, 1.0, 5.0, (20.0, 5.0)), KnownWidth(0.94, 0.01)
    first, last = (np.hypot(EDGE_MM_NOISES / edge, EDGE_LEAST_MM) for edge in slot.edges)
    rows = np.array([[1, 0], [0, 1], [-1, 1.0]]) / np.array([[first], [last], [np.hypot(0.01, BEVEL_MM)]])
    wish = np.array([-0.5 / first, 0.5 / last, 0.94 / np.hypot(0.01, BEVEL_MM)])
    left, right = np.linalg.lstsq(rows, wish, rcond=None)[0]
    told = with_width(slot, known, 10.0)
    assert told.width_mm == pytest.approx(right - left)
    assert (told.angle_rad - 0.3) * 10.0 == pytest.approx((left + right) / 2)


def test_of_alike_edges_the_middle_stays_and_of_another_width_nothing_is_said():
    slot = Slot(0.3, 1.0, 12.0, (12.0, 12.0))
    assert with_width(slot, KnownWidth(0.95, 0.01), 10.0).angle_rad == 0.3
    uneven = Slot(0.3, 1.0, 3.0, (12.0, 3.0))
    assert with_width(uneven, KnownWidth(0.7, 0.01), 10.0) is uneven
    assert with_width(uneven, None, 10.0) is uneven
    assert with_width(Slot(0.3, 1.0, 5.0), KnownWidth(0.95, 0.01), 10.0).angle_rad == 0.3


def test_each_photograph_hears_the_width_of_the_others_not_its_own():
    slots = [Slot(0.1, 0.90, 30.0, (30.0, 30.0)), Slot(0.2, 0.96, 5.0, (30.0, 5.0))]
    marks = [FaceMarks(upper, RADIUS_MM, np.zeros((0, 2))) for upper in (True, False)]
    one, other = slots_of_disc([[SlotPlace(slot, 6.0)] for slot in slots], marks, [None, None])
    assert one.width is not None and other.width is not None
    assert one.width.mm == pytest.approx(0.96) and other.width.mm == pytest.approx(0.90)
    assert other.width.sigma_mm < one.width.sigma_mm
    alone = slots_of_disc([[SlotPlace(slots[0], 6.0)]], marks[:1], [None])[0]
    assert alone.width is None
