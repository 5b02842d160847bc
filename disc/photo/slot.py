"""The stop slot's middle to a fraction of a pixel: where the plate ends on either side of it.

Between the roots of any gear teeth and the slot's bottom a band runs across the slot. Coming from the plate, the first
strong edge on each side is the face's own; what lies behind it (the slot's wall, the ground, a shadow) may have edges
too, but farther in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.frame import FloatArray
from disc.photo.image import Pixels, opencv
from disc.photo.plane import Plane

# The band, mm inside the rim: below the teeth of a gear-cut rim (0.3-0.4 mm deep) and above the slot's bottom (0.5 mm
# and more); common practice, no source.
BAND_MM = (0.40, 0.43, 0.46, 0.49, 0.52)
HALF_SPAN_MM = 1.5
STEP_MM = 0.01
NARROWEST_MM, WIDEST_MM = 0.35, 2.2


@dataclass(frozen=True, slots=True)
class Slot:
    """angle_rad of the slot's middle in the plane's axes; width_mm; how strongly its two edges stand out of the rest."""

    angle_rad: float
    width_mm: float
    strength: float


def find_slot(pixels: Pixels, plane: Plane, radius_mm: float, near_rad: float) -> Slot | None:
    """The slot near an angle; None where no pair of edges stands out."""
    across = np.arange(-HALF_SPAN_MM, HALF_SPAN_MM + STEP_MM / 2, STEP_MM)
    colour = _band(pixels, plane, radius_mm, near_rad, across)
    change = np.zeros_like(colour)
    change[1:-1] = (colour[2:] - colour[:-2]) / 2
    slope = np.linalg.norm(change, axis=1)
    return _pair(slope, across, radius_mm, near_rad)


def _band(pixels: Pixels, plane: Plane, radius_mm: float, near_rad: float, across: FloatArray) -> FloatArray:
    """Colour along the band, (n, 3), smoothed a little."""
    cv2 = opencv()
    c, s = np.cos(near_rad), np.sin(near_rad)
    rows = []
    for depth in BAND_MM:
        x = np.sqrt(np.maximum((radius_mm - depth) ** 2 - across**2, 0))
        xy = np.stack([c * x - s * across, s * x + c * across], 1)
        uv = plane.to_px(xy).astype(np.float32)
        rows.append(
            cv2.remap(pixels, uv[None, :, 0], uv[None, :, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[0]
        )
    colour = np.mean(np.asarray(rows, np.float32), 0)
    return cv2.GaussianBlur(colour[None], (0, 0), sigmaX=2.5, sigmaY=0.01)[0]


def _pair(slope: FloatArray, across: FloatArray, radius_mm: float, near_rad: float) -> Slot | None:
    top = float(slope.max())
    noise = float(np.median(slope))
    if top < 5 * noise:
        return None
    peak = np.nonzero((slope[1:-1] >= slope[:-2]) & (slope[1:-1] > slope[2:]) & (slope[1:-1] > 0.33 * top))[0] + 1
    best: tuple[float, int, int] | None = None
    for a in peak:
        for b in peak:
            width = across[b] - across[a]
            if not NARROWEST_MM < width < WIDEST_MM:
                continue
            middle = (across[a] + across[b]) / 2
            # Both edges strong, near where the finder saw the slot; of nested pairs the outer one is the face's.
            score = min(slope[a], slope[b]) / top + 0.25 * min(width, 1.1) - 0.5 * abs(middle)
            if best is None or score > best[0]:
                best = (score, int(a), int(b))
    if best is None:
        return None
    left, right = (_between(slope, across, k) for k in best[1:])
    angle = near_rad + float(np.arcsin(np.clip((left + right) / 2 / (radius_mm - np.mean(BAND_MM)), -1, 1)))
    return Slot(angle, right - left, float(min(slope[best[1]], slope[best[2]]) / max(noise, 0.2)))


def _between(slope: FloatArray, across: FloatArray, k: int) -> float:
    a, b, c = slope[k - 1], slope[k], slope[k + 1]
    bend = a - 2 * b + c
    return float(across[k] + (0.5 * (a - c) / bend if abs(bend) > 1e-9 else 0.0) * STEP_MM)
