"""The disc in the photo, coarsely: rim ellipse, arbor's centre and stop slot, from the finder network.

The outline of the network's face mask gives the ellipse, fitted so that a covered stretch of rim does no harm. Exact
edges follow once the plane is known (outline.py, slot.py).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from disc.errors import BadInput
from disc.frame import FloatArray
from disc.photo.image import Photo, Pixels, opencv, shrunk
from disc.photo.marks.networks import FRAME_PX, FrameHeat, ask_finder
from disc.photo.plate.ellipse import Ellipse, fit_ellipse

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# A camera tilted by 45 degrees makes axes 1 : 0.71; steeper photographs show nothing of the pins.
FLATTEST = 0.66
# The finder marks its centre and slot with a heat near 1 where it is sure (0.6-1.0 on the development photographs).
HEAT_SEEN = 0.20
NOTHING_HERE = (
    "nothing here looks like a pinned disc. Fill the frame with the disc on a plain ground of another colour, or name "
    "five points or more of its rim with --rim-upper or --rim-lower."
)
# Of a disc that the frame cuts off, what stays of its outline lies on an ellipse all the same: 0.4 is a third cut off.
MOST_STRAY = 0.40
SMALLEST_PART = 0.10  # of the frame's longer side, the disc's least width that can be worked with


@dataclass(frozen=True, slots=True)
class CoarsePlate:
    """The coarse plate, in photo pixels. centre, slot: (u, v); slot None where none was seen. outline: (n, 2).

    centre_seen: else the centre is but the ellipse's middle, which a slant moves.
    """

    ellipse: Ellipse
    centre: tuple[float, float]
    slot: tuple[float, float] | None
    slot_heat: float
    outline: FloatArray
    covered: float
    centre_seen: bool = True

    @property
    def centre_px(self) -> FloatArray | None:
        """(2,); None where it was not seen."""
        return np.asarray(self.centre, float) if self.centre_seen else None


def find_plate(photo: Photo) -> CoarsePlate:
    """The disc. Raises BadInput if none is seen, or it is cut off at the frame."""
    first = _look(photo, (0.0, 0.0, float(max(photo.width, photo.height))))
    if first is None:
        raise BadInput(f"{photo.path}: {NOTHING_HERE}")
    _refuse_cut_off(photo, first)
    e = first.ellipse
    # A closer look at the disc alone sharpens everything where it fills little of the frame.
    side = 2.24 * e.a
    if side < 0.8 * max(photo.width, photo.height):
        second = _look(photo, (e.u - side / 2, e.v - side / 2, side))
        if second is not None and abs(second.ellipse.a / e.a - 1) < 0.15:
            return second
    return first


def plate_by_hand(photo: Photo, rim: tuple[tuple[float, float], ...]) -> CoarsePlate:
    """The disc from five or more rim points (u, v) that a person named; centre and slot still from the picture."""
    points = np.asarray(rim, float)
    ellipse = fit_ellipse(points[:, 0], points[:, 1]) if len(points) >= 5 else None
    if ellipse is None or ellipse.b < FLATTEST * ellipse.a:
        raise BadInput(
            f"{photo.path}: the points given with --rim do not lie on an ellipse; name five or more of them."
        )
    side = 2.24 * ellipse.a
    seen = _look(photo, (ellipse.u - side / 2, ellipse.v - side / 2, side))
    t = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    outline = np.stack(ellipse.point(t), 1)
    if seen is None:
        return CoarsePlate(ellipse, (ellipse.u, ellipse.v), None, 0.0, outline, 0.0, centre_seen=False)
    return replace(seen, ellipse=ellipse, outline=outline, covered=0.0)


def _look(photo: Photo, window: tuple[float, float, float]) -> CoarsePlate | None:
    """Ask the finder about a square window (u, v of its corner, side) of the photo."""
    small, scale = _window(photo.pixels, window)
    heat = ask_finder(small)
    contour = _outline(heat.face)
    if contour is None:
        return None
    u0, v0, _ = window
    # A cell of the answer covers 2 x 2 px of the small copy, which covers 1 / scale each of the photo.
    points = ((contour * 2 + 0.5) + 0.5) / scale - 0.5 + np.array([u0, v0])
    fitted = robust_ellipse(points)
    if fitted is None or fitted[0].b < FLATTEST * fitted[0].a:
        return None
    ellipse, on = fitted
    if 2 * ellipse.a < SMALLEST_PART * max(photo.width, photo.height):
        return None

    def place(field: FloatArray) -> tuple[float, float, float]:
        i, j, top = _peak(field)
        return ((i * 2 + 0.5) + 0.5) / scale - 0.5 + u0, ((j * 2 + 0.5) + 0.5) / scale - 0.5 + v0, top

    cu, cv, c_heat = place(heat.centre)
    su, sv, s_heat = place(_near_rim(heat, ellipse, scale, (u0, v0)))
    centre = (cu, cv) if c_heat > HEAT_SEEN else (ellipse.u, ellipse.v)
    slot = (su, sv) if s_heat > HEAT_SEEN else None
    return CoarsePlate(ellipse, centre, slot, s_heat, points[on], float(1 - np.mean(on)), c_heat > HEAT_SEEN)


def _window(pixels: Pixels, window: tuple[float, float, float]) -> tuple[Pixels, float]:
    """The window at FRAME_PX a side and its scale; what lies outside the photo stays grey."""
    cv2 = opencv()
    u0, v0, side = window
    scale = FRAME_PX / side
    if u0 == 0 and v0 == 0:
        return _shrunk(pixels, scale), scale
    a, b = max(0, round(u0)), max(0, round(v0))
    part = pixels[b : round(v0 + side), a : round(u0 + side)]
    small = _shrunk(part, scale)  # warping alone would alias
    move = np.array([[1.0, 0.0, (a - u0) * scale], [0.0, 1.0, (b - v0) * scale]])
    return cv2.warpAffine(small, move, (FRAME_PX, FRAME_PX), borderValue=(128, 128, 128)), scale


def _shrunk(pixels: Pixels, scale: float) -> Pixels:
    width, height = (max(1, round(size * scale)) for size in pixels.shape[1::-1])
    return shrunk(pixels, width, height)


def _outline(face: FloatArray) -> FloatArray | None:
    """The half-way line of the largest face area, (n, 2) in cells, to a fraction of a cell; None if there is none."""
    cv2 = opencv()
    grow = 4
    big = cv2.resize(face.astype(np.float32), None, fx=grow, fy=grow, interpolation=cv2.INTER_CUBIC)
    contours, _ = cv2.findContours((big > 0.5).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    best = max(contours, key=cv2.contourArea)
    if cv2.contourArea(best) < (0.06 * big.shape[0]) ** 2:
        return None
    return (best[:, 0].astype(float) + 0.5) / grow - 0.5


def robust_ellipse(points: FloatArray) -> tuple[Ellipse, Any] | None:
    """An ellipse through most of the points, and which of them lie on it. points: (n, 2)."""
    rng = np.random.default_rng(0)
    u, v = points[:, 0], points[:, 1]
    size = float(np.hypot(np.ptp(u), np.ptp(v)))
    tolerance = 0.006 * size
    best: tuple[int, Ellipse] | None = None
    n = len(points)
    for k in range(60):
        start = rng.integers(n)
        # The first try takes all points; later ones a random arc of a third to all of the outline.
        pick = np.arange(n) if k == 0 else (start + rng.permutation(int(n * rng.uniform(0.35, 1.0)))[:24]) % n
        ellipse = fit_ellipse(u[pick], v[pick])
        if ellipse is None or not 0.1 * size < ellipse.a < size:
            continue
        count = int(np.sum(np.abs(ellipse.distance(u, v)) < tolerance))
        if best is None or count > best[0]:
            best = (count, ellipse)
        if k == 0 and count > 0.97 * n:
            break
    if best is None:
        return None
    ellipse = best[1]
    on = np.abs(ellipse.distance(u, v)) < tolerance
    for _ in range(3):
        better = fit_ellipse(u[on], v[on])
        if better is None:
            break
        ellipse, before = better, on
        on = np.abs(ellipse.distance(u, v)) < tolerance
        if np.array_equal(on, before):
            break
    return ellipse, on


def _peak(field: FloatArray) -> tuple[float, float, float]:
    """(x, y, height) of the highest place, to a fraction of a cell by the centre of mass about it."""
    j, i = np.unravel_index(int(np.argmax(field)), field.shape)
    top = float(field[j, i])
    a, b = max(0, j - 2), max(0, i - 2)
    part = np.maximum(field[a : j + 3, b : i + 3] - 0.2 * top, 0)
    ys, xs = np.mgrid[a : a + part.shape[0], b : b + part.shape[1]]
    total = part.sum() or 1.0
    return float((xs * part).sum() / total), float((ys * part).sum() / total), top


def _near_rim(heat: FrameHeat, ellipse: Ellipse, scale: float, corner: tuple[float, float]) -> FloatArray:
    """The slot's heat where a slot can be: between 0.85 and 1.05 radii."""
    j, i = np.mgrid[0 : heat.slot.shape[0], 0 : heat.slot.shape[1]]
    u, v = (i * 2 + 1.0) / scale - 0.5 + corner[0], (j * 2 + 1.0) / scale - 0.5 + corner[1]
    far = ellipse.distance(u, v)
    return np.where((far > -0.15 * ellipse.a) & (far < 0.05 * ellipse.a), heat.slot, 0)


def _refuse_cut_off(photo: Photo, found: CoarsePlate) -> None:
    u, v = found.ellipse.point(np.linspace(0, 2 * np.pi, 120))
    out = float(np.maximum(np.maximum(-u, u - photo.width), np.maximum(-v, v - photo.height)).max())
    if out > 0.012 * found.ellipse.a:
        if found.covered > MOST_STRAY:
            raise BadInput(f"{photo.path}: {NOTHING_HERE}")
        part = out / (2 * found.ellipse.a) * 100
        raise BadInput(
            f"{photo.path}: the disc is cut off at the frame's edge (about {max(part, 1):.0f} % of its width). Take "
            "the photo again with the whole disc and a little of the ground around it."
        )
