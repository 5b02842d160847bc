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
from disc.photo.marks.networks import FRAME_PX
from disc.photo.plane.face_plane import Plane

# looked at, a third of a degree apart; points kept: more only repeat their neighbours' error. Chosen
ANGLES, ENOUGH = 1080, 300
# Rims have their edge broken, by some 0.03 mm (common practice, no source). Flat, bevel and ground melt into one edge
# in the picture, which lies inside the outline by a part of the bevel that depends on the light: 0.00 to 0.055 mm on
# the faces of two renderers, one's by 0.020 in the mean (p1-p8), the other's by 0.034 (h1, h2, h4, h5, h7, h8, n8);
# both count alike. The middle is added, and settle.py's RIM_FLOOR_MM stands for the rest. A gear's tips are told by the
# middles of their edges (p5, p8, h6).
# Tried on n8, p1, p3, p4 and h1 over the measuring sheet, and left: flat, bevel and ground of free colours round the
# whole rim, one bevel width, blur and circle for all. Its middles were off by up to 0.035 mm, these edges' by up to
# 0.028: the bevel's outermost part mirrors white paper, and then no colour tells where the plate ends.
INSIDE_OUTLINE_MM, INSIDE_TIPS_MM = 0.027, 0.026
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Where the bevel shows as a line of its own between flat and ground, the line's far side is the outline itself.
LINE_OUT_MM = -0.004
# A line counts if it stands out by this part of the step from flat to ground, this many noises and grey levels.
LINE_SHARE, LINE_NOISES, LINE_LEVELS = 0.35, 5.0, 10.0
SECTORS = 60  # of the rim, looked at each for itself; chosen by hand
# searched about the expected rim, and the step between; chosen by hand
INSIDE_MM, OUTSIDE_MM, STEP_MM = 0.55, 0.40, 0.02
NEAR_RIM_MM = 0.12  # of the circle, within which an edge is the rim's; chosen by hand on development photographs
# How far the rim lies from where the coarse outline and the tracks put it: up to 0.07 mm on rendered faces that fill
# the frame; and up to a pixel of the finder's small frame, where the disc is a small part of the picture.
COARSE_MM = 0.15
PLAIN_SHARE = 0.75  # a plain rim shows its edge at most angles, a gear-cut one at its teeth's tips only


def rim_points(
    pixels: Pixels, plane: Plane, radius_mm: float, eye_xy_mm: tuple[float, float] | None
) -> tuple[FloatArray, float]:
    """Photo pixels (m, 2) on the rim, and their scatter about it in mm; empty where no edge agrees."""
    phi = np.linspace(0, 2 * np.pi, ANGLES, endpoint=False)
    r = np.arange(radius_mm - INSIDE_MM, radius_mm + OUTSIDE_MM, STEP_MM)
    slope = edge_slopes(pixels, plane, phi, r)
    at, ok = _outermost(slope, r)
    if eye_xy_mm is not None:
        ok = ok & _wall_hidden(phi, radius_mm, eye_xy_mm)
    radius = _circle_among(at[ok], radius_mm, max(COARSE_MM, _finder_px_mm(plane)))
    if radius is None:
        return np.zeros((0, 2)), 0.05
    near = ok & (np.abs(at - radius) < NEAR_RIM_MM)
    gear = near.sum() < PLAIN_SHARE * ok.sum()
    inner = near & np.roll(near, 1) & np.roll(near, -1)  # within a tip, away from its corners
    if gear and inner.sum() > 40:
        near = inner
    few = np.nonzero(near)[0][:: max(1, near.sum() // ENOUGH)]  # their errors run together along the rim
    where = phi[few]
    rr = at[few] + _outline_beyond(pixels, plane, where, at[few], INSIDE_TIPS_MM if gear else INSIDE_OUTLINE_MM)
    xy = np.stack([rr * np.cos(where), rr * np.sin(where)], 1)
    return plane.to_px(xy), float(np.clip(1.4826 * np.median(np.abs(rr - np.median(rr))), 0.008, 0.1))


def _outline_beyond(pixels: Pixels, plane: Plane, phi: FloatArray, edge_mm: FloatArray, plain_mm: float) -> FloatArray:
    """How far beyond each edge (n,) the outline lies, mm: told sector by sector from the mean colour across it."""
    x = np.arange(-0.24, 0.20, 0.01)
    r = edge_mm[:, None] + x
    xy = np.stack([(r * f(phi)[:, None]).ravel() for f in (np.cos, np.sin)], 1)
    u, v = plane.to_px(xy).astype(np.float32).T.reshape(2, *r.shape)
    colour = _seen(pixels, u, v)
    sector = (phi / (2 * np.pi) * SECTORS).astype(int)
    count = np.bincount(sector, minlength=SECTORS)
    mean = np.zeros((SECTORS, len(x), 3))
    # Not by a matrix product: numpy's many-threaded ones cost ten times this.
    mean[count > 0] = np.add.reduceat(colour, np.searchsorted(sector, np.nonzero(count)[0]), axis=0)
    far = _far_side_of_line(mean / np.maximum(count, 1)[:, None, None], x)
    return np.where(np.isfinite(far) & (count >= 3), far + LINE_OUT_MM, plain_mm)[sector]


def _far_side_of_line(colour: FloatArray, x: FloatArray) -> FloatArray:
    """Where a line between flat and ground ends, mm from the edge, (m,); colour: (m, n, 3) at x (n,); nan: no line."""
    flat = colour[:, (x > -0.20) & (x < -0.10)].mean(1, keepdims=True)
    ground = colour[:, (x > 0.10) & (x < 0.18)].mean(1, keepdims=True)
    step = flat - ground
    size = np.linalg.norm(step, axis=2)
    part = np.clip(np.sum((colour - ground) * step, 2) / np.maximum(size, 1e-6) ** 2, 0, 1)
    beside = np.linalg.norm(colour - ground - part[..., None] * step, axis=2)  # neither flat, ground nor a mixture
    noise = np.hypot(_roughness(colour, x, -0.22, -0.09), _roughness(colour, x, 0.10, 0.19))
    beside = np.where(np.abs(x) < 0.09, beside, 0.0)
    rows, top = np.arange(len(colour)), beside.argmax(1)
    stands = beside[rows, top] >= np.maximum(np.maximum(LINE_SHARE * size[:, 0], LINE_NOISES * noise), LINE_LEVELS)
    away = np.linalg.norm(colour - ground, axis=2)
    half = away[rows, top] / 2
    below = (away < half[:, None]) & (np.arange(len(x)) > top[:, None])
    k = np.where(below.any(1), below.argmax(1), 1)
    drop = away[rows, k - 1] - away[rows, k]
    end = x[k - 1] + (away[rows, k - 1] - half) / np.where(drop > 0, drop, 1.0) * (x[k] - x[k - 1])
    return np.where(stands & below.any(1) & (x[k] <= 0.09), end, np.nan)


def _roughness(colour: FloatArray, x: FloatArray, low: float, high: float) -> FloatArray:
    """Scatter of the colours (m, n, 3) about a straight course between two places, (m,)."""
    mine = (x > low) & (x < high)
    rows = np.stack([np.ones(int(mine.sum())), x[mine]], 1)
    left = colour[:, mine] - (rows @ np.linalg.pinv(rows)) @ colour[:, mine]
    return np.asarray(np.linalg.norm(left, axis=2).std(1))


def _seen(pixels: Pixels, u: FloatArray, v: FloatArray) -> FloatArray:
    """Colours (n, m, 3) at pixels u and v, each (n, m) float32."""
    cv2 = opencv()
    return np.asarray(cv2.remap(pixels, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _wall_hidden(phi: FloatArray, radius_mm: float, eye: tuple[float, float]) -> Any:
    """The wall at a rim point is seen from outside its tangent only."""
    return eye[0] * np.cos(phi) + eye[1] * np.sin(phi) < 0.97 * radius_mm


def edge_slopes(pixels: Pixels, plane: Plane, phi: FloatArray, r: FloatArray) -> FloatArray:
    """How fast the colour changes along r, (angles, radii), in grey levels a step."""
    colour = _seen(pixels, *plane.polar_px(r, phi))
    colour = opencv().GaussianBlur(colour, (0, 0), sigmaX=1.5, sigmaY=0.8)
    change = np.zeros_like(colour)
    change[:, 1:-1] = (colour[:, 2:] - colour[:, :-2]) / 2
    return np.asarray(np.sqrt(np.einsum("nmc,nmc->nm", change, change)))


def _outermost(slope: FloatArray, r: FloatArray) -> tuple[FloatArray, Any]:
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


def _finder_px_mm(plane: Plane) -> float:
    """A pixel of the frame that the finder looked at, on the face."""
    at = plane.to_px(np.array([[0.0, 0.0], [0.1, 0.0]]))
    return max(plane.size) / FRAME_PX * 0.1 / float(np.linalg.norm(at[1] - at[0]))


def _circle_among(radii: FloatArray, radius_mm: float, reach_mm: float) -> float | None:
    """The outermost radius at which a good part of the edges gather: a gear's tips lie outside its roots.

    Shadows and marks of the ground gather farther out than the coarse outline leaves in doubt.
    """
    if len(radii) < 40:
        return None
    grid = np.arange(radii.min(), radii.max() + 0.01, 0.01)
    density = np.exp(-0.5 * ((grid[:, None] - radii) / 0.03) ** 2).sum(1) / len(radii)
    top = [k for k in range(len(grid)) if density[k] == density[max(0, k - 8) : k + 9].max()]
    near = [k for k in top if abs(grid[k] - radius_mm) < reach_mm]
    least = 0.4 * max((density[k] for k in near), default=1.0)
    good = [k for k in near if density[k] > max(least, 0.08)]
    return float(grid[max(good)]) if good else None
