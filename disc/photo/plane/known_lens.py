"""What is known beforehand of lens and face: by a measuring sheet, by straight lines, or remembered of the camera.

Six numbers with a weight: log of the focal length in picture widths; the optical axis beside the picture's middle, in
widths (u, v); k1 of the distortion (half-diagonal units); and the vanishing line of the plane, gu u + gv v + 1 = 0 with
u, v counted from the picture's middle in widths, undistorted. Planes that lie parallel share that line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.frame import FloatArray
from disc.photo.plane.face_plane import Plane

# Where each stands among the six numbers, in the order above, by definition.
FOCAL, MIDDLE, K1, LINE = 0, slice(1, 3), 3, slice(4, 6)
# A disc that lies flat on pins of one height is parallel to the paper within a tenth of a degree; one that is off by
# three times as much and more was not lying flat (common practice, no source).
PARALLEL_RAD, LEANS_RAD = 0.0017, 0.005


@dataclass(frozen=True, slots=True)
class KnownLens:
    """value (6,), weight (6, 6): the inverse of its covariance, nothing where a number is not known."""

    value: FloatArray
    weight: FloatArray

    @property
    def k1(self) -> float:
        """Of the lens's distortion."""
        return float(self.value[K1])

    @property
    def tells_line(self) -> bool:
        """Whether the plane's vanishing line is known."""
        return bool(self.weight[4, 4] > 0)

    def focal_px(self, width_px: int) -> float | None:
        """The focal length in pixels of a picture so wide; None where it is not known."""
        return float(np.exp(self.value[FOCAL]) * width_px) if self.weight[FOCAL, FOCAL] > 0 else None

    def sigmas(self) -> FloatArray:
        """Of each number alone, (6,); infinite where it is not known."""
        known = np.diag(self.weight) > 0
        out = np.full(6, np.inf)
        if known.any():
            out[known] = np.sqrt(np.diag(np.linalg.inv(self.weight[np.ix_(known, known)])))
        return out

    def for_another_photo(self, focal_apart: float, k1_apart: float) -> KnownLens:
        """What it says of a photo taken with the same lens: focal length and k1, less surely."""
        sigma = self.sigmas()
        return lens_alone(
            float(self.value[FOCAL]),
            float(np.hypot(sigma[FOCAL], focal_apart)),
            self.k1,
            float(np.hypot(sigma[K1], k1_apart)),
        )


def with_k1(lens: KnownLens | None, k1: float, sigma: float) -> KnownLens:
    """What is known of a lens, if anything is, and its distortion as something else tells it."""
    if lens is None:
        return lens_alone(0.0, np.inf, k1, sigma)
    value, weight = lens.value.copy(), lens.weight.copy()
    weight[K1, K1] += sigma**-2
    value[K1] += sigma**-2 / weight[K1, K1] * (k1 - lens.k1)
    return KnownLens(value, weight)


def lens_alone(log_focal: float, focal_sigma: float, k1: float, k1_sigma: float) -> KnownLens:
    """Of a remembered lens: focal length and k1 only; an infinite sigma leaves a number unknown."""
    weight = np.zeros((6, 6))
    weight[FOCAL, FOCAL], weight[K1, K1] = 1 / focal_sigma**2, 1 / k1_sigma**2
    return KnownLens(np.array([log_focal, 0.0, 0.0, k1, 0.0, 0.0]), weight)


def vanishing_line(plane_to_px: FloatArray, size: tuple[int, int]) -> FloatArray:
    """gu, gv of a plane's picture (undistorted pixels)."""
    u, v, one = np.linalg.inv(plane_to_px)[2]
    rest = one + u * (size[0] - 1) / 2 + v * (size[1] - 1) / 2
    return np.array([u, v]) * size[0] / rest


def numbers_of(plane: Plane, log_focal: float, middle: FloatArray) -> FloatArray:
    """The six numbers (6,) of a plane and a lens."""
    return np.array([log_focal, *middle, plane.k1, *vanishing_line(plane.plane_to_px, plane.size)])


def known_rows(known: KnownLens, plane: Plane, log_focal: float, middle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(half (6, 6), values (6,)): half @ change of the six numbers should be values, each of unit sigma."""
    off = known.value - numbers_of(plane, log_focal, middle)
    weight = known.weight
    if weight[4, 4] > 0:
        # A disc that leans on its arbor is not parallel at all: then the paper's tilt says the less, the more it leans.
        leans = float(np.hypot(*off[LINE])) * np.exp(log_focal)
        doubt = PARALLEL_RAD * np.exp(-log_focal) * (1 + (leans / LEANS_RAD) ** 2)
        weight = np.linalg.inv(np.linalg.inv(weight) + np.diag([0, 0, 0, 0, doubt**2, doubt**2]))
    size, way = np.linalg.eigh(weight)
    half = (way * np.sqrt(np.maximum(size, 0.0))).T
    return half, half @ off
