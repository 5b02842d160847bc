"""A face flattened: the photo drawn again as if looked at squarely, at the networks' own scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.frame import FloatArray
from disc.photo.image import Pixels, opencv
from disc.photo.marks.networks import CLOSER_PX_PER_MM
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.view import apply_homography

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
MARGIN_MM = 0.35  # of ground kept about the rim
BAND_PX = 128  # rows drawn at once, to keep memory small; chosen, the result does not depend on it


@dataclass(frozen=True, slots=True)
class Flat:
    """pixels: (n, n, 3) BGR, y up is up. Pixel (i, j) shows view mm ((i - mid) / s, (mid - j) / s)."""

    pixels: Pixels
    mid: float
    px_per_mm: float

    def to_mm(self, ij: FloatArray) -> FloatArray:
        """Flat pixels (n, 2), (i right, j down), to view mm."""
        return np.stack([(ij[:, 0] - self.mid) / self.px_per_mm, (self.mid - ij[:, 1]) / self.px_per_mm], 1)

    def halved(self) -> Flat:
        """The same at half the scale, by area."""
        cv2 = opencv()
        h, w = self.pixels.shape[:2]
        small = cv2.resize(self.pixels, (w // 2, h // 2), interpolation=cv2.INTER_AREA)
        return Flat(small, (self.mid - 0.5) / 2, self.px_per_mm / 2)

    def to_flat(self, xy: FloatArray) -> FloatArray:
        """View mm (n, 2) to flat pixels."""
        return np.stack([self.mid + xy[:, 0] * self.px_per_mm, self.mid - xy[:, 1] * self.px_per_mm], 1)


def flatten(pixels: Pixels, plane: Plane, radius_mm: float, px_per_mm: float = CLOSER_PX_PER_MM) -> Flat:
    """The disc and a little margin."""
    cv2 = opencv()
    side = int(np.ceil(2 * (radius_mm + MARGIN_MM) * px_per_mm / 16) * 16)
    mid = (side - 1) / 2
    s = 1 / px_per_mm
    to_mm = np.array([[s, 0.0, -mid * s], [0.0, -s, mid * s], [0.0, 0.0, 1.0]])
    matrix = plane.plane_to_px @ to_mm
    pixels, matrix = _shrunk_enough(pixels, matrix, mid)
    if plane.k1 == 0.0:
        return Flat(_warped(pixels, matrix, side), mid, px_per_mm)
    jj, ii = np.mgrid[0:side, 0:side]
    xy = np.stack([(ii.ravel() - mid) * s, (mid - jj.ravel()) * s], 1)
    uv = plane.to_px(xy).astype(np.float32)
    u, v = uv[:, 0].reshape(side, side), uv[:, 1].reshape(side, side)
    return Flat(cv2.remap(pixels, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), mid, px_per_mm)


def _warped(pixels: Pixels, matrix: FloatArray, side: int) -> Pixels:
    """A square of the photo, side px; matrix: 3 x 3 from its pixels to the photo's.

    Four channels are warped in half the time of three, and in bands that fit into the processor's cache: together they
    cost half of one call for all.
    """
    cv2 = opencv()
    flat = np.empty((side, side, 3), np.uint8)
    for top in range(0, side, BAND_PX):
        rows = min(BAND_PX, side - top)
        u, v = apply_homography(matrix, np.array([0, side, 0, side]), np.array([top, top, top + rows, top + rows]))
        left, right = np.clip([int(u.min()) - 3, int(u.max()) + 4], 0, pixels.shape[1] - 1)
        above, below = np.clip([int(v.min()) - 3, int(v.max()) + 4], 0, pixels.shape[0] - 1)
        moved = np.array([[1.0, 0, -left], [0, 1.0, -above], [0, 0, 1.0]]) @ matrix
        band = cv2.warpPerspective(
            cv2.cvtColor(pixels[above : below + 1, left : right + 1], cv2.COLOR_BGR2BGRA),
            moved @ np.array([[1.0, 0, 0], [0, 1.0, top], [0, 0, 1.0]]),
            (side, rows),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        cv2.cvtColor(band, cv2.COLOR_BGRA2BGR, dst=flat[top : top + rows])
    return flat


def _shrunk_enough(pixels: Pixels, matrix: FloatArray, mid: float) -> tuple[Pixels, FloatArray]:
    """Halve the photo (by area) while it has over 1.9 px for one of the flat picture, so that noise is averaged."""
    cv2 = opencv()
    while True:
        x = matrix @ np.array([[mid, mid + 1], [mid, mid], [1, 1]])
        step = float(np.hypot(*(x[:2, 1] / x[2, 1] - x[:2, 0] / x[2, 0])))
        if step < 1.9:
            return pixels, matrix
        h, w = pixels.shape[0] // 2 * 2, pixels.shape[1] // 2 * 2
        pixels = cv2.resize(pixels[:h, :w], (w // 2, h // 2), interpolation=cv2.INTER_AREA)
        matrix = np.array([[0.5, 0, -0.25], [0, 0.5, -0.25], [0, 0, 1.0]]) @ matrix
