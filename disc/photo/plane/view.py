"""One photographed face: photo pixels to disc millimetres and back, also for points above the face.

A plane point goes to the picture by a homography and the lens's radial distortion. A point standing h above the face
is seen where its sight line meets the face plane: at X + h (X - E) / (Ez - h), E being the eye over the plane. Axes
are those of frame.py; the mirror of the lower side is taken from there. Pixels are (u, v), (0, 0) the middle of the
top-left one.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from disc.frame import FloatArray, disc_to_view_mm, view_to_disc_mm
from disc.records import Side


@dataclass(frozen=True, slots=True)
class View:
    """Where a face lies in its photo.

    plane_to_px: 3 x 3, row by row, (x, y, 1) in view mm to undistorted pixels. k1: radial distortion,
    r_seen = r (1 + k1 r^2) about the picture's middle, r in half diagonals. eye_mm: the lens in view axes, (x, y, z)
    above the face; z is nominal (see eye_known). rim_sigma_px: scatter of the rim's edge about the fitted circle.
    """

    photo: str
    side: Side
    width_px: int
    height_px: int
    plane_to_px: tuple[float, ...]
    k1: float
    eye_mm: tuple[float, float, float]
    eye_known: bool
    radius_mm: float
    rim_sigma_px: float = 0.0
    slot_found: bool = True
    tracks_mm: tuple[float, ...] = ()

    @property
    def matrix(self) -> FloatArray:
        """plane_to_px as an array, shape (3, 3)."""
        return np.asarray(self.plane_to_px, float).reshape(3, 3)

    @property
    def tilt_deg(self) -> float:
        """Between the disc's axis and the line from its centre to the eye."""
        x, y, z = self.eye_mm
        return float(np.degrees(np.arctan2(np.hypot(x, y), z)))

    @property
    def foreshortened_deg(self) -> float:
        """Between the disc's axis and the line from its centre to the eye, by how the face is drawn narrower."""
        size = np.linalg.svd(self._jacobian(), compute_uv=False)
        return float(np.degrees(np.arccos(min(size[1] / size[0], 1.0))))

    @property
    def px_per_mm(self) -> float:
        """Pixels of one millimetre at the disc's centre: the square root of the area's scale."""
        return float(np.sqrt(abs(np.linalg.det(self._jacobian()))))

    def _jacobian(self) -> FloatArray:
        """Pixels a millimetre at the disc's centre, (2, 2)."""
        u, v = self.to_photo_px(np.array([0.0, 0.01, 0.0]), np.array([0.0, 0.0, 0.01]))
        return np.array([[u[1] - u[0], u[2] - u[0]], [v[1] - v[0], v[2] - v[0]]]) / 0.01

    def to_photo_px(self, x_mm: Any, y_mm: Any, height_mm: Any = 0.0) -> tuple[FloatArray, FloatArray]:
        """Disc axes (mm) and height above this face to photo pixels (u, v); arrays or numbers."""
        x, y = disc_to_view_mm(np.asarray(x_mm, float), np.asarray(y_mm, float), self.side)
        ex, ey, ez = self.eye_mm
        part = np.asarray(height_mm, float) / (ez - np.asarray(height_mm, float))
        return project(self.matrix, self.k1, (self.width_px, self.height_px), x + part * (x - ex), y + part * (y - ey))

    def to_disc_mm(self, u: Any, v: Any) -> tuple[FloatArray, FloatArray]:
        """Photo pixels to disc axes (mm), for a point on the face: the inverse of to_photo_px at height 0."""
        x, y = unproject(self.matrix, self.k1, (self.width_px, self.height_px), u, v)
        return view_to_disc_mm(x, y, self.side)

    def turned(self, theta_deg: float) -> View:
        """The same with the disc's angles counted from what is now theta_deg."""
        t = np.radians(theta_deg)
        c, s = (float(v) for v in disc_to_view_mm(np.cos(t), np.sin(t), self.side))
        matrix = self.matrix @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        x, y, z = self.eye_mm
        eye = (c * x + s * y, c * y - s * x, z)
        return replace(self, plane_to_px=tuple(float(v) for v in matrix.ravel()), eye_mm=eye)

    def to_json(self) -> dict[str, Any]:
        """Plain JSON material; from_json reads it back."""
        return asdict(self) | {"side": self.side.value, "tilt_deg": self.tilt_deg, "px_per_mm": self.px_per_mm}

    @classmethod
    def from_json(cls, item: dict[str, Any]) -> View:
        """A view as stored in job.content.faces. Unknown keys are left alone."""
        values = {name: item[name] for name in cls.__slots__ if name in item}
        for name in ("plane_to_px", "eye_mm", "tracks_mm"):
            values[name] = tuple(values.get(name, ()))
        return cls(**{**values, "side": Side(item["side"])})


def half_diagonal_px(size: tuple[int, int]) -> float:
    """The unit of lens distortion. size: (width, height)."""
    return float(np.hypot(*size) / 2)


def distort(k1: float, size: tuple[int, int], u: Any, v: Any) -> tuple[FloatArray, FloatArray]:
    """Undistorted to seen pixels."""
    cu, cv, half = (size[0] - 1) / 2, (size[1] - 1) / 2, half_diagonal_px(size)
    du, dv = np.asarray(u, float) - cu, np.asarray(v, float) - cv
    grow = 1 + k1 * (du**2 + dv**2) / half**2
    return cu + du * grow, cv + dv * grow


def undistort(k1: float, size: tuple[int, int], u: Any, v: Any) -> tuple[FloatArray, FloatArray]:
    """Seen to undistorted pixels: the inverse of distort, by Newton's method (good for |k1| < 0.2)."""
    cu, cv, half = (size[0] - 1) / 2, (size[1] - 1) / 2, half_diagonal_px(size)
    du, dv = np.asarray(u, float) - cu, np.asarray(v, float) - cv
    if not k1:
        return cu + du, cv + dv
    share = undistorted_share(k1 * (du**2 + dv**2) / half**2)
    return cu + du * share, cv + dv * share


def undistorted_share(bend: FloatArray) -> FloatArray:
    """What part of its distance from the middle a seen pixel keeps; bend: k1 times that distance's square."""
    share = 1 / (1 + bend)
    for _ in range(4):  # Newton's steps for share + bend share^3 = 1
        square = bend * share * share
        share = share - (share * (1 + square) - 1) / (1 + 3 * square)
    return share


def apply_homography(matrix: FloatArray, x: Any, y: Any) -> tuple[FloatArray, FloatArray]:
    """(x, y) through a 3 x 3 homography."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    w = matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2]
    return (
        (matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]) / w,
        (matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2]) / w,
    )


def project(
    matrix: FloatArray, k1: float, size: tuple[int, int], x_mm: Any, y_mm: Any
) -> tuple[FloatArray, FloatArray]:
    """View mm on the face plane to seen pixels."""
    return distort(k1, size, *apply_homography(matrix, x_mm, y_mm))


def unproject(matrix: FloatArray, k1: float, size: tuple[int, int], u: Any, v: Any) -> tuple[FloatArray, FloatArray]:
    """Seen pixels to view mm on the face plane."""
    return apply_homography(np.asarray(np.linalg.inv(matrix), float), *undistort(k1, size, u, v))
