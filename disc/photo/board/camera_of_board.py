"""The lens and where the paper lies, from the sheet's corners: one view of a plane, solved by Gauss-Newton.

Source of the method: Zhang, A flexible new technique for camera calibration (IEEE PAMI 22, 2000): a plane's homography
gives the focal length, then all is refined by the distances in the picture. It departs from it in what a print needs:
the paper's two directions may have been printed larger or smaller by some tenths of a per cent, differently, and paper
bulges a little. Both are unknowns here, held by what is usual, so that they widen the doubt instead of being taken for
the lens. The print's common size cannot be told from the camera's distance, and need not be: the rim decides the scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.errors import DiscError
from disc.frame import FloatArray
from disc.photo.board import pattern
from disc.photo.board.find_board import Board
from disc.photo.plane.known_lens import KnownLens
from disc.photo.plane.view import distort

# Order of the unknowns: log focal, middle (2), k1; the paper's vanishing line about the optical axis and its spin;
# where the board's middle is seen (2) and log scale, all in picture widths; uneven print; bulge along x, y and across.
# Told so, what the picture shows hardly changes with the focal length, and the fit does not crawl along a bent valley.
SIZE = 14
# By definition.
FOCAL, MIDDLE, K1, TURN, PLACE, UNEVEN, BULGE = 0, slice(1, 3), 3, slice(4, 7), slice(7, 10), 10, slice(11, 14)
# Printers and copiers stretch by up to half a per cent, each direction for itself (common practice, no source).
UNEVEN_PRINT = 0.004
# Paper on a table rises by a tenth of a millimetre at the board's ends (common practice, no source).
BULGE_MM, BULGE_AT_MM = 0.10, 40.0
# Optical axis beside the picture's middle, in widths (common practice, no source).
MIDDLE_DOUBT = 0.003
# Widths and log sigma, sigma of k1: wide, the board tells them; chosen by hand.
FOCAL_WIDTHS, FOCAL_DOUBT, K1_DOUBT = 2.5, 0.8, 0.05
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
LEAST_NOISE_PX, MOST_NOISE_PX = 0.05, 0.35  # of single corners; what strays by more does so for a reason
# Corners' errors run together a little from one to the next: their sigma counts this much more (common practice, no
# source; the lens's errors on composed photographs are of the size then said, tests/bench/measure/sheet.py).
TOGETHER = 1.5
# A sheet that bulges by more, or whose corners stray by more from the best picture of it, is no measure.
MOST_BULGE_MM, MOST_STRAY_MM = 0.4, 0.02
ROUNDS = 60  # of Gauss-Newton at most; chosen, it settles before
# of Gauss-Newton: first, and its bounds; common practice, no source
FIRST_DAMPING, LEAST_DAMPING, MOST_DAMPING = 1e-4, 1e-10, 1e6
SETTLED = 1e-4  # square of a step in its own sigmas: along the valley the corners hardly move


# Two photographs of one sheet, taken one after the other: refocusing changes the focal length by a per cent, k1 and the
# print hardly (common practice, no source).
APART = np.array([0.01, 0.001, 0.0002])
FARTHEST_APART = 14.2  # chi square of three numbers at 3 sigma, exact: what lies farther apart was taken otherwise
COMMON = [FOCAL, K1, UNEVEN]


class SheetNotFlat(DiscError):
    """The sheet's corners do not lie on a plane as a lens would draw it."""


@dataclass(frozen=True, slots=True)
class BoardCamera:
    """The lens and the paper's pose. turn (3, 3) and place (3,): drawing mm (z up out of the paper) to the camera's.

    known: for the face's plane. told (3,), told_weight (3, 3): log focal length in widths, k1 and uneven print as this
    photo's corners alone tell them. bulge_mm: the paper's, at 40 mm from its middle. stray_px: corners' error per axis.
    uneven: how much more the print is stretched across than down.
    """

    focal_px: float
    centre_px: FloatArray
    k1: float
    turn: FloatArray
    place: FloatArray
    size: tuple[int, int]
    uneven: float
    bulge_mm: float
    stray_px: float
    known: KnownLens
    corners: int
    told: FloatArray
    told_weight: FloatArray

    @property
    def tilt_deg(self) -> float:
        """Between the optical axis and the paper's own."""
        return float(np.degrees(np.arccos(min(abs(self.turn[2, 2]), 1.0))))

    def plane_to_px(self, height_mm: float) -> FloatArray:
        """Homography (3, 3) from the drawing's mm (x right, y down), that much above the paper, to undistorted px."""
        lens = np.array([[self.focal_px, 0, self.centre_px[0]], [0, self.focal_px, self.centre_px[1]], [0, 0, 1.0]])
        columns = self.turn[:, :2] * [1 + self.uneven / 2, 1 - self.uneven / 2]
        return np.asarray(lens @ np.column_stack([columns, self.place + height_mm * self.turn[:, 2]]))

    def to_px(self, mm: FloatArray, height_mm: float) -> FloatArray:
        """Places (n, 2) of the drawing, that much above the paper, to seen pixels."""
        u, v, w = self.plane_to_px(height_mm) @ np.column_stack([mm, np.ones(len(mm))]).T
        return np.stack(distort(self.k1, self.size, u / w, v / w), 1)


Told = tuple[FloatArray, FloatArray]  # (3,) of COMMON and the inverse of their covariance (3, 3)


def solve_camera(board: Board, others: Told | None = None) -> BoardCamera:
    """The camera of a photo with the sheet. others: what other photos tell. Raises SheetNotFlat with its reason."""
    at = _beginning(board)
    mm = board.mm - pattern.MIDDLE_MM
    wish, expected = _expected(others)
    damping, normal, noise = FIRST_DAMPING, np.eye(SIZE), 1.0
    for _ in range(ROUNDS):
        rows, left = _rows(at, mm, board)
        miss = np.hypot(*left.reshape(-1, 2).T)
        noise = _noise(miss)
        weight = 1 / (1 + (miss / (3.5 * noise)) ** 2) ** 2
        w = np.sqrt(np.repeat(weight, 2)) / (noise * TOGETHER)
        a = rows * w[:, None]
        normal, pull = a.T @ a + expected, a.T @ (left * w) + expected @ (wish - at)
        unit = np.sqrt(np.diag(normal))

        def cost(there: FloatArray, w: FloatArray = w) -> float:
            off = (board.px.ravel() - _seen(there, mm, board.size)) * w
            return float(np.sum(off**2) + (wish - there) @ expected @ (wish - there))

        # Levenberg and Marquardt: squared on, focal length and distance go together, and a full step leads astray.
        before_it, moved = cost(at), False
        while not moved and damping < MOST_DAMPING:
            step = np.linalg.solve(normal / unit / unit[:, None] + damping * np.eye(SIZE), pull / unit) / unit
            moved = cost(at + step) <= before_it
            damping = damping / 10 if moved else damping * 10
        if not moved:
            break
        at = at + step
        if step @ normal @ step < SETTLED and damping < LEAST_DAMPING:
            break
    stray = float(np.median(np.hypot(*_rows(at, mm, board)[1].reshape(-1, 2).T))) / 1.18
    return _checked(at, normal, stray, board)


def _noise(miss_px: FloatArray) -> float:
    """Of the corners per axis, px: from the median length of an error of two axes, 1.18 sigma."""
    return float(np.clip(np.median(miss_px) / 1.18, LEAST_NOISE_PX, MOST_NOISE_PX))


def _expected(others: Told | None) -> tuple[FloatArray, FloatArray]:
    """What is usual, and what other photos tell: a state (SIZE,) and the inverse of its covariance."""
    wish, sigma = np.zeros(SIZE), np.full(SIZE, 1e6)
    wish[FOCAL], sigma[FOCAL] = np.log(FOCAL_WIDTHS), FOCAL_DOUBT
    sigma[MIDDLE], sigma[K1], sigma[UNEVEN] = MIDDLE_DOUBT, K1_DOUBT, UNEVEN_PRINT
    sigma[BULGE] = BULGE_MM
    weight = np.diag(1 / sigma**2)
    if others is None:
        return wish, weight
    pull = weight @ wish
    pull[COMMON] += others[1] @ others[0]
    weight[np.ix_(COMMON, COMMON)] += others[1]
    return np.asarray(np.linalg.solve(weight, pull)), weight


def told_by_others(mine: BoardCamera, others: Sequence[BoardCamera]) -> Told | None:
    """What other photos of the sheet, of the same size, tell of lens and print; None where nothing fits."""
    weight, pull = np.zeros((3, 3)), np.zeros(3)
    own = np.linalg.inv(mine.told_weight)
    for other in others:
        cov = np.linalg.inv(other.told_weight) + np.diag(APART**2)
        off = other.told - mine.told
        if other.size == mine.size and off @ np.linalg.inv(cov + own) @ off < FARTHEST_APART:
            weight, pull = weight + np.linalg.inv(cov), pull + np.linalg.inv(cov) @ other.told
    return (np.asarray(np.linalg.solve(weight, pull)), weight) if weight[0, 0] > 0 else None


def _beginning(board: Board) -> FloatArray:
    """From the board's homography: a usual focal length unless the picture's own perspective tells one."""
    size = np.array(board.size, float)
    h = board.to_px @ np.array([[1, 0, pattern.MIDDLE_MM[0]], [0, 1, pattern.MIDDLE_MM[1]], [0, 0, 1.0]])
    h = np.array([[1, 0, -(size[0] - 1) / 2], [0, 1, -(size[1] - 1) / 2], [0, 0, 1.0]]) @ h
    best = None
    for focal in size[0] * np.geomspace(0.7, 8.0, 40):
        a = np.diag([1 / focal, 1 / focal, 1.0]) @ h
        x, y = a[:, 0], a[:, 1]
        off = abs(np.log(np.linalg.norm(x) / np.linalg.norm(y))) + abs(x @ y) / np.linalg.norm(x) / np.linalg.norm(y)
        off += 0.002 * abs(np.log(focal / size[0] / FOCAL_WIDTHS))  # squared on, all of them fit
        if best is None or off < best[0]:
            best = (off, focal, a)
    assert best is not None
    _, focal, a = best
    a = a / np.sqrt(np.linalg.norm(a[:, 0]) * np.linalg.norm(a[:, 1])) * np.sign(a[2, 2])
    u, _, vt = np.linalg.svd(a[:, :2], full_matrices=False)
    two = u @ vt
    turn = np.column_stack([two, np.cross(two[:, 0], two[:, 1])])
    at = np.zeros(SIZE)
    at[FOCAL], at[K1] = np.log(focal / size[0]), board.k1
    f = focal / size[0]
    at[TURN][:2] = turn[:2, 2] / turn[2, 2] / f
    spun = _tilt(at).T @ turn
    at[6] = np.arctan2(spun[1, 0], spun[0, 0])
    at[PLACE] = [*(a[:2, 2] / a[2, 2] * f), np.log(f / a[2, 2])]
    return at


def _tilt(at: FloatArray) -> FloatArray:
    """The least turn (3, 3) that brings the optical axis to the paper's own, pointing into the paper."""
    x, y, z = np.array([*(at[TURN][:2] * np.exp(at[FOCAL])), 1.0])
    size = np.sqrt(x * x + y * y + z * z)
    x, y, z = x / size, y / size, z / size
    part = 1 / (1 + z)
    return np.array([[1 - part * x * x, -part * x * y, x], [-part * x * y, 1 - part * y * y, y], [-x, -y, z]])


def _turn(at: FloatArray) -> FloatArray:
    """The paper's axes to the camera's, (3, 3)."""
    c, s = np.cos(at[6]), np.sin(at[6])
    return np.asarray(_tilt(at) @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]))


def _place(at: FloatArray) -> FloatArray:
    """The board's middle in the camera's axes, (3,) mm."""
    f = np.exp(at[FOCAL])
    away = f / np.exp(at[9])
    return np.array([at[7] * away / f, at[8] * away / f, away])


def _seen(at: FloatArray, mm: FloatArray, size: tuple[int, int]) -> FloatArray:
    """Seen pixels (2n,) of the corners, mm (n, 2) from the board's middle."""
    turn = _turn(at)
    across, along = mm.T
    xx, yy, xy = at[BULGE]
    # The board's y runs down the page, so its third axis points into the table; up is against it.
    rise = -(xx * across**2 + yy * along**2 + xy * across * along) / BULGE_AT_MM**2
    x, y, z = turn @ np.stack([across * (1 + at[UNEVEN] / 2), along * (1 - at[UNEVEN] / 2), rise]) + _place(at)[:, None]
    focal = np.exp(at[FOCAL]) * size[0]
    u = (size[0] - 1) / 2 + size[0] * at[1] + focal * x / z
    v = (size[1] - 1) / 2 + size[0] * at[2] + focal * y / z
    return np.stack(distort(float(at[K1]), size, u, v), 1).ravel()


# Steps of the numerical slopes, in each unknown's own unit (logarithm, share of the picture, rad, mm): small against
# their sigmas, large against rounding. Chosen; the result hardly depends on it.
STEPS = np.array([1e-5, 1e-5, 1e-5, 1e-5, 1e-6, 1e-6, 1e-6, 1e-6, 1e-6, 1e-6, 1e-5, 1e-3, 1e-3, 1e-3])


def _rows(at: FloatArray, mm: FloatArray, board: Board) -> tuple[FloatArray, FloatArray]:
    here = _seen(at, mm, board.size)
    rows = [(_seen(at + step, mm, board.size) - here) / size for step, size in zip(np.diag(STEPS), STEPS, strict=True)]
    return np.stack(rows, 1), board.px.ravel() - here


def _line(at: FloatArray, size: tuple[int, int]) -> FloatArray:
    """The paper's vanishing line: points whose depth would be endless."""
    line = at[TURN][:2]
    return np.asarray(line / (1 - line @ at[MIDDLE]))


def _checked(at: FloatArray, normal: FloatArray, stray: float, board: Board) -> BoardCamera:
    size = board.size
    focal = float(np.exp(at[FOCAL]) * size[0])
    px_per_mm = float(np.exp(at[9]) * size[0])
    bulge = float(np.abs(np.linalg.eigvalsh([[at[11], at[13] / 2], [at[13] / 2, at[12]]])).max())
    if bulge > MOST_BULGE_MM:
        raise SheetNotFlat(
            f"the measuring sheet is not flat (it rises by about {bulge:.1f} mm at its ends) and was left out. Lay it "
            "on a plane ground, weighed down at the corners, and take the photograph again."
        )
    if stray / px_per_mm > MOST_STRAY_MM:
        raise SheetNotFlat(
            f"the measuring sheet's corners stray by {stray / px_per_mm:.2f} mm from a plane picture of it; it was "
            "left out. Lay it flat, sharp and unmoved, and take the photograph again."
        )
    slopes = np.zeros((6, SIZE))
    slopes[:4, :4] = np.eye(4)
    for k, small in enumerate(STEPS[:7]):
        step = np.zeros(SIZE)
        step[k] = small
        slopes[4:, k] = (_line(at + step, size) - _line(at, size)) / small
    value = np.array([*at[:4], *_line(at, size)])
    cov = np.linalg.inv(normal)
    known = KnownLens(value, np.asarray(np.linalg.inv(slopes @ cov @ slopes.T)))
    turn = _turn(at)
    place = _place(at) - turn @ [*(np.array(pattern.MIDDLE_MM) * [1 + at[UNEVEN] / 2, 1 - at[UNEVEN] / 2]), 0.0]
    turn = turn * [1, 1, -1]  # the third axis up out of the paper
    centre = (np.array(size) - 1) / 2 + size[0] * at[MIDDLE]
    told_weight = np.linalg.inv(cov[np.ix_(COMMON, COMMON)]) - np.diag([1 / FOCAL_DOUBT**2, 0, 1 / UNEVEN_PRINT**2])
    values, ways = np.linalg.eigh(told_weight)
    told_weight = (ways * np.maximum(values, 1.0)) @ ways.T
    return BoardCamera(
        focal_px=focal,
        centre_px=centre,
        k1=float(at[K1]),
        turn=turn,
        place=place,
        size=size,
        uneven=float(at[UNEVEN]),
        bulge_mm=bulge,
        stray_px=stray,
        known=known,
        corners=len(board.ids),
        told=at[COMMON],
        told_weight=told_weight,
    )
