"""Is the photo good enough? A verdict with the reason, and how to take a better one."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from disc.frame import FloatArray
from disc.photo.image import Photo, opencv
from disc.photo.plane.view import View

# Chosen, not measured as limits: on a few rendered faces made worse (bench/measure/read.py --degrade prints the like)
# places grew uncertain at about this scale and blur. Glare hides pins and a steep view lets them cover one another; how
# much of either is too much is a judgement (common practice, no source).
FEWEST_PX_PER_MM = 25.0
WIDEST_EDGE_MM = 0.13  # blur of an edge, as said above
MOST_GLARE = 0.12  # share of the face in glare; a judgement, as said above
STEEPEST_DEG = 30.0  # off square; a judgement, as said above
# Grain of the picture on the face, grey levels from pixel to pixel: rendered faces show up to 7. With noise of 50 added
# (30 here) places were off by half as much again and sigmas no longer held; the limit is chosen between.
MOST_GRAIN = 20.0
# Brightest twentieth of the face, grey levels: rendered faces show 120 and more. At 30 stubs and holes were taken for
# one another; the limit is chosen between.
DARKEST = 60.0


@dataclass(frozen=True, slots=True)
class PhotoVerdict:
    """Measures of a photo and what to say about it. reasons: each with its advice; none where the photo is good."""

    px_per_mm: float
    edge_mm: float
    glare: float
    tilt_deg: float
    grain: float = 0.0
    reasons: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """Whether there is nothing to say against it."""
        return not self.reasons

    def to_json(self) -> dict[str, Any]:
        """Plain JSON material."""
        return asdict(self) | {"good": self.good}


def judge_photo(photo: Photo, view: View) -> PhotoVerdict:
    """Measure sharpness at the rim, glare, light and grain on the face, pixels a millimetre and tilt."""
    scale = view.px_per_mm
    edge = _edge_width_px(photo, view) / scale
    face = _face(photo, view)
    glare, light = float(np.mean(face.min(1) >= 250)), float(np.quantile(face.max(1), 0.95))
    tilt = view.foreshortened_deg
    grain = _grain(photo, view)
    reasons = []
    if scale < FEWEST_PX_PER_MM:
        reasons.append(
            f"too few pixels: {scale:.0f} a millimetre, a pin is {scale * 0.22:.0f} px thick. Go closer, or let the "
            "disc fill the frame."
        )
    if edge > WIDEST_EDGE_MM:
        reasons.append(
            f"blurred: the rim's edge is {edge:.2f} mm wide. Focus on the face, rest the camera, use more light or the "
            "self-timer."
        )
    if glare > MOST_GLARE:
        reasons.append(
            f"glare over {glare * 100:.0f} % of the plate. Turn the disc or the lamp, or light it through white paper."
        )
    if light < DARKEST:
        reasons.append(
            f"too dark: the brightest of the face is at {light:.0f} of 255. Use more light, or a longer exposure with "
            "the camera at rest."
        )
    if grain > MOST_GRAIN:
        reasons.append(
            f"grainy: neighbouring pixels differ by {grain:.0f} grey levels. Use more light and a lower sensitivity, "
            "or take several photographs of the face and give them together."
        )
    if tilt > STEEPEST_DEG:
        reasons.append(f"too steep: about {tilt:.0f} degrees off square. Hold the camera more nearly over the disc.")
    return PhotoVerdict(
        round(scale, 2), round(edge, 4), round(glare, 4), round(tilt, 1), round(grain, 1), tuple(reasons)
    )


def _edge_width_px(photo: Photo, view: View) -> float:
    """Median 10-90 % width of the rim's edge across its sharpest half, px of the photo."""
    cv2 = opencv()
    phi = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    reach = max(0.45, 6 / view.px_per_mm)
    r = np.linspace(view.radius_mm - reach, view.radius_mm + reach, 121)
    rr, pp = np.meshgrid(r, phi)
    u, v = view.to_photo_px(rr * np.cos(pp), rr * np.sin(pp))
    line = cv2.remap(photo.pixels, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR)
    line = cv2.cvtColor(line, cv2.COLOR_BGR2GRAY).astype(float)
    return float(np.median(_widths(line, r[1] - r[0]))) * view.px_per_mm


def _widths(line: FloatArray, step_mm: float) -> FloatArray:
    """Width of the steepest edge on each line: its height over its slope, from a quarter to three quarters, doubled."""
    slope = np.abs(np.gradient(line, axis=1))
    k = slope[:, 5:-5].argmax(1) + 5
    rows = np.arange(len(line))
    top = slope[rows, k]
    half = np.array([np.sum(slope[i, max(0, k[i] - 40) : k[i] + 41] > 0.5 * top[i]) for i in rows])
    # Full width at half maximum of the slope; 10-90 % of a blurred step is 1.09 of that.
    return 1.09 * np.maximum(half, 1) * step_mm


def _grain(photo: Photo, view: View) -> float:
    """Robust sigma of what is left of the face's middle strip after a small median filter, grey levels."""
    cv2 = opencv()
    half = 0.6 * view.radius_mm * view.px_per_mm
    u, v = (float(c) for c in view.to_photo_px(0.0, 0.0))
    rows = slice(max(0, round(v - half / 4)), round(v + half / 4))
    grey = cv2.cvtColor(photo.pixels[rows, max(0, round(u - half)) : round(u + half)], cv2.COLOR_BGR2GRAY)
    left = grey.astype(np.int16) - cv2.medianBlur(grey, 3)
    return float(1.25 * np.mean(np.abs(left)))  # of a normal error the mean size is 0.8 sigma


def _face(photo: Photo, view: View) -> FloatArray:
    """Colours (n, 3) all over the face."""
    n = 160
    c = (np.arange(n) + 0.5) / n * 2 - 1
    x, y = np.meshgrid(c * view.radius_mm, c * view.radius_mm)
    inside = np.hypot(x, y) < 0.95 * view.radius_mm
    u, v = view.to_photo_px(x[inside], y[inside])
    i, j = np.clip(np.round(v).astype(int), 0, photo.height - 1), np.clip(np.round(u).astype(int), 0, photo.width - 1)
    return np.asarray(photo.pixels[i, j], float)
