"""What is known of a flatbed scanner's picture, and what its own marks say against it.

A scanner draws without perspective (one with a lens: with next to none, and along its bar only), to the resolution that
the file names, in two directions that are driven by two different things: the bar's cells and the carriage's motor. The
rim, a circle, checks the one against the other.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from disc.errors import BadInput
from disc.frame import FloatArray
from disc.photo.image import Photo, opencv
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.known_lens import KnownLens
from disc.photo.plane.view import View, apply_homography
from disc.photo.plate.find_plate import find_plate
from disc.photo.plate.outline import rim_points

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# As a camera very far away: so many picture widths; how surely it has no distortion and no vanishing line.
FAR_WIDTHS, FAR_DOUBT, K1_DOUBT, LINE_DOUBT = 40.0, 0.5, 0.0005, 2e-5
COARSEST_PX_PER_MM = 20.0  # 500 dpi: a pin is five pixels thick
UNEVEN = 0.0008  # of the two directions, 0.01 mm at the rim: from here it is put right
RESOLUTION_TRUE = 0.003  # within which a file's resolution holds (common practice, no source: 0.1 to 0.3 %)
BLURRED_MM, PARALLAX_MM = 0.10, 0.03  # width of the rim's edge; upright pins as drawn: from here it is said


def as_scan(photo: Photo) -> Photo:
    """The photo with what is known of a scanner in the place of a lens. Raises BadInput for one too coarse."""
    if photo.px_per_mm is not None and photo.px_per_mm < COARSEST_PX_PER_MM:
        raise BadInput(
            f"{photo.path}: a scan at {photo.px_per_mm * 25.4:.0f} dpi is too coarse to tell pins. Scan at 1200 dpi."
        )
    weight = np.diag([1 / FAR_DOUBT**2, 0, 0, 1 / K1_DOUBT**2, 1 / LINE_DOUBT**2, 1 / LINE_DOUBT**2])
    weight[1, 1] = weight[2, 2] = 1.0
    value = np.array([np.log(FAR_WIDTHS), 0.0, 0.0, 0.0, 0.0, 0.0])
    return replace(photo, lens=KnownLens(value, weight), focal_px=None, scanned=True)


def diameter_by_resolution(photo: Photo) -> tuple[float, float] | None:
    """The disc's diameter and its sigma, mm, by the file's resolution; None where the file names none."""
    if photo.px_per_mm is None:
        return None
    found = find_plate(photo)
    size = np.sqrt(found.ellipse.a * found.ellipse.b) / photo.px_per_mm
    first = Plane(_squarely(photo.px_per_mm, found.ellipse.u, found.ellipse.v), 0.0, (photo.width, photo.height))
    rim, scatter = rim_points(photo.pixels, first, size, None)
    if len(rim) > 100:
        size = float(np.median(np.hypot(*first.to_mm(rim).T)))
    return 2 * size, 2 * float(np.hypot(size * RESOLUTION_TRUE / 2, scatter / 4))


def _squarely(px_per_mm: float, u: float, v: float) -> FloatArray:
    return np.array([[px_per_mm, 0.0, u], [0.0, -px_per_mm, v], [0.0, 0.0, 1.0]])


def longer_across(photo: Photo, radius_mm: float) -> float | None:
    """How much longer the scanner drew across than down, as a part; None where the rim does not tell it."""
    found = find_plate(photo)
    e = found.ellipse
    scale = float(np.sqrt(e.a * e.b)) / radius_mm
    first = Plane(_squarely(scale, e.u, e.v), 0.0, (photo.width, photo.height))
    rim, _ = rim_points(photo.pixels, first, radius_mm, None)
    return _longer_across(first.to_mm(rim)) if len(rim) >= 100 else None


def evened(photo: Photo, longer: float) -> tuple[Photo, float]:
    """The photo with both directions to one scale, and by how much it was put right (0: left as it was)."""
    if abs(longer) < UNEVEN:
        return photo, 0.0
    size = (round(photo.width / (1 + longer)), photo.height)
    exact = (photo.width / size[0]) - 1  # whole pixels
    pixels = opencv().resize(photo.pixels, size, interpolation=opencv().INTER_AREA)
    return replace(photo, pixels=np.asarray(pixels)), exact


def _longer_across(mm: FloatArray) -> float:
    """By how much the rim's points (n, 2) are drawn out across: the second harmonic of their radii, robustly."""
    phi = np.arctan2(mm[:, 1], mm[:, 0])
    r = np.hypot(*mm.T)
    rows = np.stack([np.ones_like(phi), np.cos(phi), np.sin(phi), np.cos(2 * phi), np.sin(2 * phi)], 1)
    weight = np.ones_like(r)
    fit = np.zeros(5)
    for _ in range(8):
        fit = np.linalg.lstsq(rows * weight[:, None], r * weight, rcond=None)[0]
        left = r - rows @ fit
        weight = 1 / (1 + (left / (2.5 * max(1.4826 * float(np.median(np.abs(left))), 0.004))) ** 2)
    return float(2 * fit[3] / fit[0])


def in_original_pixels(view: View, photo: Photo, original: Photo) -> View:
    """A view of an evened picture told in the original's pixels."""
    if photo.width == original.width:
        return view
    part = original.width / photo.width
    wider = np.array([[part, 0.0, (part - 1) / 2], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    matrix = wider @ view.matrix
    return replace(
        view, width_px=original.width, plane_to_px=tuple(float(x) for x in (matrix / matrix[2, 2]).ravel()), k1=0.0
    )


def judged(view: View, edge_mm: float, shown_mm: float, longer: float, photo: Photo) -> tuple[str, ...]:
    """Words about a scan. edge_mm: width of the rim's edge; shown_mm: how long upright pins are drawn, r.m.s."""
    words = []
    if photo.px_per_mm is not None:
        u, v = apply_homography(view.matrix, np.array([0.0, 1.0]), np.zeros(2))
        off = float(np.hypot(u[1] - u[0], v[1] - v[0])) / photo.px_per_mm - 1
        if abs(off) > 2 * RESOLUTION_TRUE:
            words.append(
                f"by the scan's resolution the disc is {2 * view.radius_mm * (1 + off):.2f} mm across, the job says "
                f"{2 * view.radius_mm:.2f} mm: measure it again with a caliper."
            )
    if longer:
        words.append(
            f"the scanner draws {abs(longer) * 100:.2f} % longer {'across' if longer > 0 else 'down'}: put right."
        )
    if edge_mm > BLURRED_MM:
        words.append(
            f"the scan is blurred ({edge_mm:.2f} mm at the rim): pins lift the plate off the glass. Use a scanner "
            "with a lens (CCD), or photograph this side."
        )
    if shown_mm > PARALLAX_MM:
        words.append(
            f"pins are drawn {shown_mm:.2f} mm long: the scanner looks aslant there, or the plate does not lie flat. "
            "Their places were put right by what all pins share."
        )
    return tuple(words)
