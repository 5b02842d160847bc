"""A small correction of a face's plane, and how photo points move in the plane as it changes.

Eight numbers: stretch, two shears, two shifts and two perspectives, in units of the radius (there is no turn among
them), and a change of the lens's distortion.
"""

from __future__ import annotations

import numpy as np

from disc.frame import FloatArray
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.view import half_diagonal_px, undistorted_share

# What the first seven numbers do, in radii, by definition; shape (7, 3, 3).
CORRECTION_PARTS = np.array(
    [
        [[1, 0, 0], [0, 1, 0], [0, 0, 0]],
        [[1, 0, 0], [0, -1, 0], [0, 0, 0]],
        [[0, 1, 0], [1, 0, 0], [0, 0, 0]],
        [[0, 0, 1], [0, 0, 0], [0, 0, 0]],
        [[0, 0, 0], [0, 0, 1], [0, 0, 0]],
        [[0, 0, 0], [0, 0, 0], [1, 0, 0]],
        [[0, 0, 0], [0, 0, 0], [0, 1, 0]],
    ],
    float,
)
_ROWS = CORRECTION_PARTS.reshape(21, 3)  # the same, by definition, as one matrix


def correction(theta: FloatArray) -> FloatArray:
    """The small homography (..., 3, 3) of steps (..., 8); the last, the distortion's, has no part in it."""
    flat = theta[..., :7] @ CORRECTION_PARTS.reshape(7, 9)
    return np.asarray(np.eye(3) + flat.reshape(*theta.shape[:-1], 3, 3))


def in_mm(c: FloatArray, radius_mm: float) -> FloatArray:
    """Homographies (..., 3, 3) of radii as such of millimetres."""
    return np.asarray(c * np.array([[1, 1, radius_mm], [1, 1, radius_mm], [1 / radius_mm, 1 / radius_mm, 1]]))


def corrected(plane: Plane, theta: FloatArray, radius_mm: float) -> Plane:
    """The plane with the correction (8,) applied."""
    return plane.corrected(in_mm(correction(theta), radius_mm), plane.k1 + float(theta[7]))


def best_step(rows: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The step for which rows (k, n) @ step is nearest to values (k,), and the inverse of its covariance (n, n)."""
    normal = rows.T @ rows
    unit = np.sqrt(np.diag(normal))  # to one scale first: the unknowns differ by thousands
    return np.linalg.solve(normal / unit / unit[:, None], rows.T @ values / unit) / unit, normal


class Carried:
    """Photo points (n, 2), px, and where they come to lie in a plane as it is corrected."""

    def __init__(self, plane: Plane, radius_mm: float, px: FloatArray) -> None:
        self.k1, self.radius_mm = plane.k1, radius_mm
        middle = (np.asarray(plane.size, float) - 1) / 2
        self._seen = (px - middle).T
        self._square = np.sum(self._seen**2, 0) / half_diagonal_px(plane.size) ** 2
        back = np.linalg.inv(plane.plane_to_px) / np.array([[radius_mm], [radius_mm], [1.0]])
        # Columns for u and v counted from the picture's middle, and for one.
        self._back, self._middle = back[:, :2], back[:, :2] @ middle[:, None] + back[:, 2:]

    def mm(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """View mm (2, n), and their slopes (8, 2, n) by the correction theta (8,)."""
        bend = (self.k1 + theta[7]) * self._square
        share = undistorted_share(bend)
        share_slope = -self._square * share**3 / (1 + 3 * bend * share**2)
        point = self._back @ (self._seen * share) + self._middle
        c = correction(theta)
        q = c @ point
        mm = self.radius_mm * q[:2] / q[2]
        moved = np.empty((8, 3, len(share)))
        moved[:7] = (_ROWS @ point).reshape(7, 3, -1)
        moved[7] = (c @ self._back) @ (self._seen * share_slope)
        return mm, (self.radius_mm * moved[:, :2] - mm * moved[:, 2:]) / q[2]

    def radii(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Radii (n,), mm, and their slopes (n, 8)."""
        mm, slopes = self.mm(theta)
        r = np.hypot(*mm)
        x, y = mm / r
        return r, (x * slopes[:, 0] + y * slopes[:, 1]).T
