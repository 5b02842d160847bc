"""The lens's distortion by straight lines beside the disc, drawn through OpenCV's own lens model."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from disc.photo.image import CameraName, Photo
from disc.photo.plane.known_lens import lens_alone, with_k1
from disc.photo.plane.straight_lines import lines_told
from disc.photo.several.lens_told import lenses_told

SIZE = (1600, 1200)
HALF = float(np.hypot(*SIZE) / 2)


def drawn(
    lines: list[tuple[tuple[float, float], tuple[float, float]]], k1: float, camera: CameraName | None = None
) -> Photo:
    """Lines between points (half diagonals from the middle) as OpenCV's pinhole with k1 shows them.

    Outside source: cv2.projectPoints, whose k1 counts in focal lengths; here one is a half diagonal.
    """
    pixels = np.full((SIZE[1], SIZE[0], 3), 90, np.uint8)
    matrix = np.array([[HALF, 0, (SIZE[0] - 1) / 2], [0, HALF, (SIZE[1] - 1) / 2], [0, 0, 1]])
    for a, b in lines:
        t = np.linspace(0, 1, 200)[:, None]
        points = np.column_stack([np.array(a) + t * (np.array(b) - np.array(a)), np.ones(200)])
        seen, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), matrix, np.array([k1, 0, 0, 0]))
        cv2.polylines(pixels, [np.round(seen * 16).astype(np.int32)], False, (200, 210, 200), 4, cv2.LINE_AA, 4)
    cv2.circle(pixels, (SIZE[0] // 2, SIZE[1] // 2), 480, (90, 170, 190), -1, cv2.LINE_AA)
    return Photo(Path("drawn.png"), pixels, camera=camera)


GRID = [((-0.9, y), (0.9, y + 0.15)) for y in (-0.62, -0.52, 0.42, 0.5)] + [((0.7, -0.7), (0.62, 0.7))]


@pytest.mark.parametrize("k1", [-0.03, -0.006, 0.0, 0.004, 0.02])
def test_a_grid_beside_the_disc_tells_the_distortion(k1: float) -> None:
    told = lines_told(drawn(GRID, k1))
    assert told is not None and told.lines >= 3
    assert abs(told.k1 - k1) < 3 * told.sigma < 0.006


def test_one_ruler_is_not_enough() -> None:
    assert lines_told(drawn(GRID[:1], -0.02)) is None


def test_what_is_round_or_bent_by_itself_tells_nothing() -> None:
    tray = Photo(Path("tray.png"), np.full((SIZE[1], SIZE[0], 3), 90, np.uint8))
    for radius in (520, 560, 590):
        cv2.circle(tray.pixels, (SIZE[0] // 2, SIZE[1] // 2), radius, (200, 200, 200), 3, cv2.LINE_AA)
    assert lines_told(tray) is None
    some = drawn(GRID[:2], 0.03)
    others = drawn(GRID[2:], -0.03)  # two halves of a bench that disagree
    both = np.where((np.arange(SIZE[1]) < SIZE[1] // 2)[:, None, None], some.pixels, others.pixels)
    assert lines_told(Photo(Path("both.png"), both)) is None


def test_a_photo_without_lines_is_helped_by_the_other_of_its_camera() -> None:
    one, other = CameraName("Maker", "A", 6.0, 1.0, *SIZE), CameraName("Maker", "B", 6.0, 1.0, *SIZE)
    shows, plain = drawn(GRID, -0.025, one), drawn([], 0.0, one)
    mine, helped = (told.lens for told in lenses_told([shows, plain], [None, None]))
    assert mine is not None and helped is not None
    assert helped.k1 == mine.k1 and helped.sigmas()[3] > mine.sigmas()[3]
    assert helped.focal_px(SIZE[0]) is None  # lines say nothing of it
    assert lenses_told([shows, drawn([], 0.0, other)], [None, None])[1].lens is None


def test_lines_and_what_is_remembered_are_weighed() -> None:
    remembered = lens_alone(1.1, 0.03, -0.02, 0.003)
    both = with_k1(remembered, -0.026, 0.001)
    assert both.sigmas()[3] < 0.001 and abs(both.k1 - -0.0254) < 1e-9
    assert both.focal_px(1000) == remembered.focal_px(1000)
