"""The sheet's corners in a photograph: from the marks to every corner that is seen, each to a fraction of a pixel.

OpenCV's own ChArUco detector is not used: one false mark makes it give nothing, it drops about half of the corners, and
it counts from the outer corner of the first pixel, half a pixel off. Here the marks vote for one picture of the board
(a homography by RANSAC), a bent lens is let in as the corners become known, and every corner of the board is then
looked for where it must be. What does not look like a corner of four fields, light and dark in turn, is left out.
Pixels are (u, v), (0, 0) the middle of the top-left one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.photo.board import pattern
from disc.photo.image import Photo, opencv
from disc.photo.plane.view import apply_homography, distort

Grey = npt.NDArray[np.uint8]

# to solve for paper and lens; to begin with. Few beside 285 printed corners; chosen
FEWEST_CORNERS, FEWEST_MARKS = 24, 4
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Sizes of picture, longer side, at which marks are looked for, quickest first; a second look only where some were seen.
LOOK_PX, LOOK_AGAIN_PX = 1400, 2800
# Before that a glance, at so many pixels and under one threshold instead of three, tells whether there is any mark: of
# 58 and 62 that are seen in full on n8 it shows 57 and 60, in a third of the time.
GLANCE_PX, ONE_WINDOW_PX = 1000, 13
# How far marks may lie from a pinhole's picture of the board before the lens is known, as a part of the longer side:
# a lens that bends by 4 % moves the corners of the frame by 0.02 of it.
BENT_LENS = 0.012
# A corner is refined within this of its place: marks begin 0.7 mm from it (four corners meet white only along two).
REFINE_MM = 0.4
FARTHEST_MM = 0.3  # that refining may carry it
PROBE_MM = 0.28  # from a corner to the middles of the four fields that must be light and dark in turn
LEAST_CONTRAST = 25.0  # grey levels between the lighter and the darker pair; printed and lit evenly it is over 100
ROUNDS = 3  # of finding more corners by those found; chosen by hand
STRAYS_TIMES, STRAYS_PX = 6.0, 0.8  # of the corners' median distance from where the rest put them


@dataclass(frozen=True, slots=True)
class Board:
    """What is seen of the sheet. ids (n,), px (n, 2), mm (n, 2) of the drawing; marks: how many were read.

    to_px, k1: the board's picture as a pinhole's homography with a bent lens, good to a pixel or so.
    """

    ids: npt.NDArray[np.int_]
    px: FloatArray
    mm: FloatArray
    marks: int
    to_px: FloatArray
    k1: float
    size: tuple[int, int]

    def at(self, mm: FloatArray) -> FloatArray:
        """Places (n, 2) of the drawing to photo pixels."""
        return _projected(self.to_px, self.k1, self.size, mm)


def find_board(photo: Photo) -> Board | None:
    """The sheet in a photo; None where there is none, or too little of it to count."""
    grey = opencv().cvtColor(photo.pixels, opencv().COLOR_BGR2GRAY)
    size = (photo.width, photo.height)
    if not len(_marks(grey, min(1.0, GLANCE_PX / max(size)), ONE_WINDOW_PX).ids):
        return None
    for longest in (LOOK_PX, LOOK_AGAIN_PX, max(size)):
        marks = _marks(grey, min(1.0, longest / max(size)))
        if len(marks.ids) < FEWEST_MARKS:
            continue
        found = _from_marks(grey, marks, size)
        if found is not None:
            return found
    return None


@dataclass(frozen=True, slots=True)
class _Marks:
    """Marks as read: ids (n,), corners (n, 4, 2) px."""

    ids: npt.NDArray[np.int_]
    px: FloatArray


def _marks(grey: Grey, scale: float, window_px: int | None = None) -> _Marks:
    """window_px: of the only threshold, where one will do."""
    cv2 = opencv()
    small = grey if scale >= 1 else cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    how = cv2.aruco.DetectorParameters()
    if window_px is not None:
        how.adaptiveThreshWinSizeMin = how.adaptiveThreshWinSizeMax = window_px
    detector = cv2.aruco.ArucoDetector(pattern.board().getDictionary(), how)
    corners, ids, _ = detector.detectMarkers(small)
    if ids is None:
        return _Marks(np.zeros(0, int), np.zeros((0, 4, 2)))
    ids = np.asarray(ids).ravel()
    px = (np.asarray(corners, float).reshape(-1, 4, 2) + 0.5) * np.array(grey.shape[::-1]) / small.shape[::-1] - 0.5
    ours = ids < len(pattern.marker_corners_mm())
    return _Marks(ids[ours], px[ours])


def _from_marks(grey: Grey, marks: _Marks, size: tuple[int, int]) -> Board | None:
    """All corners, from the marks that agree on one picture of the board."""
    cv2 = opencv()
    mm = pattern.marker_corners_mm()[marks.ids].reshape(-1, 2)
    px = marks.px.reshape(-1, 2)
    cv2.setRNGSeed(1)
    h, good = cv2.findHomography(mm, px, cv2.RANSAC, BENT_LENS * max(size), maxIters=2000)
    if h is None:
        return None
    good = good.ravel().astype(bool)
    if good.sum() < 4 * FEWEST_MARKS or np.linalg.det(h) <= 0:  # turned over it cannot be
        return None
    h, k1 = fit_picture(mm[good], px[good], size, h, 0.0)
    ids, at = np.zeros(0, int), np.zeros((0, 2))
    for _ in range(ROUNDS):
        before = len(ids)
        ids, at = _corners(grey, h, k1, size)
        if len(ids) < FEWEST_CORNERS:
            return None
        h, k1 = fit_picture(pattern.corners_mm()[ids], at, size, h, k1)
        if len(ids) == before:
            break
    kept = _where_they_belong(h, k1, size, ids, at)
    ids, at = ids[kept], at[kept]
    if len(ids) < FEWEST_CORNERS:
        return None
    return Board(ids, at, pattern.corners_mm()[ids], int(good.sum()) // 4, h, k1, size)


def _where_they_belong(
    h: FloatArray, k1: float, size: tuple[int, int], ids: npt.NDArray[np.int_], px: FloatArray
) -> npt.NDArray[np.bool_]:
    """Which corners do not stray from the picture of the rest: a speck, a fold or the disc's edge may draw one off."""
    miss = np.linalg.norm(_projected(h, k1, size, pattern.corners_mm()[ids]) - px, axis=1)
    return np.asarray(miss < max(STRAYS_TIMES * float(np.median(miss)), STRAYS_PX))


def _corners(grey: Grey, h: FloatArray, k1: float, size: tuple[int, int]) -> tuple[npt.NDArray[np.int_], FloatArray]:
    """Numbers and places of all corners that are in the frame and look like one."""
    cv2 = opencv()
    mm = pattern.corners_mm()
    at = _projected(h, k1, size, mm)
    px_per_mm = np.linalg.norm(_projected(h, k1, size, mm + 0.5) - at, axis=1) / np.sqrt(0.5)
    room = REFINE_MM * px_per_mm + 2
    inside = np.all((at > room[:, None]) & (at < np.array(size) - 1 - room[:, None]), axis=1)
    ids = np.nonzero(inside)[0]
    if not len(ids):
        return ids, at[ids]
    window = max(2, round(REFINE_MM * float(np.median(px_per_mm[ids]))))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.005)
    start = at[ids].astype(np.float32).reshape(-1, 1, 2)
    fine = np.asarray(cv2.cornerSubPix(grey, start.copy(), (window, window), (-1, -1), stop), float).reshape(-1, 2)
    near = np.linalg.norm(fine - at[ids], axis=1) < np.maximum(FARTHEST_MM * px_per_mm[ids], 3.0)
    ids, fine = ids[near], fine[near]
    is_one = _chequered(grey, h, k1, size, ids, fine)
    return ids[is_one], fine[is_one]


def _chequered(
    grey: Grey, h: FloatArray, k1: float, size: tuple[int, int], ids: npt.NDArray[np.int_], px: FloatArray
) -> npt.NDArray[np.bool_]:
    """Whether the four fields about each corner are light and dark in turn, the right ones light."""
    cv2 = opencv()
    mm = pattern.corners_mm()[ids]
    ways = PROBE_MM * np.array([[1, 1], [-1, -1], [1, -1], [-1, 1]])
    there = _projected(h, k1, size, (mm[:, None] + ways).reshape(-1, 2)).reshape(-1, 4, 2)
    there = there - _projected(h, k1, size, mm)[:, None] + px[:, None]
    soft = cv2.GaussianBlur(grey, (0, 0), 1.0)
    at = there.astype(np.float32)
    seen = cv2.remap(soft, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(float)
    black = pattern.black_modules()
    fields = np.floor((mm[:, None] + ways) / pattern.MODULE_MM).astype(int)
    dark = black[fields[..., 1], fields[..., 0]]
    light = np.where(dark, np.inf, seen).min(1)
    shade = np.where(dark, seen, -np.inf).max(1)
    return np.asarray(light - shade > LEAST_CONTRAST)


def _projected(h: FloatArray, k1: float, size: tuple[int, int], mm: FloatArray) -> FloatArray:
    return np.stack(distort(k1, size, *apply_homography(h, mm[:, 0], mm[:, 1])), 1)


def fit_picture(
    mm: FloatArray, px: FloatArray, size: tuple[int, int], h: FloatArray, k1: float, rounds: int = 8
) -> tuple[FloatArray, float]:
    """Homography and k1 through drawing (n, 2) mm and photo (n, 2) px: robust Gauss-Newton in the seen pixels."""
    unit = np.diag([1 / pattern.SIZE_MM[0], 1 / pattern.SIZE_MM[0], 1.0])
    x = (h @ np.linalg.inv(unit) / h[2, 2]).ravel()[:8]
    at = mm / pattern.SIZE_MM[0]
    bend = k1
    for _ in range(rounds):
        rows, left = _picture_rows(x, bend, at, px, size)
        miss = np.hypot(*left.reshape(-1, 2).T)
        scale = max(1.4826 * float(np.median(miss)), 0.03)
        w = np.repeat(1 / (1 + (miss / (3 * scale)) ** 2), 2)
        norm = np.linalg.norm(rows * w[:, None], axis=0)
        step = np.linalg.lstsq(rows * w[:, None] / norm, left * w, rcond=None)[0] / norm
        x, bend = x + step[:8], float(np.clip(bend + step[8], -0.15, 0.15))
        if np.abs(rows @ step).max() < 1e-3:
            break
    return np.append(x, 1.0).reshape(3, 3) @ unit, bend


def _picture_rows(
    x: FloatArray, k1: float, at: FloatArray, px: FloatArray, size: tuple[int, int]
) -> tuple[FloatArray, FloatArray]:
    """Slopes (2n, 9) of the seen places by the nine unknowns, by small steps, and what is left (2n,)."""

    def seen(values: FloatArray) -> FloatArray:
        h = np.append(values[:8], 1.0).reshape(3, 3)
        return np.stack(distort(float(values[8]), size, *apply_homography(h, at[:, 0], at[:, 1])), 1).ravel()

    here = np.append(x, k1)
    base = seen(here)
    small = np.array([1e-3] * 6 + [1e-6] * 3)
    rows = np.stack([(seen(here + step) - base) / size_ for step, size_ in zip(np.diag(small), small, strict=True)], 1)
    return rows, px.ravel() - base
