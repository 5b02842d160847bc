"""How far a face is blurred, by its own edges: whole, and part by part.

An edge of the object keeps a part of its steepness when the picture is softened a little more, and the part tells how
soft it was: of an edge blurred by s the steepness under softenings a and b is as sqrt(s^2 + b^2) to sqrt(s^2 + a^2).
Beside it stands how much fine detail the face has for its coarse detail; noise feigns detail, plain plates have few
edges, and the two together are not deceived by either.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from disc.frame import FloatArray
from disc.photo.image import Photo, opencv
from disc.photo.plane.view import View

SOFTENED_PX = (1.0, 2.0)  # sigmas of the two softenings whose steepness is compared; chosen, not fitted
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
STRONGEST = 0.02  # part of a face's places that are taken for its edges
PARTS = 7  # parts across the face, each way
FEWEST_EDGES = 60  # places of a part that tell its blur
# Soft shades on a clean plate look like blurred edges; but where a part is out of focus the finest grain is gone too. A
# part that has this much of the grain of the face's livelier parts is not called blurred, if the whole is not.
GRAIN_LEFT, WHOLE_PX = 0.35, 2.6
BANDS_PX = (0.8, 1.6, 6.4, 12.8)  # fine detail lies between the first two, coarse between the last
# Coarse detail is measured in the picture made so many times smaller, which itself softens it by less than a hundredth
# of the narrower band (two hundredths); ranks over a whole face, on every second place each way.
SMALLER, SPARSE = 4, 2
LEAST_ROWS, BEYOND_PX = 96, 12  # of a part, that are measured; and how far softening reaches over them


@dataclass(frozen=True, slots=True)
class Sharpness:
    """blur_px: sigma of the usual edge's blur. detail: fine over coarse detail. parts_px: (PARTS, PARTS) blur of the
    parts, NaN where there are too few edges; x right and y down, over the square about the face in the photo.
    """

    blur_px: float
    detail: float
    parts_px: FloatArray
    corner_px: tuple[float, float]
    side_px: tuple[float, float]


def sharpness(photo: Photo, view: View) -> Sharpness:
    """Measured in the photo's own pixels."""
    cv2 = opencv()
    t = np.linspace(0, 2 * np.pi, 120)
    u, v = view.to_photo_px(0.97 * view.radius_mm * np.cos(t), 0.97 * view.radius_mm * np.sin(t))
    left, right = np.clip([u.min(), u.max()], 0, photo.width - 1).astype(int)
    top, low = np.clip([v.min(), v.max()], 0, photo.height - 1).astype(int)
    grey = cv2.cvtColor(photo.pixels[top : low + 1, left : right + 1], cv2.COLOR_BGR2GRAY)
    face = np.zeros(grey.shape, np.uint8)
    cv2.fillPoly(face, [np.stack([u - left, v - top], 1).astype(np.int32)], 1)
    face = cv2.erode(face, np.ones((15, 15), np.uint8))
    corner, side = (float(left), float(top)), (float(right - left + 1), float(low - top + 1))
    if cv2.countNonZero(face) < 1000:
        return Sharpness(0.0, 1.0, np.full((PARTS, PARTS), np.nan), corner, side)
    fine, softer, finest, within = _in_bands(grey, face)
    strong = _strong(softer, within)
    edges = within & (softer > strong)
    ratio = fine[edges] / np.maximum(softer[edges], 1e-6)
    blur = _blur_of(float(np.median(ratio)))
    parts = _parts(fine, softer, within, strong)
    if blur < WHOLE_PX:
        parts = np.where(_is_plain(finest, within), np.minimum(parts, WHOLE_PX), parts)
    return Sharpness(blur, _detail(grey, face, finest, within), parts, corner, side)


def _in_bands(grey: Any, face: Any) -> tuple[Any, Any, Any, Any]:
    """Steepness under either softening, finest detail, and where the face is, of a band across the middle of each row
    of parts, one under the other: a third of a large face tells as much as all of it."""
    cv2 = opencv()
    starts = np.linspace(0, len(grey), PARTS + 1).astype(int)
    part = len(grey) // PARTS
    tall = min(part, max(LEAST_ROWS, part // 3))
    bands: list[tuple[Any, ...]] = []
    for start in starts[:-1] + (part - tall) // 2:
        top, low = max(0, start - BEYOND_PX), min(len(grey), start + tall + BEYOND_PX)
        some = grey[top:low].astype(np.float32)
        finest = cv2.GaussianBlur(some, (0, 0), BANDS_PX[0]) - cv2.GaussianBlur(some, (0, 0), BANDS_PX[1])
        inner = slice(start - top, start - top + tall)
        bands.append(
            (*(_steepness(some, s)[inner] for s in SOFTENED_PX), finest[inner], face[start : start + tall] > 0)
        )
    fine, softer, finest, within = (np.concatenate(kind) for kind in zip(*bands, strict=True))
    return fine, softer, finest, within


def _strong(softer: Any, face: Any) -> float:
    """Steepness from which a place of the face is one of its edges."""
    few = (slice(None, None, SPARSE),) * 2
    return float(np.quantile(softer[few][face[few]], 1 - STRONGEST))


def _steepness(grey: Any, sigma: float) -> Any:
    cv2 = opencv()
    soft = cv2.GaussianBlur(grey, (0, 0), sigma)
    return cv2.magnitude(cv2.Sobel(soft, cv2.CV_32F, 1, 0), cv2.Sobel(soft, cv2.CV_32F, 0, 1))


def _blur_of(ratio: float) -> float:
    """Sigma of an edge whose steepness falls by this ratio from the one softening to the other, px."""
    a, b = SOFTENED_PX
    square = ratio * ratio
    return float(np.sqrt(max(b * b - square * a * a, 0.0) / max(square - 1.0, 0.02)))


def _detail(grey: Any, face: Any, finest: Any, within: Any) -> float:
    """grey, face: whole; finest, within: of the bands."""
    cv2 = opencv()
    size = tuple(max(1, n // SMALLER) for n in grey.shape[::-1])
    whole = (slice(size[1] * SMALLER), slice(size[0] * SMALLER))  # whole squares are quickly made small
    small = cv2.resize(grey[whole], size, interpolation=cv2.INTER_AREA).astype(np.float32)
    on = cv2.resize(face[whole], size, interpolation=cv2.INTER_NEAREST)
    coarse = np.subtract(*(cv2.GaussianBlur(small, (0, 0), s / SMALLER) for s in BANDS_PX[2:]))
    spread = [float(cv2.meanStdDev(a, mask=m)[1][0, 0]) for a, m in ((finest, within.astype(np.uint8)), (coarse, on))]
    return spread[0] / max(spread[1], 1e-3)


def _bounds(face: Any) -> tuple[Any, Any]:
    """Where the parts' rows and columns begin and end."""
    rows, columns = (np.linspace(0, size, PARTS + 1).astype(int) for size in face.shape)
    return rows, columns


def _is_plain(finest: Any, face: Any) -> Any:
    """Parts that have kept their finest grain, (PARTS, PARTS) of bool. finest: detail in the finest band."""
    finest, face = (field[::SPARSE, ::SPARSE] for field in (np.abs(finest), face))
    rows, columns = _bounds(face)
    grain = np.full((PARTS, PARTS), np.nan)
    for j in range(PARTS):
        for i in range(PARTS):
            part = (slice(rows[j], rows[j + 1]), slice(columns[i], columns[i + 1]))
            inside = face[part]
            if _part_of(inside) >= 0.3:
                grain[j, i] = float(np.median(finest[part][inside]))
    usual = float(np.nanquantile(grain, 0.75)) if np.isfinite(grain).any() else 0.0
    return ~(grain < GRAIN_LEFT * usual)


def _parts(fine: Any, softer: Any, face: Any, strong: float) -> FloatArray:
    """Blur of each part by its own strongest edges. strong: steepness of the face's edges."""
    rows, columns = _bounds(face)
    blur = np.full((PARTS, PARTS), np.nan)
    least = 0.35 * strong  # a part of plain plate has no edges of its own
    for j in range(PARTS):
        for i in range(PARTS):
            part = (slice(rows[j], rows[j + 1]), slice(columns[i], columns[i + 1]))
            inside = face[part]
            if _part_of(inside) < 0.3:
                continue
            few = softer[part][::SPARSE, ::SPARSE][inside[::SPARSE, ::SPARSE]]
            cut = max(float(np.quantile(few, 1 - 2 * STRONGEST)), least)
            edges = np.nonzero((softer[part] > cut) & inside)
            if len(edges[0]) >= FEWEST_EDGES:
                blur[j, i] = _blur_of(float(np.median(fine[part][edges] / np.maximum(softer[part][edges], 1e-6))))
    return blur


def _part_of(inside: Any) -> float:
    """What part of a field of bool is true."""
    return float(np.count_nonzero(inside)) / max(inside.size, 1)
