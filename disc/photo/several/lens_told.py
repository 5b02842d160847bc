"""What is known beforehand of each photo's lens: by a sheet in another photo, remembered, or by straight lines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.photo.board.sheet_under import K1_APART, SheetUnder, lens_by_sheets, one_camera
from disc.photo.image import Photo, side_by_side
from disc.photo.plane.known_lens import KnownLens, with_k1
from disc.photo.plane.straight_lines import LinesTold, lines_told


def lenses_told(photos: Sequence[Photo], sheets: Sequence[SheetUnder | None]) -> list[KnownLens | None]:
    """Of each photo; None where nothing is known. sheets: as look_for_sheets found them.

    A photo that shows no straight lines of its own is helped by those of another that may be the same camera's.
    """
    lines = side_by_side(_lines_of, list(zip(photos, sheets, strict=True)))
    lenses = []
    for photo, own in zip(photos, lines, strict=True):
        lens = lens_by_sheets(photo, sheets, photos) or photo.lens
        others = [told for told, other in zip(lines, photos, strict=True) if told and one_camera(photo, other)]
        if own is not None:
            lens = with_k1(lens, own.k1, own.sigma)
        elif others:
            best = min(others, key=lambda told: told.sigma)
            lens = with_k1(lens, best.k1, float(np.hypot(best.sigma, K1_APART)))
        lenses.append(lens)
    return lenses


def _lines_of(item: tuple[Photo, SheetUnder | None]) -> LinesTold | None:
    photo, sheet = item
    flat = photo.scanned or (sheet is not None and sheet.camera is not None)
    return None if flat else lines_told(photo)
