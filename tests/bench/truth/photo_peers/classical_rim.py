"""The disc's rim in the picture: a coarse search over the whole frame.

Edges of a small copy vote along their slope for a common middle (spun marks, hub, tracks and rim share it). Around each
of the best middles, ellipses are tried through few edge points; the one is kept whose outline is edge all the way
round and that parts two colours, inside from outside. Exact edges follow in outline.py once the plane is known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.errors import BadInput
from disc.frame import FloatArray
from disc.photo.image import Photo, Pixels, opencv
from disc.photo.plate.ellipse import Ellipse, fit_ellipse

BoolArray = npt.NDArray[np.bool_]
SMALL_SIDE_PX = 480  # of the small copy; a rim 0.3 of the frame across is still 150 px wide there
# A camera tilted by 40 degrees makes axes 1 : 0.77; steeper photographs are useless for pins anyway.
FLATTEST = 0.70
SECTORS = 72  # of 5 degrees, in which the outline must show an edge
ON_EDGE_PX = 1.6  # of the small copy, half the width of its blurred edges


@dataclass(frozen=True, slots=True)
class Rim:
    """The coarse rim. ellipse: in photo pixels. support: part of the outline that shows an edge, 0 to 1."""

    ellipse: Ellipse
    support: float


@dataclass(frozen=True, slots=True)
class _Edges:
    """Edge points of the small copy, shape (n,) each: place, unit slope, strength."""

    x: FloatArray
    y: FloatArray
    nx: FloatArray
    ny: FloatArray


def find_rim(photo: Photo, by_hand: tuple[tuple[float, float], ...] = ()) -> Rim:
    """The rim. by_hand: photo pixels on it named by a person (five or more fix it by themselves).

    Raises BadInput if no disc is seen or it is cut off by the frame.
    """
    if len(by_hand) >= 5:
        points = np.asarray(by_hand, float)
        fitted = fit_ellipse(points[:, 0], points[:, 1])
        if fitted is None or fitted.b < FLATTEST * 0.5 * fitted.a:
            raise BadInput(f"{photo.path}: the points given with --rim do not lie on an ellipse. Name them again.")
        return Rim(fitted, 1.0)
    small, scale = shrink(photo.pixels, SMALL_SIDE_PX)
    edges = _edges(small)
    best = _best_ellipse(edges, small)
    if best is None:
        raise BadInput(
            f"{photo.path}: no disc is seen in this photo. Fill the frame with the disc, or name five points of its "
            "rim with --rim."
        )
    ellipse, support = best
    _refuse_cut_off(photo, ellipse, scale)
    half = (1 / scale - 1) / 2  # middles of the small copy's pixels, in those of the photo
    return Rim(
        Ellipse(
            ellipse.u / scale + half, ellipse.v / scale + half, ellipse.a / scale, ellipse.b / scale, ellipse.angle_rad
        ),
        support,
    )


def shrink(pixels: Pixels, side_px: int) -> tuple[Pixels, float]:
    """A small copy and its scale (small / original)."""
    cv2 = opencv()
    scale = side_px / max(pixels.shape[:2])
    return cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), scale


def _edges(small: Pixels) -> _Edges:
    cv2 = opencv()
    lab = cv2.GaussianBlur(cv2.cvtColor(small, cv2.COLOR_BGR2LAB).astype(np.float32), (0, 0), 1.0)
    gx = np.stack([cv2.Scharr(lab[..., k], cv2.CV_32F, 1, 0) for k in range(3)], -1)
    gy = np.stack([cv2.Scharr(lab[..., k], cv2.CV_32F, 0, 1) for k in range(3)], -1)
    which = np.argmax(gx**2 + gy**2, -1)[..., None]
    gx, gy = np.take_along_axis(gx, which, -1)[..., 0], np.take_along_axis(gy, which, -1)[..., 0]
    size = np.hypot(gx, gy)
    ridge = _ridge(size, gx, gy)
    # Strength is judged against the neighbourhood, so that a dim rim counts beside bright engraving.
    around = cv2.blur(size, (41, 41)) + 2.0
    strength = np.where(ridge, size / around, 0)
    keep = strength > max(1.2, float(np.quantile(strength[strength > 0], 0.35)) if np.any(strength > 0) else 1.2)
    y, x = np.nonzero(keep)
    length = size[y, x]
    return _Edges(x.astype(float), y.astype(float), gx[y, x] / length, gy[y, x] / length)


def _ridge(size: FloatArray, gx: FloatArray, gy: FloatArray) -> BoolArray:
    """Whether a pixel's slope is the largest along its direction."""
    pad = np.pad(size, 1)
    h, w = size.shape
    ax, ay = np.abs(gx), np.abs(gy)

    def at(dy: int, dx: int) -> FloatArray:
        return pad[1 + dy : 1 + dy + h, 1 + dx : 1 + dx + w]

    across = np.select(
        [ax > 2.414 * ay, ay > 2.414 * ax, gx * gy > 0],
        [np.maximum(at(0, 1), at(0, -1)), np.maximum(at(1, 0), at(-1, 0)), np.maximum(at(1, 1), at(-1, -1))],
        np.maximum(at(1, -1), at(-1, 1)),
    )
    return size >= across


def _middles(edges: _Edges, shape: tuple[int, ...]) -> list[tuple[float, float]]:
    """Where the slopes' lines meet most: the three best places, in pixels of the small copy."""
    cv2 = opencv()
    step = 3.0
    h, w = int(shape[0] / step) + 1, int(shape[1] / step) + 1
    votes = np.zeros(h * w, np.float32)
    reach = np.arange(0.06 * max(shape[:2]), 0.62 * max(shape[:2]), step)
    for sign in (-1.0, 1.0):
        x = ((edges.x[:, None] + sign * edges.nx[:, None] * reach) / step).astype(np.int32)
        y = ((edges.y[:, None] + sign * edges.ny[:, None] * reach) / step).astype(np.int32)
        inside = (x >= 0) & (x < w) & (y >= 0) & (y < h)
        votes += np.bincount((y * w + x)[inside], minlength=h * w).astype(np.float32)
    field = cv2.GaussianBlur(votes.reshape(h, w), (0, 0), 2.5)
    field /= cv2.GaussianBlur(field, (0, 0), 14.0) + 0.15 * field.max()
    found = []
    for _ in range(3):
        j, i = np.unravel_index(int(np.argmax(field)), field.shape)
        found.append((float((i + 0.5) * step), float((j + 0.5) * step)))
        field[max(0, j - 6) : j + 7, max(0, i - 6) : i + 7] = 0
    return found


def _best_ellipse(edges: _Edges, small: Pixels) -> tuple[Ellipse, float] | None:
    cv2 = opencv()
    lab = cv2.GaussianBlur(cv2.cvtColor(small, cv2.COLOR_BGR2LAB).astype(np.float32), (0, 0), 1.5)
    rng = np.random.default_rng(0)
    best: tuple[float, Ellipse, float] | None = None
    for cx, cy in _middles(edges, small.shape):
        for ellipse, support in _ellipses_about(edges, cx, cy, rng, max(small.shape[:2])):
            score = support * (0.15 + _contrast(lab, ellipse)) * (ellipse.a * ellipse.b) ** 0.25
            if best is None or score > best[0]:
                best = (score, ellipse, support)
    if best is None or best[2] < 0.35:
        return None
    return best[1], best[2]


def _ellipses_about(
    edges: _Edges, cx: float, cy: float, rng: np.random.Generator, side: int
) -> list[tuple[Ellipse, float]]:
    """Well supported ellipses near a middle, the best of each size."""
    dx, dy = edges.x - cx, edges.y - cy
    r = np.hypot(dx, dy)
    facing = np.abs(dx * edges.nx + dy * edges.ny) / np.maximum(r, 1e-6)
    use = (facing > 0.86) & (r > 0.12 * side) & (r < 0.62 * side)
    x, y, r = edges.x[use], edges.y[use], r[use]
    nx, ny = edges.nx[use], edges.ny[use]
    if len(x) < 60:
        return []
    angle = np.arctan2(dy[use], dx[use])
    found: dict[int, tuple[Ellipse, float]] = {}
    order = np.argsort(r)
    for _ in range(500):
        seed = int(rng.integers(len(x)))
        near = order[np.searchsorted(r[order], 0.85 * r[seed]) : np.searchsorted(r[order], 1.18 * r[seed])]
        if len(near) < 30:
            continue
        part = rng.uniform(-np.pi, np.pi) + np.arange(6) * np.pi / 3
        picks = [_pick(near, angle, at, rng) for at in part]
        chosen = np.array([p for p in picks if p is not None] + [seed])
        ellipse = fit_ellipse(x[chosen], y[chosen]) if len(chosen) >= 6 else None
        if not _plausible(ellipse, cx, cy, side) or ellipse is None:
            continue
        support = _support(ellipse, x, y, nx, ny)
        size = int(np.log(ellipse.a) * 25)
        if support > 0.3 and (size not in found or support > found[size][1]):
            found[size] = (ellipse, support)
    return [_polish(ellipse, x, y, nx, ny) for ellipse, _ in found.values()]


def _pick(near: npt.NDArray[np.intp], angle: FloatArray, at: float, rng: np.random.Generator) -> int | None:
    gap = np.abs((angle[near] - at + np.pi) % (2 * np.pi) - np.pi)
    inside = near[gap < 0.25]
    return int(inside[rng.integers(len(inside))]) if len(inside) else None


def _plausible(ellipse: Ellipse | None, cx: float, cy: float, side: int) -> bool:
    if ellipse is None or ellipse.b < FLATTEST * ellipse.a:
        return False
    return 0.12 * side < ellipse.b < 0.6 * side and np.hypot(ellipse.u - cx, ellipse.v - cy) < 0.25 * ellipse.a


def _on(ellipse: Ellipse, x: FloatArray, y: FloatArray, nx: FloatArray, ny: FloatArray) -> BoolArray:
    """Which edge points lie on the ellipse and face across it."""
    du, dv = x - ellipse.u, y - ellipse.v
    facing = np.abs(du * nx + dv * ny) / np.maximum(np.hypot(du, dv), 1e-6) > 0.9
    return (np.abs(ellipse.distance(x, y)) < ON_EDGE_PX) & facing


def _support(ellipse: Ellipse, x: FloatArray, y: FloatArray, nx: FloatArray, ny: FloatArray) -> float:
    on = _on(ellipse, x, y, nx, ny)
    sector = ((np.arctan2(y[on] - ellipse.v, x[on] - ellipse.u) + np.pi) / (2 * np.pi) * SECTORS).astype(int) % SECTORS
    return len(np.unique(sector)) / SECTORS


def _polish(ellipse: Ellipse, x: FloatArray, y: FloatArray, nx: FloatArray, ny: FloatArray) -> tuple[Ellipse, float]:
    for _ in range(3):
        on = _on(ellipse, x, y, nx, ny)
        better = fit_ellipse(x[on], y[on])
        if better is None or better.b < FLATTEST * better.a:
            break
        ellipse = better
    return ellipse, _support(ellipse, x, y, nx, ny)


def _contrast(lab: FloatArray, ellipse: Ellipse) -> float:
    """How differently inside and outside are coloured along the outline, 0 to 1: a rim parts two surfaces."""
    cv2 = opencv()
    t = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    u, v = ellipse.point(t)
    nu, nv = ellipse.normal(t)
    bands = []
    for offsets in ((-9.0, -7.0, -5.0, -3.5), (3.5, 5.0, 7.0, 9.0)):
        samples = [
            cv2.remap(
                lab,
                (u + o * nu)[None].astype(np.float32),
                (v + o * nv)[None].astype(np.float32),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )[0]
            for o in offsets
        ]
        bands.append(np.mean(samples, 0))
    step = np.linalg.norm(bands[0] - bands[1], axis=1)
    # 12 Lab units are a plain difference to the eye; more than that says no more.
    return float(np.mean(np.minimum(step / 12.0, 1.0)))


def _refuse_cut_off(photo: Photo, ellipse: Ellipse, scale: float) -> None:
    u, v = ellipse.point(np.linspace(0, 2 * np.pi, 90))
    w, h = photo.width * scale, photo.height * scale
    out = np.maximum(np.maximum(-u, u - w), np.maximum(-v, v - h)).max()
    if out > 0.01 * ellipse.a:
        part = out / (2 * ellipse.a) * 100
        raise BadInput(
            f"{photo.path}: the disc is cut off at the frame's edge (about {max(part, 1):.0f} % of its width). "
            "Take the photo again with the whole disc inside."
        )
