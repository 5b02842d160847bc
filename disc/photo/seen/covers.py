"""Where something lies over a face: a probability for each place of the small flattened picture.

Trees fitted on faces with things laid over them (covers.json says how) judge each place by cover_features.py; a thing
is of one piece, so crumbs are dropped and gaps closed. Holes, crossings, screws, stains and engraving are the plate's.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from disc.frame import FloatArray
from disc.photo.image import Pixels, opencv
from disc.photo.seen.cover_features import cover_features, far_radii
from disc.photo.seen.cut_out import cut_out
from disc.trees import fitted_trees

FITTED = Path(__file__).with_name("covers.json")
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
SOFT_PX = 1.0  # the places' opinions are averaged over this
# A thing covers at least this part of the plate, somewhere this surely, and reaches as far as places are this likely.
# Chosen on h1-h4, things drawn over by seeds 0 to 2 of the bench.
LEAST_PART, SURE, LIKELY = 0.003, 0.5, 0.35
# of the features' places asked, and the log-odds of those outside the plate; chosen by hand
STRIDE, NOT_ASKED = 2, -6.0
JUDGED_RADII = 0.965  # beyond it the rim's own edge confuses; a thing is taken to go on outwards


def cover_odds(small: Pixels) -> FloatArray:
    """Log-odds that each place of a small face is covered, (n, n); before things are put together.

    Every second place each way is asked, on the plate alone: the trees are most of the work.
    """
    rows = cover_features(small)[::STRIDE, ::STRIDE]
    on = far_radii()[::STRIDE, ::STRIDE] < 1.0
    odds = np.full(on.shape, NOT_ASKED, np.float32)
    odds[on] = fitted_trees(FITTED, "covers").odds(rows[on])
    # Of a small picture the middle of place 0 is that of place 0 of the whole: no half pixel between them.
    move = np.array([[STRIDE, 0.0, 0.0], [0.0, STRIDE, 0.0]])
    return np.asarray(opencv().warpAffine(odds, move, small.shape[1::-1], borderMode=opencv().BORDER_REPLICATE), float)


def covered_part(small: Pixels) -> tuple[Any, float]:
    """What of the small face is covered, (n, n) of bool, and how surely something is at all, 0 to 1."""
    part, sure = pieces(cover_odds(small))
    return (cut_out(small, part, far_radii() < 1.0), sure) if part.any() else (part, sure)


def pieces(odds: FloatArray) -> tuple[Any, float]:
    """Things put together from their places' log-odds (n, n)."""
    cv2 = opencv()
    p = cv2.GaussianBlur((1 / (1 + np.exp(-np.clip(odds, -30, 30)))).astype(np.float32), (0, 0), SOFT_PX)
    far = far_radii()
    judged = far < JUDGED_RADII
    likely = ((p > LIKELY) & judged).astype(np.uint8)
    likely = cv2.morphologyEx(likely, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8)) & judged.astype(np.uint8)
    count, label, stats, _ = cv2.connectedComponentsWithStats(likely, connectivity=8)
    found = np.zeros(p.shape, bool)
    surest = 0.0
    for k in range(1, count):
        part = label == k
        sure = float(np.quantile(p[part], 0.8))
        if stats[k, cv2.CC_STAT_AREA] < LEAST_PART * judged.sum() or sure < SURE:
            continue
        found |= _without_holes(part)
        surest = max(surest, sure)
    return found, surest


def _without_holes(part: Any) -> Any:
    """A thing has no gaps that show the plate, unless they are large."""
    cv2 = opencv()
    count, label, stats, _ = cv2.connectedComponentsWithStats((~part).astype(np.uint8), connectivity=4)
    filled = part.copy()
    for k in range(1, count):
        if stats[k, cv2.CC_STAT_AREA] < 0.3 * part.sum() and not _touches_edge(label == k):
            filled |= label == k
    return filled


def _touches_edge(field: Any) -> bool:
    return bool(field[0].any() or field[-1].any() or field[:, 0].any() or field[:, -1].any())
