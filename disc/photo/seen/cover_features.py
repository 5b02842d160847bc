"""What each place of a small flattened face is like, beside the plate it belongs to: the numbers a cover is told by.

A plate is one metal under one light: its colours follow a few smooth terms in place and angle (a lamp's fall, a lathe's
bow tie), and stains lie on it with soft edges. What lies over it breaks off sharply, is of another colour or grain all
over, and often comes in over the rim. None of the numbers knows of pins, which are hardly a pixel here.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from disc.frame import FloatArray
from disc.photo.image import Pixels, opencv
from disc.photo.seen.lab import to_lab
from disc.photo.seen.small_face import AROUND, SIDE_PX

NAMES = (
    *("L off", "a off", "b off", "off in spreads", "off near", "off wide", "off very wide"),
    *("L", "a", "b", "chroma"),
    *("grain 1", "grain 3", "grain 3 wide", "edge", "edge near", "edge wide"),
    *("from ground", "from ground's side", "far"),
    *("area", "area off", "area L off", "area a off", "area b off", "area grain", "area spread"),
    *("rim of area", "sharp part", "contrast", "beyond the rim", "middle part", "compact"),
)
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
COLOURS = 7  # parts of the picture by colour, of which areas are made
ROUNDS = 8  # of the plate's robust fit
FARTHEST = 12.0  # spreads beyond which nothing is told apart


@cache
def _grid() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places x, y and their distance from the middle, in radii, (SIDE_PX, SIDE_PX)."""
    c = ((np.arange(SIDE_PX) + 0.5) / SIDE_PX * 2 - 1) * AROUND
    x, y = np.meshgrid(c, -c)
    return x, y, np.hypot(x, y)


def far_radii() -> FloatArray:
    """How far each place of the small face lies from the middle, in radii."""
    return _grid()[2]


def cover_features(small: Pixels) -> FloatArray:
    """(SIDE_PX, SIDE_PX, len(NAMES)). small: as small_face gives it."""
    cv2 = opencv()
    soft = cv2.GaussianBlur(small, (0, 0), 0.7).astype(np.float32) / 255
    lab = to_lab(soft)
    far = far_radii()
    off, spread = _beside_plate(lab)
    scaled = np.minimum(np.sqrt(((off / spread) ** 2).sum(2)), FARTHEST)
    edge = _edges(lab)
    grain = [_grain(lab[..., 0], s) for s in (1.2, 3.0)]
    plate = (far < 0.95) & (far > 0.2)
    usual = [float(np.median(g[plate])) for g in grain]
    grain = [np.log((g + 0.4) / (u + 0.4)) for g, u in zip(grain, usual, strict=True)]
    usual_edge = float(np.median(edge[plate]))
    sharp = np.log((edge + 1.0) / (usual_edge + 1.0))
    ground = _from_ground(lab)
    places = [
        *(off[..., k] for k in range(3)),
        scaled,
        *(_blur(scaled, s) for s in (2.0, 5.0, 12.0)),
        *(lab[..., k] for k in range(3)),
        np.hypot(lab[..., 1], lab[..., 2]),
        *grain,
        _blur(grain[1], 5.0),
        sharp,
        cv2.dilate(sharp.astype(np.float32), np.ones((5, 5), np.uint8)),
        _blur(sharp, 5.0),
        *ground,
        far,
    ]
    areas = _areas(lab, off, scaled, grain[0], edge, usual_edge)
    return np.stack([np.asarray(p, np.float32) for p in (*places, *areas)], 2).astype(float)


def _blur(field: Any, sigma: float) -> Any:
    return opencv().GaussianBlur(np.asarray(field, np.float32), (0, 0), sigma)


def _beside_plate(lab: Any) -> tuple[FloatArray, FloatArray]:
    """How far each place's colour is off the plate's own course there, (n, n, 3), and its usual spread, (3,)."""
    x, y, far = _grid()
    angle = np.arctan2(y, x)
    terms = [np.ones_like(x), x, y, far**2, x * x - y * y, x * y]
    terms += [f(k * angle) * np.minimum(far * 2, 1) for k in (1, 2) for f in (np.cos, np.sin)]
    rows = np.stack(terms, 2)
    use = (far < 0.95) & (far > 0.18)
    a, values = rows[use][::3], np.asarray(lab[use][::3], float)
    weight = np.ones(len(a))
    ridge = 1e-3 * len(a) * np.eye(a.shape[1])
    ridge[0, 0] = 0.0
    for _ in range(ROUNDS):
        aw = a * weight[:, None]
        fit = np.linalg.solve(aw.T @ a + ridge * 5, aw.T @ values)
        left = values - a @ fit
        spread = np.maximum(1.4826 * np.median(np.abs(left), 0), [2.0, 0.8, 1.2])
        weight = np.maximum(1 - ((left / spread) ** 2).sum(1) / 25.0, 0.0) ** 2 + 1e-4
    return np.asarray(lab - rows @ fit), spread


def _edges(lab: Any) -> FloatArray:
    """How steeply the colour changes, per px."""
    cv2 = opencv()
    soft = cv2.GaussianBlur(lab, (0, 0), 0.8)
    gx, gy = (cv2.Sobel(soft, cv2.CV_32F, *way, scale=1 / 8) for way in ((1, 0), (0, 1)))
    return np.asarray(np.sqrt((gx**2 + gy**2).sum(2)))


def _grain(light: Any, sigma: float) -> FloatArray:
    """Local scatter of the lightness."""
    mean = _blur(light, sigma)
    return np.asarray(np.sqrt(np.maximum(_blur(light**2, sigma) - mean**2, 0)))


def _from_ground(lab: Any) -> list[FloatArray]:
    """How far each place's colour is from the ground's, all round and on its own side, in the ground's spreads."""
    x, y, far = _grid()
    outside = (far > 1.04) & (far < 1.14)
    colour = np.asarray(lab[outside], float)
    middle = np.median(colour, 0)
    spread = np.maximum(1.4826 * np.median(np.abs(colour - middle), 0), 3.0)
    sector = ((np.arctan2(y, x) / (2 * np.pi)) % 1.0 * 24).astype(int) % 24
    own = np.stack([np.median(lab[outside & (sector == k)], 0) for k in range(24)])
    whole = np.sqrt((((lab - middle) / spread) ** 2).sum(2))
    near = np.sqrt((((lab - own[sector]) / spread) ** 2).sum(2))
    return [np.minimum(whole, FARTHEST), np.minimum(near, FARTHEST)]


def _areas(lab: Any, off: Any, scaled: Any, grain: Any, edge: Any, usual_edge: float) -> list[FloatArray]:
    """What holds for the whole area of one colour that a place belongs to, each (n, n)."""
    cv2 = opencv()
    label = _labels(lab, off)
    far = far_radii()
    plate = far < 0.97
    count = int(label.max()) + 1
    flat = label.ravel()
    within = np.bincount(flat, plate.ravel(), count)
    size = np.maximum(within, 1.0)
    whole = np.maximum(np.bincount(flat, minlength=count), 1.0)

    def mean(field: Any) -> FloatArray:
        return np.bincount(flat, np.asarray(field, float).ravel(), count) / whole

    border = (cv2.dilate(label.astype(np.float32), np.ones((3, 3), np.uint8)) != label) | (
        cv2.erode(label.astype(np.float32), np.ones((3, 3), np.uint8)) != label
    )
    length = np.maximum(np.bincount(flat, (border & plate).ravel(), count), 1.0)
    steep = cv2.dilate(edge.astype(np.float32), np.ones((3, 3), np.uint8))
    on_border = np.bincount(flat, (steep * (border & plate)).ravel(), count) / length
    strong = np.bincount(flat, ((steep > 2.0 * usual_edge + 3.0) & border & plate).ravel(), count) / length
    inside = np.bincount(flat, (edge * ~border).ravel(), count) / np.maximum(
        np.bincount(flat, (~border).ravel(), count), 1.0
    )
    beyond = np.bincount(flat, (far > 1.02).ravel(), count) / whole
    middle = np.bincount(flat, ((far < 0.35) & plate).ravel(), count) / size
    light = mean(lab[..., 0] ** 2) - mean(lab[..., 0]) ** 2
    values = [
        np.log(size / plate.sum() + 1e-4),
        mean(scaled),
        *(mean(off[..., k]) for k in range(3)),
        mean(grain),
        np.sqrt(np.maximum(light, 0)),
        np.log((on_border + 1.0) / (usual_edge + 1.0)),
        strong,
        np.log((on_border + 1.0) / (inside + 1.0)),
        beyond,
        middle,
        np.log(length / np.sqrt(size)),
    ]
    return [np.asarray(v)[label] for v in values]


def _labels(lab: Any, off: Any) -> Any:
    """Numbered areas, each of one colour and in one piece; crumbs go to what is about them."""
    cv2 = opencv()
    x, y, _ = _grid()
    data = np.concatenate([lab * [1.0, 1.3, 1.3], 0.5 * off, 6.0 * x[..., None], 6.0 * y[..., None]], 2)
    data = cv2.GaussianBlur(data.astype(np.float32), (0, 0), 0.8)
    rows = np.ascontiguousarray(data.reshape(-1, data.shape[2]))
    cv2.setRNGSeed(0)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 12, 0.5)
    _, colour, _ = cv2.kmeans(rows, COLOURS, None, stop, 1, cv2.KMEANS_PP_CENTERS)
    colour = cv2.medianBlur(colour.reshape(SIDE_PX, SIDE_PX).astype(np.uint8), 5)
    label = np.zeros((SIDE_PX, SIDE_PX), np.int32)
    count = 0
    for k in range(COLOURS):
        n, part = cv2.connectedComponents((colour == k).astype(np.uint8), connectivity=4)
        label[part > 0] = part[part > 0] - 1 + count
        count += n - 1
    return label
