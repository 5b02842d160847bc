"""The plane made exact: the right one makes the pins' radii fall on few sharp tracks and the rim a circle of its size.

Unknown is a small projective correction of the plane (stretch, shear, shift, perspective, not the turn) and the lens's
distortion. Pins vote with their distance from the nearest track, tracks being the heaps of radii themselves; rim edges
with their distance from the rim. Solved by robust Gauss-Newton steps while the heaps sharpen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from disc.frame import FloatArray
from disc.photo.plane.correction import CORRECTION_PARTS, Carried, best_step, corrected, correction, in_mm
from disc.photo.plane.face_plane import Plane

# Scatter of pins about their track, mm: setting error of good work, about 0.02 mm (common practice, no source).
SETTING_MM = 0.02
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# How far the parameters of the correction may be expected from nothing, in units of the radius: one sigma each for
# common stretch, two shears, two shifts, two perspectives; then lens distortion (half-diagonal units, phone lenses
# after their own correction stay within some per cent).
EXPECTED = np.array([0.20, 0.02, 0.02, 0.03, 0.03, 0.03, 0.03, 0.006])
# Kernel widths in turn, mm: from what a first plane leaves to what a good one does.
WIDTHS_MM = (0.12, 0.08, 0.06, 0.05, 0.04, 0.03)
FEWEST_PINS = 8  # on tracks, or tracks are not used: as many as the correction has numbers
# The rim's errors run together along it: which side of a broken edge shows depends on the light. All its points speak
# like this many independent ones, none of them better than this (half a bevel and more).
RIM_VOICES, RIM_FLOOR_MM = 12.0, 0.03
RIM_OFF_MM = 0.008  # sigma of the rim's middle off the tracks', per axis; chosen by hand, not fitted
# The finder's sight of the arbor's centre on rendered faces, per axis; a bore is told better, an arbor's square worse.
# It holds the plane where the pins are too few, or too many of them none.
CENTRE_MM = 0.09
# A perspective this far from the plane's own, in units of the radius, comes from marks that are no pins.
WRONG_PERSPECTIVE = 0.02


@dataclass(frozen=True, slots=True)
class SettledPlane:
    """plane; tracks_mm, sorted; scatter_mm of pins about them."""

    plane: Plane
    tracks_mm: tuple[float, ...]
    scatter_mm: float


@dataclass(frozen=True, slots=True)
class Perspective:
    """How fast the scale should grow across the face, in units of the radius, and how sure that is.

    A pinhole looking at the picture's middle cannot show just any perspective: it runs along the tilt, and its strength
    follows from tilt and distance. gx, gy: its vector; sigma along it and across it.
    """

    gx: float
    gy: float
    sigma_along: float
    sigma_across: float


def _perspective_rows(
    plane: Plane, theta: FloatArray, radius_mm: float, wanted: Perspective
) -> tuple[FloatArray, FloatArray]:
    back = np.linalg.inv(in_mm(correction(theta), radius_mm))
    depth = plane.plane_to_px[2] @ back
    here = depth[:2] / depth[2] * radius_mm
    # Of the inverse of c each part moves -inverse part inverse.
    moved = -(depth @ in_mm(CORRECTION_PARTS, radius_mm)) @ back
    slopes = np.zeros((2, 8))
    slopes[:, :7] = ((moved[:, :2] * radius_mm - here * moved[:, 2:]) / depth[2]).T
    aim = np.array([wanted.gx, wanted.gy])
    size = float(np.hypot(*aim))
    along = aim / size if size > 1e-9 else np.array([1.0, 0.0])
    frame = np.array([along / wanted.sigma_along, np.array([-along[1], along[0]]) / wanted.sigma_across])
    frame = frame / (1 + np.sum((aim - here) ** 2) / WRONG_PERSPECTIVE**2)
    return frame @ slopes, frame @ (aim - here)


def settle(
    plane: Plane,
    radius_mm: float,
    pins_px: FloatArray,
    sigma_mm: FloatArray,
    rim_px: FloatArray,
    rim_sigma_mm: float,
    widths: tuple[float, ...] = WIDTHS_MM,
    perspective: Perspective | None = None,
    centre_px: FloatArray | None = None,
    k1_sigma: float = float(EXPECTED[7]),
) -> SettledPlane:
    """pins_px: roots (n, 2), photo pixels; sigma_mm (n,). rim_px: points (m, 2) of the rim's circle.

    perspective: what the slant of the pins lets expect of it. centre_px: (2,) where the arbor's centre was seen.
    k1_sigma: how far the plane's own distortion may be off.
    """
    expected = np.append(EXPECTED[:7], k1_sigma)
    theta = np.zeros(8)
    rim_off = np.zeros(2)  # the rim seen beside its true place: broken edges, one side bright, one dark
    spread = np.hypot(sigma_mm, SETTING_MM)
    use_tracks = len(pins_px) >= FEWEST_PINS
    pins, rim = Carried(plane, radius_mm, pins_px), Carried(plane, radius_mm, rim_px)
    centre = None if centre_px is None else Carried(plane, radius_mm, centre_px[None])
    way = plane.to_mm(rim_px)
    way = way / np.linalg.norm(way, axis=1, keepdims=True)
    rim_weight = np.sqrt(min(1.0, RIM_VOICES / max(len(rim_px), 1)))
    rim_sigma_mm = max(rim_sigma_mm, RIM_FLOOR_MM)
    for width in widths:
        rows, values = [np.diag(1 / expected)], [-theta / expected]
        if perspective is not None:
            row, value = _perspective_rows(plane, theta, radius_mm, perspective)
            rows.append(row)
            values.append(value)
        if centre is not None:
            row, value = centre_rows(*centre.mm(theta))
            rows.append(row)
            values.append(value)
        if use_tracks:
            row, value = _track_rows(*pins.radii(theta), spread, width)
            rows.append(row)
            values.append(value)
        rows = [np.hstack([row, np.zeros((len(row), 2))]) for row in rows]
        rows.append(np.hstack([np.zeros((2, 8)), np.eye(2) / RIM_OFF_MM]))
        values.append(-rim_off / RIM_OFF_MM)
        if len(rim_px):
            r, dr = rim.radii(theta)
            miss = r - radius_mm - way @ rim_off
            w = rim_weight / rim_sigma_mm / (1 + (miss / (2.5 * rim_sigma_mm)) ** 2)
            rows.append(np.hstack([-dr, way]) * w[:, None])
            values.append(miss * w)
        step, _ = best_step(np.vstack(rows), np.concatenate(values))
        theta = theta + np.clip(step[:8], -0.05, 0.05)
        rim_off = rim_off + np.clip(step[8:], -0.05, 0.05)
    better = corrected(plane, theta, radius_mm)
    r = np.hypot(*better.to_mm(pins_px).T) if len(pins_px) else np.zeros(0)
    label, tracks = heaps(r, 1 / spread**2, widths[-1])
    left = r - tracks[label]
    return SettledPlane(better, tuple(tracks.tolist()), float(1.4826 * np.median(np.abs(left))) if len(left) else 0.0)


def centre_rows(mm: FloatArray, slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Rows (2, 8) and values (2,) for where the arbor's centre was seen, mm (2, 1) with slopes (8, 2, 1)."""
    w = 1 / CENTRE_MM / (1 + np.sum((mm / (2 * CENTRE_MM)) ** 2))
    return slopes[..., 0].T * w, -mm[:, 0] * w


def heaps(radii: FloatArray, weight: FloatArray, width: float) -> tuple[Any, FloatArray]:
    """Radii heaped into tracks: (index of the track for each, tracks in order), by the peaks of a kernel density."""
    if not len(radii):
        return np.zeros(0, int), np.zeros(0)
    step = 0.01
    grid = np.arange(radii.min() - 0.2, radii.max() + 0.2, step)
    cell = (radii - grid[0]) / step
    low = cell.astype(int)
    part = cell - low
    fill = np.bincount(low, weight * (1 - part), len(grid)) + np.bincount(low + 1, weight * part, len(grid))
    kernel = np.exp(-0.5 * (np.arange(-4 * width, 4.001 * width, step) / width) ** 2)
    density = np.convolve(fill, kernel, "same")
    peaks = grid[np.nonzero((density[1:-1] >= density[:-2]) & (density[1:-1] > density[2:]))[0] + 1]
    label = np.searchsorted((peaks[1:] + peaks[:-1]) / 2, radii)
    used = np.bincount(label, minlength=len(peaks)) > 0
    peaks, label = peaks[used], (np.cumsum(used) - 1)[label]
    # Where none of a heap's radii is near its peak, all of them count.
    near = np.abs(radii - peaks[label]) < 3 * width
    take = near | (np.bincount(label, near) == 0)[label]
    share = weight * take
    return label, np.bincount(label, share * radii) / np.bincount(label, share)


def about_means(label: Any, weight: FloatArray, values: FloatArray) -> FloatArray:
    """values (n, ...) less their heaps' means under weights (n,). label: (n,) of heaps, each of which has some."""
    share = (label == np.arange(label.max() + 1)[:, None]) * weight
    share = share / share.sum(1, keepdims=True)
    return np.asarray(values - (share @ values)[label])


def _track_rows(
    radii: FloatArray, slopes: FloatArray, spread: FloatArray, width: float
) -> tuple[FloatArray, FloatArray]:
    """Rows of the normal problem: each pin against its heap's mean, the mean moving along."""
    label, tracks = heaps(radii, 1 / spread**2, width)
    left = radii - tracks[label]
    total = np.hypot(spread, 0.5 * width)
    w = 1 / total / (1 + (left / (2.0 * np.hypot(spread, width))) ** 2)
    both = about_means(label, w**2, np.column_stack([radii, slopes])) * w[:, None]
    return -both[:, 1:], both[:, 0]
