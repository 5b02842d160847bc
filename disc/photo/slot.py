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
    """angle_rad of the slot's middle in the plane's axes; width_mm; how strongly its edges stand out of the rest."""

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


def search_slot(pixels: Pixels, plane: Plane, radius_mm: float) -> float | None:
    """Where round the rim a notch is, rad in the plane's axes, without any hint; None where none stands out.

    A band below the rim is compared with the plate's own colour on either side of each place: a notch is as wide as a
    slot, wholly of another colour, and like the ground just outside the rim there. Of a gear-cut rim the teeth's gaps
    end above the band.
    """
    n = 1440
    step_mm = 2 * np.pi * radius_mm / n
    band = _ring(pixels, plane, radius_mm - np.array([0.42, 0.47, 0.52]), n)
    ground = _ring(pixels, plane, radius_mm + np.array([0.12, 0.25]), n)
    wide = int(4.0 / step_mm)
    around = np.stack([_running_median(band[:, k], wide) for k in range(3)], 1)
    away = np.linalg.norm(band - around, axis=1)
    to_ground = np.linalg.norm(around - ground, axis=1)
    # 1 where the band is all ground, 0 where it is plate; noise keeps the divisor from nothing.
    share = np.clip(((band - around) * (ground - around)).sum(1) / np.maximum(to_ground**2, 15.0**2), -0.5, 1.5)
    noise = 1.4826 * float(np.median(away)) + 2.0
    best: tuple[float, float] | None = None
    for width_mm in (0.5, 0.7, 0.9, 1.1, 1.4):
        half = max(1, round(width_mm / step_mm / 2))
        inside, beside = _window_mean(away, half), _window_mean(away, 2 * half + 2)
        beside = (beside * (4 * half + 5) - inside * (2 * half + 1)) / (2 * half + 4)
        score = (inside - 1.2 * beside) / noise + 1.5 * _window_mean(share, half)
        k = int(np.argmax(score))
        if best is None or score[k] > best[0]:
            best = (float(score[k]), 2 * np.pi * k / n)
    return best[1] if best is not None and best[0] > SLOT_STANDS_OUT else None


SLOT_STANDS_OUT = 3.0  # in noises of the band; spots and pins' shadows on rendered rims reach 1 to 2


def _ring(pixels: Pixels, plane: Plane, radii: FloatArray, n: int) -> FloatArray:
    cv2 = opencv()
    phi = 2 * np.pi * np.arange(n) / n
    rows = []
    for r in radii:
        uv = plane.to_px(np.stack([r * np.cos(phi), r * np.sin(phi)], 1)).astype(np.float32)
        rows.append(
            cv2.remap(pixels, uv[None, :, 0], uv[None, :, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[0]
        )
    return np.median(np.asarray(rows, float), 0)


def _running_median(values: FloatArray, window: int) -> FloatArray:
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(values, size=2 * window + 1, mode="wrap"))


def _window_mean(values: FloatArray, half: int) -> FloatArray:
    from scipy.ndimage import uniform_filter1d

    return np.asarray(uniform_filter1d(values, size=2 * half + 1, mode="wrap"))
