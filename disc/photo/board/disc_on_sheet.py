"""Where the disc lies over the sheet: a circle of known size, parallel to the paper, at an unknown height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.frame import FloatArray
from disc.photo.board import pattern
from disc.photo.board.camera_of_board import BoardCamera
from disc.photo.image import Photo
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.view import apply_homography, undistort
from disc.photo.plate.outline import rim_points

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# An arbor and pins hold a face this far over the paper; the print's own size, off by some tenths of a per cent, shows
# as a change of it (0.3 % at 120 mm are 0.4 mm).
HEIGHT_MM, HEIGHT_DOUBT_MM, LEAST_MM, MOST_MM = 2.0, 2.0, -3.0, 9.0
STRAY_MM = 0.12  # of the coarse outline about the rim
ROUNDS = 20  # at most; chosen by hand


@dataclass(frozen=True, slots=True)
class Lies:
    """middle_mm: under the disc's middle, of the drawing. height_mm: over the paper if the print has its true size."""

    middle_mm: tuple[float, float]
    height_mm: float
    stray_mm: float


def where_it_lies(camera: BoardCamera, outline_px: FloatArray, radius_mm: float) -> Lies:
    """The circle nearest to an outline (n, 2), seen pixels, robustly."""
    u, v = undistort(camera.k1, camera.size, outline_px[:, 0], outline_px[:, 1])

    def radii(at: FloatArray) -> FloatArray:
        back = np.asarray(np.linalg.inv(camera.plane_to_px(float(at[2]))), float)
        x, y = apply_homography(back, u, v)
        return np.asarray(np.hypot(x - at[0], y - at[1]))

    x, y = apply_homography(np.asarray(np.linalg.inv(camera.plane_to_px(HEIGHT_MM)), float), u, v)
    at = np.array([np.median(x), np.median(y), HEIGHT_MM])
    stray = STRAY_MM
    for _ in range(ROUNDS):
        left = radius_mm - radii(at)
        rows = np.stack([(radii(at + step) - radii(at - step)) / 0.02 for step in 0.01 * np.eye(3)], 1)
        stray = max(1.4826 * float(np.median(np.abs(left))), 0.02)
        w = 1 / (stray * np.sqrt(len(left) / 12)) / (1 + (left / (2.5 * stray)) ** 2)
        a = np.vstack([rows * w[:, None], [0, 0, 1 / HEIGHT_DOUBT_MM]])
        b = np.append(left * w, (HEIGHT_MM - at[2]) / HEIGHT_DOUBT_MM)
        step = np.linalg.lstsq(a, b, rcond=None)[0]
        at = at + np.clip(step, -2.0, 2.0)
        at[2] = np.clip(at[2], LEAST_MM, MOST_MM)
        if np.abs(step).max() < 1e-4:
            break
    return Lies((float(at[0]), float(at[1])), float(at[2]), stray)


def plane_of(camera: BoardCamera, lies: Lies) -> Plane:
    """The face's plane: its axes turned so that x runs to the picture's right."""
    plane = _along_drawing(camera, lies)
    right = plane.to_mm(plane.to_px(np.zeros((1, 2))) + np.array([[1.0, 0.0]]))[0]
    return plane.turned(float(np.arctan2(right[1], right[0])))


def _along_drawing(camera: BoardCamera, lies: Lies) -> Plane:
    """The face's plane, x as the drawing's; the drawing's y runs down, view mm run up."""
    x, y = lies.middle_mm
    h = camera.plane_to_px(lies.height_mm) @ np.array([[1.0, 0, x], [0, -1.0, y], [0, 0, 1.0]])
    return Plane(h / h[2, 2], camera.k1, camera.size)


def exact_rim(photo: Photo, camera: BoardCamera, lies: Lies, radius_mm: float) -> FloatArray:
    """Seen pixels (n, 2) of the rim's own edge, where the lens, whose place is known, sees no wall below it."""
    eye = -camera.turn.T @ camera.place
    over = float(eye[0] - lies.middle_mm[0]), float(lies.middle_mm[1] - eye[1])
    points, _ = rim_points(photo.pixels, _along_drawing(camera, lies), radius_mm, over)
    return points


def outline_of(camera: BoardCamera, lies: Lies, radius_mm: float) -> FloatArray:
    """Seen pixels (n, 2) along a circle about the disc's middle, at the face's height."""
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    return camera.to_px(radius_mm * np.stack([np.cos(t), np.sin(t)], 1) + lies.middle_mm, lies.height_mm)


def offset_mm(lies: Lies) -> float:
    """How far the disc's middle is from the window's."""
    return float(np.hypot(lies.middle_mm[0] - pattern.MIDDLE_MM[0], lies.middle_mm[1] - pattern.MIDDLE_MM[1]))


def radius_at(camera: BoardCamera, outline_px: FloatArray, height_mm: float) -> float:
    """The radius, in the drawing's mm, of an outline (n, 2), seen pixels, that lies so far above the paper."""
    u, v = undistort(camera.k1, camera.size, outline_px[:, 0], outline_px[:, 1])
    x, y = apply_homography(np.asarray(np.linalg.inv(camera.plane_to_px(height_mm)), float), u, v)
    rows = np.column_stack([2 * x, 2 * y, np.ones_like(x)])
    weight = np.ones_like(x)
    radius = 0.0
    for _ in range(8):  # the circle x2 + y2 = 2 a x + 2 b y + c, points that stray counting less
        a, b, c = np.linalg.lstsq(rows * weight[:, None], (x**2 + y**2) * weight, rcond=None)[0]
        radius = float(np.sqrt(c + a * a + b * b))
        left = np.hypot(x - a, y - b) - radius
        weight = 1 / (1 + (left / (2.5 * max(1.4826 * float(np.median(np.abs(left))), 0.02))) ** 2)
    return radius


# of the window's edge an outline may be the edge's own; the share that must be left. Chosen
NEAR_WINDOW_MM, LEAST_CLEAR = 0.8, 0.4
NEAR_CUT_MM = 0.15  # the same of exact edges, good to some hundredths of a millimetre. Chosen.
FEWEST_EDGE = 60  # points of the rim, a third to one degree apart, of which a circle is told; chosen


def clear_of_window(camera: BoardCamera, outline_px: FloatArray, window_mm: float) -> FloatArray:
    """The points (n, 2) of an outline that do not run along the window's edge; all, where few others are left."""
    clear = _from_middle(camera, outline_px) < window_mm / 2 - NEAR_WINDOW_MM
    return outline_px[clear] if clear.mean() > LEAST_CLEAR else outline_px


def edge_in_window(camera: BoardCamera, edge_px: FloatArray, window_mm: float) -> FloatArray:
    """The points (n, 2) of a rim's own edge that lie over the window's white: beside the print something else makes
    edges, be it a black field or where it was painted over. None, where too few are left to tell a circle."""
    clear = edge_px[_from_middle(camera, edge_px) < window_mm / 2 - NEAR_CUT_MM]
    return clear if len(clear) >= FEWEST_EDGE else clear[:0]


def _from_middle(camera: BoardCamera, px: FloatArray) -> FloatArray:
    """How far from the window's middle seen pixels (n, 2) lie on the paper, mm (n,)."""
    u, v = undistort(camera.k1, camera.size, px[:, 0], px[:, 1])
    x, y = apply_homography(np.asarray(np.linalg.inv(camera.plane_to_px(0.0)), float), u, v)
    return np.asarray(np.hypot(x - pattern.MIDDLE_MM[0], y - pattern.MIDDLE_MM[1]))
