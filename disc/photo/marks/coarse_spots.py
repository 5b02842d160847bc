"""The first look at a flattened face: all likely sites, by the sites network alone."""

from __future__ import annotations

from typing import Any

import numpy as np

from disc.frame import FloatArray
from disc.photo.image import opencv
from disc.photo.marks.networks import SITES_STRIDE, SiteAnswer, ask_sites
from disc.photo.marks.spots import Spots, thin_out
from disc.photo.plane.flatten import Flat

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Lowest heat at which a place is looked at further; what is kept is decided by its log-odds (site_odds.py).
LOWEST_HEAT = 0.30


def coarse_spots(flat: Flat) -> Spots:
    """All likely sites in view mm, the surest first, from the sites network alone. flat: at its scale."""
    answer = ask_sites(flat.pixels)
    i, j, heat = _peaks(answer.heat)
    spots = _read_cells(answer, i, j, heat)
    mm = Spots(
        flat.to_mm(spots.root),
        flat.to_mm(spots.tip),
        spots.kind,
        spots.heat,
        spots.sigma_root / flat.px_per_mm,
        spots.sigma_tip / flat.px_per_mm,
        spots.coarse,
        spots.crop,
        spots.tint,
        spots.light,
    )
    return thin_out(mm)


def _peaks(heat: FloatArray) -> tuple[Any, Any, FloatArray]:
    """Local maxima of the heat, column, row and height, highest first."""
    cv2 = opencv()
    top = cv2.dilate(heat.astype(np.float32), np.ones((3, 3), np.uint8))
    j, i = np.nonzero((heat >= top) & (heat > LOWEST_HEAT))
    order = np.argsort(-heat[j, i], kind="stable")
    return i[order], j[order], heat[j, i][order]


def _read_cells(answer: SiteAnswer, i: Any, j: Any, heat: FloatArray) -> Spots:
    """The answer at each peak's cell and the neighbours that speak of the same place, weighted by their sureness."""
    h, w = answer.kind.shape[:2]
    ci, cj = i // 2, j // 2
    at = np.stack([i * 2 + 0.5, j * 2 + 0.5], 1)  # the peak, flat px
    total = np.zeros(len(i))
    root, tip = np.zeros((len(i), 2)), np.zeros((len(i), 2))
    kind, s_root, s_tip = np.zeros((len(i), 3)), np.zeros(len(i)), np.zeros(len(i))
    for dj in (-1, 0, 1):
        for di in (-1, 0, 1):
            x, y = np.clip(ci + di, 0, w - 1), np.clip(cj + dj, 0, h - 1)
            middle = np.stack([x * SITES_STRIDE + 1.5, y * SITES_STRIDE + 1.5], 1)
            said = middle + answer.root[y, x]
            # A neighbour counts if it means this place, and less the farther its own middle is from it.
            agrees = np.hypot(*(said - at).T) < 3.0
            near = np.exp(-np.sum((middle - said) ** 2, 1) / (2 * 3.0**2))
            weight = agrees * near / answer.sigma_root[y, x] ** 2 + (1e-9 if di == dj == 0 else 0.0)
            total += weight
            root += weight[:, None] * said
            tip += weight[:, None] * (said + answer.tip[y, x])
            kind += weight[:, None] * answer.kind[y, x]
            s_root += weight * answer.sigma_root[y, x]
            s_tip += weight * answer.sigma_tip[y, x]
    kind = np.exp(kind / total[:, None])
    return Spots(
        root / total[:, None],
        tip / total[:, None],
        kind / kind.sum(1, keepdims=True),
        heat,
        s_root / total,
        s_tip / total,
        heat,
        np.zeros((len(i), 0)),
        np.full((len(i), 2, 2), np.nan),
        np.full(len(i), np.nan),
    )
