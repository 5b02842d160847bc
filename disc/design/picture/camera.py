"""A pinhole over one face of the disc. Face axes: x through the stop slot, y up, z to the viewer."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray

Pixels = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Camera:
    """Where the lens is. width_px, height_px: the picture. fill: the disc's share of the height.

    tilt_deg: between the optical axis and the disc's; towards_deg: the side it is tilted to, in the face's axes;
    roll_deg: turns the picture, counter-clockwise. Pixel axes: u right, v down, (0, 0) the centre of the first pixel.
    """

    width_px: int
    height_px: int
    diameter_mm: float
    distance_mm: float = 250.0
    fill: float = 0.80
    tilt_deg: float = 0.0
    towards_deg: float = 0.0
    roll_deg: float = 0.0

    @property
    def px_per_mm(self) -> float:
        """Scale at the arbor's centre, square to the view."""
        return self.height_px * self.fill / self.diameter_mm

    def _axes(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """(right, up, towards the lens) in face axes, each shape (3,)."""
        tilt, towards, roll = (math.radians(a) for a in (self.tilt_deg, self.towards_deg, self.roll_deg))
        look = np.array([math.sin(tilt) * math.cos(towards), math.sin(tilt) * math.sin(towards), math.cos(tilt)])
        # Right lies in the face, square to the tilt; without tilt the picture stands as the face does.
        flat = np.array([-math.sin(towards), math.cos(towards), 0.0])
        other = np.cross(look, flat)
        turn = -roll - towards - math.pi / 2
        right = math.cos(turn) * flat + math.sin(turn) * other
        return right, np.cross(look, right), look

    def project(self, x_mm: FloatArray, y_mm: FloatArray, z_mm: FloatArray | float = 0.0) -> tuple[Pixels, Pixels]:
        """Places over the face to (u, v)."""
        right, up, look = self._axes()
        x, y, z = np.broadcast_arrays(x_mm, y_mm, z_mm)
        points = np.stack([x, y, z], axis=-1)
        depth = self.distance_mm - points @ look
        scale = self.px_per_mm * self.distance_mm / depth
        u = self.width_px / 2 - 0.5 + scale * (points @ right)
        v = self.height_px / 2 - 0.5 - scale * (points @ up)
        return u, v

    def on_face(self, u: Pixels, v: Pixels) -> tuple[FloatArray, FloatArray]:
        """The place on the face (z = 0) that each pixel shows, mm."""
        right, up, look = self._axes()
        a = (u - self.width_px / 2 + 0.5) / (self.px_per_mm * self.distance_mm)
        b = -(v - self.height_px / 2 + 0.5) / (self.px_per_mm * self.distance_mm)
        # A ray: eye + t * (a * right + b * up - look), eye = distance * look; z = 0 gives t.
        ray_z = a * right[2] + b * up[2] - look[2]
        t = -self.distance_mm * look[2] / ray_z
        x = self.distance_mm * look[0] + t * (a * right[0] + b * up[0] - look[0])
        y = self.distance_mm * look[1] + t * (a * right[1] + b * up[1] - look[1])
        return x, y
