"""The stop slot's middle to a fraction of a pixel: where the plate ends on either side of it.

Between the roots of any gear teeth and the slot's bottom a band runs across the slot. Of all pairs of edges the one is
taken between which the band looks least like plate, and beside which it looks most like it; dirt, a shadow or the
slot's own bright wall make edges too. The depth found, a deeper band is read the same way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.photo.image import Pixels, opencv
from disc.photo.plane.face_plane import Plane

# The first band, mm inside the rim: below the teeth of a gear-cut rim (0.3-0.4 mm deep) and above the slot's bottom
# (0.5 mm and more); common practice, no source.
BAND_MM = (0.40, 0.43, 0.46, 0.49, 0.52)
# further bands tried, deeper for deep teeth; chosen by hand
DEEPER_FROM_MM, DEEPEST_MM, STEP_DEEP_MM = 0.42, 0.80, 0.02
EDGES_BELOW_MM = 0.5  # below the rim, about where the edges are read: by definition the middle of those bands
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
ABOVE_BOTTOM_MM = 0.17  # the bottom's rounded corners
HALF_SPAN_MM = 2.0  # looked at to either side of the slot; chosen by hand
STEP_MM = 0.01  # between places along the rim; chosen, finer than a pixel of any photo taken
NARROWEST_MM, WIDEST_MM = 0.35, 2.2  # of a slot; beyond it is a scratch or a bite (common practice, no source)
USUAL_MM = 0.85  # and within a factor of 1.4 or so either way (common practice, no source)
PLATE_FROM_MM = 1.05  # from the middle of the slot on there is plate
BESIDE_MM = 0.25  # of plate to either side, that a slot's colour is held against; chosen by hand, not fitted
FAINTEST = 0.12  # of the strongest edge
LEAST_NOISES = 4.0  # that the strongest edge stands out by
# What a pair's edges, contrast, place (against where the slot was seen, 0.15 mm) and width count for; chosen on
# rendered faces, the result hardly depends on them.
EDGE_MOST, PLACE_WEIGHT, PLACE_MM, WIDTH_WEIGHT, WIDTH_FACTOR = 0.5, 0.15, 0.15, 0.05, 0.35
# Plates are so thick (common practice, no source); a wall seen less far down makes no edge of its own; its foot may lie
# so much farther in, since edges are broken; and how strong its upper edge is against its foot, at least.
USUAL_PLATE_MM, LEAST_WALL_MM, WALL_MORE_MM, WALL_EDGE = (0.6, 1.5), 0.045, 0.03, 0.12
AGREE_MM = 0.15  # the two bands' pairs of edges lie this near, together, or the better one is taken


@dataclass(frozen=True, slots=True)
class Slot:
    """angle_rad of the slot's middle in the plane's axes; width_mm; how strongly its edges stand out of the rest.

    edges: how strongly each stands out, the one at the smaller angle first; None where they were not read.
    """

    angle_rad: float
    width_mm: float
    strength: float
    edges: tuple[float, float] | None = None


def find_slot(
    pixels: Pixels, plane: Plane, radius_mm: float, near_rad: float, wall: WallSeen | None = None
) -> Slot | None:
    """The slot near an angle; None where no pair of edges stands out. wall: of the slot's, as far as is known."""
    first = _pair(_band(pixels, plane, radius_mm, near_rad, np.array(BAND_MM)), wall)
    if first is None:
        return None
    bottom = _depth(pixels, plane, radius_mm, near_rad, (first.left + first.right) / 2)
    last = float(np.clip(bottom - ABOVE_BOTTOM_MM, DEEPER_FROM_MM + 0.10, DEEPEST_MM))
    depths = np.arange(DEEPER_FROM_MM, last, STEP_DEEP_MM)
    best, depth = first, float(np.mean(BAND_MM))
    second = _pair(_band(pixels, plane, radius_mm, near_rad, depths), wall)
    if second is not None:
        apart = abs(second.left - first.left) + abs(second.right - first.right)
        if apart < AGREE_MM or second.score > first.score:
            best, depth = second, float(np.mean(depths))
    sine = (best.left + best.right) / 2 / (radius_mm - depth)
    angle = near_rad + float(np.arcsin(np.clip(sine, -1, 1)))
    return Slot(angle, best.right - best.left, min(best.edges), best.edges)


# places along the rim that the slot's colour is read at
ACROSS_MM = np.arange(-HALF_SPAN_MM, HALF_SPAN_MM + STEP_MM / 2, STEP_MM)


@dataclass(frozen=True, slots=True)
class WallSeen:
    """How far down the slot's wall is seen: on the face, from its own edge inwards, mm, at least and at most; negative
    where it is the wall at the larger angle."""

    least_mm: float
    most_mm: float


def wall_seen(
    angle_rad: float, radius_mm: float, eye_mm: tuple[float, float, float], thickness_mm: float | None
) -> WallSeen | None:
    """Which of the slot's walls a lens over the face sees, and how much of it; None where it is too little to matter.

    eye_mm: the lens, view mm. thickness_mm: of the plate, None where nobody measured it.
    """
    x, y, z = eye_mm
    across = float(-np.sin(angle_rad) * x + np.cos(angle_rad) * y)
    thin, thick = USUAL_PLATE_MM if thickness_mm is None else (0.8 * thickness_mm, 1.1 * thickness_mm)
    least, most = (across * t / (z + t) for t in (thin, thick))
    return WallSeen(least, most) if abs(most) > LEAST_WALL_MM else None


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two edges, mm across the slot from where it was looked for."""

    left: float
    right: float
    score: float
    edges: tuple[float, float]


def _at(pixels: Pixels, plane: Plane, near_rad: float, out_mm: FloatArray, across_mm: FloatArray) -> FloatArray:
    """Colour at places out along the slot and across it, each (n, m); (n, m, 3)."""
    c, s = np.cos(near_rad), np.sin(near_rad)
    xy = np.stack([(c * out_mm - s * across_mm).ravel(), (s * out_mm + c * across_mm).ravel()], 1)
    uv = plane.to_px(xy).astype(np.float32).reshape(*out_mm.shape, 2)
    cv2 = opencv()
    seen = cv2.remap(pixels, uv[..., 0], uv[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, np.float32)


def _smooth(colour: FloatArray) -> FloatArray:
    return np.asarray(opencv().GaussianBlur(colour[None], (0, 0), sigmaX=2.5, sigmaY=0.01)[0])


def _band(pixels: Pixels, plane: Plane, radius_mm: float, near_rad: float, depths: FloatArray) -> FloatArray:
    """Colour along the band, (n, 3), smoothed a little."""
    out = np.sqrt(np.maximum((radius_mm - depths[:, None]) ** 2 - ACROSS_MM**2, 0))
    across = np.broadcast_to(ACROSS_MM, out.shape)
    return _smooth(_at(pixels, plane, near_rad, out, across).mean(0))


def _depth(pixels: Pixels, plane: Plane, radius_mm: float, near_rad: float, middle_mm: float) -> float:
    """Of the slot's bottom below the rim, mm: the strongest edge along its middle line."""
    depth = np.arange(0.20, 1.60, STEP_MM)
    out, across = np.meshgrid(radius_mm - depth, middle_mm + np.linspace(-0.1, 0.1, 5))
    colour = _smooth(_at(pixels, plane, near_rad, out, across).mean(0))
    slope = np.linalg.norm(np.gradient(colour, axis=0), axis=1)
    slope[depth < 0.45] = 0  # there may be the rim's own edge
    return float(depth[int(np.argmax(slope))])


def _unlike_plate(colour: FloatArray) -> FloatArray:
    """0 where the band looks like the plate on either side, 1 where it looks like the slot's middle, (n,)."""
    far = np.abs(ACROSS_MM) > PLATE_FROM_MM
    left, right = (np.median(colour[far & (sign * ACROSS_MM > 0)], 0) for sign in (-1, 1))
    part = (ACROSS_MM[:, None] + 1.5) / 3.0  # from the middle of the one side's plate to that of the other's
    off = np.linalg.norm(colour - (left * (1 - part) + right * part), axis=1)
    noise = 1.5 * float(np.median(off[far])) + 2.0
    inside = max(float(np.quantile(off[np.abs(ACROSS_MM) < 0.2], 0.6)), 2 * noise)
    return np.clip((off - noise) / (inside - noise), 0, 1)


def _pair(colour: FloatArray, wall: WallSeen | None = None) -> _Pair | None:
    """The best pair of edges of a band, colour (n, 3)."""
    change = np.zeros_like(colour)
    change[1:-1] = (colour[2:] - colour[:-2]) / 2
    slope = np.linalg.norm(change, axis=1)
    top, noise = float(slope[np.abs(ACROSS_MM) < 1.3].max()), float(np.median(slope))
    if top <= LEAST_NOISES * noise:  # both are nothing where all is of one colour
        return None
    peak = np.nonzero((slope[1:-1] >= slope[:-2]) & (slope[1:-1] > slope[2:]) & (slope[1:-1] > FAINTEST * top))[0] + 1
    a, b = (m.ravel() for m in np.meshgrid(peak, peak))
    width = ACROSS_MM[b] - ACROSS_MM[a]
    fits = (width > NARROWEST_MM) & (width < WIDEST_MM)
    if not fits.any():
        return None
    a, b, width = a[fits], b[fits], width[fits]
    edge = np.minimum(np.minimum(slope[a], slope[b]) / top, EDGE_MOST)
    place = (ACROSS_MM[a] + ACROSS_MM[b]) / 2 / PLACE_MM
    usual = np.log(width / USUAL_MM) / WIDTH_FACTOR
    score = edge + _contrast(_unlike_plate(colour), a, b) - PLACE_WEIGHT * place**2 / 2 - WIDTH_WEIGHT * usual**2 / 2
    k = int(np.argmax(score))
    first, last = int(a[k]), int(b[k])
    if wall is not None and wall.most_mm > 0:
        first = _above_wall(slope, peak, first, -1, wall, noise)
    elif wall is not None:
        last = _above_wall(slope, peak, last, 1, wall, noise)
    edges = float(slope[first] / max(noise, 0.2)), float(slope[last] / max(noise, 0.2))
    return _Pair(_between(slope, first), _between(slope, last), float(score[k]), edges)


def _above_wall(
    slope: FloatArray, peak: npt.NDArray[np.int_], k: int, outwards: int, wall: WallSeen, noise: float
) -> int:
    """The face's own edge where edge k is the foot of the wall: paper seen through a slot stands out of the wall more
    than the wall does of the plate. Where an edge lies as far inwards, k is the face's edge already."""
    least, most = max(abs(wall.least_mm), LEAST_WALL_MM), abs(wall.most_mm) + WALL_MORE_MM
    off = (peak - k) * outwards * STEP_MM
    strong = slope[peak] > np.maximum(WALL_EDGE * slope[k], LEAST_NOISES * noise)
    if np.any(strong & (-off > least) & (-off < most)):
        return k
    above = peak[strong & (off > least) & (off < most)]
    return k if not len(above) else int(above[np.argmax(slope[above])])


def _contrast(unlike: FloatArray, a: Any, b: Any) -> FloatArray:
    """How much less the band looks like plate between edges a and b (n,) than beside them."""
    total = np.concatenate([[0.0], np.cumsum(unlike)])
    reach = int(BESIDE_MM / STEP_MM)
    low, high = np.maximum(a - reach, 0), np.minimum(b + reach, len(unlike))
    inside = (total[b] - total[a]) / (b - a)
    return np.asarray(inside - 0.5 * ((total[a] - total[low]) / (a - low) + (total[high] - total[b]) / (high - b)))


def _between(slope: FloatArray, k: int) -> float:
    a, b, c = slope[k - 1], slope[k], slope[k + 1]
    bend = a - 2 * b + c
    return float(ACROSS_MM[k] + (0.5 * (a - c) / bend if abs(bend) > 1e-9 else 0.0) * STEP_MM)


# below the rim (less than 0: outside), and along it either side of the slot (chosen)
PICTURE_DEPTH_MM, PICTURE_ACROSS_MM = np.arange(-0.30, 1.40, 0.02), np.arange(-2.5, 2.51, 0.02)


def slot_picture(
    pixels: Pixels, plane: Plane, radius_mm: float, angle_rad: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The rim about an angle: depth below the outline (n,), place across (m,), mm, and the colour there (n, m, 3)."""
    depth, across = PICTURE_DEPTH_MM, PICTURE_ACROSS_MM
    out = np.sqrt(np.maximum((radius_mm - depth[:, None]) ** 2 - across**2, 0))
    colour = _at(pixels, plane, angle_rad, out, np.broadcast_to(across, out.shape))
    return depth, across, np.asarray(opencv().GaussianBlur(colour, (0, 0), 1.2), float)


def search_slots(pixels: Pixels, plane: Plane, radius_mm: float, most: int) -> list[float]:
    """Where round the rim there may be a notch, rad in the plane's axes, the likeliest first, without any hint.

    A band below the rim is compared with the plate's own colour on either side of each place: a notch is as wide as a
    slot, wholly of another colour, and like the ground just outside the rim there. Of a gear-cut rim the teeth's gaps
    end above the band.
    """
    n = 1440
    step_mm = 2 * np.pi * radius_mm / n
    band = _ring(pixels, plane, radius_mm - np.array([0.42, 0.47, 0.52]), n)
    ground = _ring(pixels, plane, radius_mm + np.array([0.12, 0.25]), n)
    wide = int(4.0 / step_mm)
    around = running_median(band, wide)
    away = np.linalg.norm(band - around, axis=1)
    to_ground = np.linalg.norm(around - ground, axis=1)
    # 1 where the band is all ground, 0 where it is plate; noise keeps the divisor from nothing.
    share = np.clip(((band - around) * (ground - around)).sum(1) / np.maximum(to_ground**2, 15.0**2), -0.5, 1.5)
    noise = 1.4826 * float(np.median(away)) + 2.0
    score = np.full(n, -np.inf)
    for width_mm in (0.5, 0.7, 0.9, 1.1, 1.4):
        half = max(1, round(width_mm / step_mm / 2))
        inside, beside = window_mean(away, half), window_mean(away, 2 * half + 2)
        beside = (beside * (4 * half + 5) - inside * (2 * half + 1)) / (2 * half + 4)
        score = np.maximum(score, (inside - 1.2 * beside) / noise + 1.5 * window_mean(share, half))
    found: list[float] = []
    reach = max(1, round(1.0 / step_mm))
    for _ in range(most):
        k = int(np.argmax(score))
        found.append(2 * np.pi * k / n)
        score[np.arange(k - reach, k + reach + 1) % n] = -np.inf
    return found


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


def running_median(values: FloatArray, half: int) -> FloatArray:
    """Of values (n, k) round the rim, over 2 half + 1 of them; scipy's filters cost their import more than this."""
    around = np.concatenate([values[-half:], values, values[:half]])
    windows = np.lib.stride_tricks.sliding_window_view(around, 2 * half + 1, axis=0)
    return np.asarray(np.partition(windows, half, axis=-1)[..., half])


def window_mean(values: FloatArray, half: int) -> FloatArray:
    """Of values (n,) round the rim, over 2 half + 1 of them."""
    total = np.cumsum(np.concatenate([[0.0], values[-half:], values, values[:half]]))
    return (total[2 * half + 1 :] - total[: -2 * half - 1]) / (2 * half + 1)
