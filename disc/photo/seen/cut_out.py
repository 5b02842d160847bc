"""The outline of what lies over a face: found roughly by its places (covers.py), cut here where the colours change.

Each piece's own colours and those of the plate about it are described anew, and the border between them is laid where
it costs least (Rother, Kolmogorov and Blake, "GrabCut", 2004; OpenCV's). What the places said of the middle of a piece
and of what is far from it stands.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from disc.photo.image import Pixels, opencv

# Places about a piece's border that may change sides, outwards and inwards; turns of the fit; and by how much a piece
# may shrink or grow, as shares of itself, before the cut is not believed. Chosen on photographs h1-h4, things drawn.
OUTWARDS_PX, INWARDS_PX, ROUNDS = 8, 4, 3
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
SHRINKS, GROWS = 0.6, 1.5  # of its own area that a piece may be cut to; beyond, it stays as it was
FEWEST_PX, FEWEST_ABOUT_PX = 12, 50  # a piece's middle, and the plate about it, from which colours can be described


def cut_out(small: Pixels, part: Any, plate: Any) -> Any:
    """The part (n, n) of bool that is covered, its pieces cut anew. plate: what of the picture is the face."""
    cv2 = opencv()
    about = plate & ~part
    if about.sum() < FEWEST_ABOUT_PX:
        return part
    colours = cv2.cvtColor(small, cv2.COLOR_BGR2Lab)
    colours[~plate] = np.median(colours[about], axis=0)  # the ground is neither
    count, label = cv2.connectedComponents(part.astype(np.uint8), connectivity=8)
    found = np.zeros(part.shape, bool)
    for k in range(1, count):
        piece = label == k
        found |= _cut(colours, piece & plate, plate) | (piece & ~plate)
    return found


def _cut(colours: Pixels, piece: Any, plate: Any) -> Any:
    cv2 = opencv()
    middle = cv2.erode(piece.astype(np.uint8), _round(INWARDS_PX), borderValue=1).astype(bool)
    if middle.sum() < FEWEST_PX:
        return piece
    side = np.full(piece.shape, cv2.GC_BGD, np.uint8)
    side[cv2.dilate(piece.astype(np.uint8), _round(OUTWARDS_PX)).astype(bool) & plate] = cv2.GC_PR_BGD
    side[piece], side[middle] = cv2.GC_PR_FGD, cv2.GC_FGD
    cv2.setRNGSeed(0)
    try:
        cv2.grabCut(colours, side, None, np.zeros((1, 65)), np.zeros((1, 65)), ROUNDS, cv2.GC_INIT_WITH_MASK)
    except cv2.error:  # colours that make no mixture, as of a picture of one colour
        return piece
    cut = (side == cv2.GC_FGD) | (side == cv2.GC_PR_FGD)
    return cut if SHRINKS < cut.sum() / piece.sum() < GROWS else piece


def _round(radius_px: int) -> Any:
    return opencv().getStructuringElement(opencv().MORPH_ELLIPSE, (2 * radius_px + 1, 2 * radius_px + 1))
