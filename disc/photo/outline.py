"""The rim's exact edge, where the plate's own wall does not hide it.

Seen at a slant, the wall below the rim shows on the side away from the lens's foot point, and its far edge is easily
taken for the rim's. Where the lens stands over the plate, or the rim turns away from it, the outermost edge is the rim.
Of a gear-cut rim only the teeth's tips count.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from disc.frame import FloatArray
from disc.photo.image import Pixels, opencv
from disc.photo.plane import Plane

ANGLES = 720
# Rims have their edge broken, by some 0.03 mm (common practice, no source). Flat, bevel and ground melt into one edge
# in the picture, which lies inside the outline by a part of the bevel that depends on the light: 0.00 to 0.035 mm on
# the development photographs. The middle of that is added, and settle.py's RIM_FLOOR_MM stands for the rest.
INSIDE_OUTLINE_MM = 0.02
INSIDE_MM, OUTSIDE_MM, STEP_MM = 0.55, 0.40, 0.02


def rim_points(
    pixels: Pixels, plane: Plane, radius_mm: float, eye_xy_mm: tuple[float, float] | None
) -> tuple[FloatArray, float]:
    """Photo pixels (m, 2) on the rim, and their scatter about it in mm; empty where no edge agrees."""
    phi = np.linspace(0, 2 * np.pi, ANGLES, endpoint=False)
    clear = np.ones(ANGLES, bool) if eye_xy_mm is None else _wall_hidden(phi, radius_mm, eye_xy_mm)
    phi = phi[clear]
    r = np.arange(radius_mm - INSIDE_MM, radius_mm + OUTSIDE_MM, STEP_MM)
    slope = edge_slopes(pixels, plane, phi, r)
    at, ok = _outermost(slope, r)
    radius = _circle_among(at[ok])
    if radius is None:
        return np.zeros((0, 2)), 0.05
    near = np.abs(at[ok] - radius) < 0.12
    where = phi[ok][near]
    rr = at[ok][near]
    out = rr + INSIDE_OUTLINE_MM
    xy = np.stack([out * np.cos(where), out * np.sin(where)], 1)
    return plane.to_px(xy), float(np.clip(1.4826 * np.median(np.abs(rr - np.median(rr))), 0.008, 0.1))


def _wall_hidden(phi: FloatArray, radius_mm: float, eye: tuple[float, float]) -> Any:
    """The wall at a rim point is seen from outside its tangent only."""
    return eye[0] * np.cos(phi) + eye[1] * np.sin(phi) < 0.97 * radius_mm


def edge_slopes(pixels: Pixels, plane: Plane, phi: FloatArray, r: FloatArray) -> FloatArray:
    """How fast the colour changes along r, (angles, radii), in grey levels a step."""
    cv2 = opencv()
    rr, pp = np.meshgrid(r, phi)
    uv = plane.to_px(np.stack([(rr * np.cos(pp)).ravel(), (rr * np.sin(pp)).ravel()], 1)).astype(np.float32)
    u, v = uv[:, 0].reshape(rr.shape), uv[:, 1].reshape(rr.shape)
    colour = cv2.remap(pixels, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    colour = cv2.GaussianBlur(colour, (0, 0), sigmaX=1.5, sigmaY=0.8)
    change = np.zeros_like(colour)
    change[:, 1:-1] = (colour[:, 2:] - colour[:, :-2]) / 2
    return np.linalg.norm(change, axis=2)


def _outermost(slope: FloatArray, r: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Radius of the outermost strong edge at each angle, and whether there is one."""
    top = slope.max(1)
    noise = np.median(slope)
    strong = slope > np.maximum(0.45 * top, 3.0 * noise)[:, None]
    peak = np.zeros_like(strong)
    peak[:, 1:-1] = (slope[:, 1:-1] >= slope[:, :-2]) & (slope[:, 1:-1] > slope[:, 2:]) & strong[:, 1:-1]
    ok = peak.any(1)
    k = np.where(ok, peak.shape[1] - 1 - np.argmax(peak[:, ::-1], 1), 1)
    i = np.arange(len(k))
    a, b, c = slope[i, k - 1], slope[i, k], slope[i, np.minimum(k + 1, slope.shape[1] - 1)]
    bend = a - 2 * b + c
    part = np.where(np.abs(bend) > 1e-6, 0.5 * (a - c) / np.where(np.abs(bend) > 1e-6, bend, 1), 0)
    return r[k] + np.clip(part, -0.5, 0.5) * STEP_MM, ok


def _circle_among(radii: FloatArray) -> float | None:
    """The outermost radius at which a good part of the edges gather: a gear's tips lie outside its roots."""
    if len(radii) < 40:
        return None
    grid = np.arange(radii.min(), radii.max() + 0.01, 0.01)
    density = np.exp(-0.5 * ((grid[:, None] - radii) / 0.03) ** 2).sum(1) / len(radii)
    top = [k for k in range(len(grid)) if density[k] == density[max(0, k - 8) : k + 9].max()]
    good = [k for k in top if density[k] > 0.4 * density.max() and density[k] > 0.08]
    return float(grid[max(good)]) if good else None
