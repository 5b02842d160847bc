"""The plane of one face while it is being worked out: photo pixels to view mm, refined step by step."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from disc.frame import FloatArray
from disc.photo.plane.view import apply_homography, half_diagonal_px, project, unproject
from disc.photo.plate.ellipse import Ellipse, centre_boost, rotation


@dataclass(frozen=True, slots=True)
class Plane:
    """plane_to_px: 3 x 3 from view mm (x right, y up; x through the slot once that is known) to undistorted pixels."""

    plane_to_px: FloatArray
    k1: float
    size: tuple[int, int]

    def to_mm(self, uv: FloatArray) -> FloatArray:
        """Seen pixels (n, 2) to view mm (n, 2)."""
        return np.stack(unproject(self.plane_to_px, self.k1, self.size, uv[:, 0], uv[:, 1]), 1)

    def to_px(self, xy: FloatArray) -> FloatArray:
        """View mm (n, 2) to seen pixels (n, 2)."""
        return np.stack(project(self.plane_to_px, self.k1, self.size, xy[:, 0], xy[:, 1]), 1)

    def polar_px(self, r_mm: FloatArray, phi_rad: FloatArray) -> tuple[FloatArray, FloatArray]:
        """u and v, each (angles, radii) float32, of circles about the middle; for cv2.remap."""
        h, r = self.plane_to_px, r_mm.astype(np.float32)
        # Single precision and no more passes than needed: these are the reader's largest arrays.
        ways = h[:, :2] @ np.stack([np.cos(phi_rad), np.sin(phi_rad)])
        u, v, w = (way.astype(np.float32)[:, None] * r for way in ways)
        w += np.float32(h[2, 2])
        np.reciprocal(w, out=w)
        for seen, shift in ((u, h[0, 2]), (v, h[1, 2])):
            seen += np.float32(shift)
            seen *= w
        if self.k1:  # as in view.distort
            cu, cv = ((np.float32(size) - 1) / 2 for size in self.size)
            u -= cu
            v -= cv
            grow = u * u + v * v
            grow *= np.float32(self.k1 / half_diagonal_px(self.size) ** 2)
            grow += 1
            for seen, middle in ((u, cu), (v, cv)):
                seen *= grow
                seen += middle
        return u, v

    def turned(self, angle_rad: float) -> Plane:
        """The same plane with its x axis at what is now angle_rad."""
        return replace(self, plane_to_px=self.plane_to_px @ rotation(angle_rad))

    def corrected(self, c: FloatArray, k1: float) -> Plane:
        """mm_new = c applied to mm_old."""
        h = self.plane_to_px @ np.linalg.inv(c)
        return replace(self, plane_to_px=h / h[2, 2], k1=k1)


def plane_from_ellipse(ellipse: Ellipse, centre: tuple[float, float], radius_mm: float, size: tuple[int, int]) -> Plane:
    """The plane in which the ellipse is a circle of radius_mm about the centre's picture (u, v)."""
    to_unit = ellipse.to_unit()
    px, py = apply_homography(to_unit, *centre)
    # The centre's picture lies well inside the ellipse; a wild one is not believed beyond this.
    far = float(np.hypot(px, py))
    if far > 0.35:
        px, py = px * 0.35 / far, py * 0.35 / far
    unit_to_mm = np.diag([radius_mm, radius_mm, 1.0])
    back = np.linalg.inv(unit_to_mm @ centre_boost(float(px), float(py)) @ to_unit)
    return Plane(back / back[2, 2], 0.0, size)
