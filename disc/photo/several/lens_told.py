"""What is known beforehand of each photo's lens: by a sheet in another photo, remembered, or by straight lines.

What another photo's sheet told is borrowed: another camera may draw pictures of the same size, and files do not always
say which took them. So what is known without it is kept beside it, and counts where the photo denies what was borrowed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.photo.board.sheet_under import K1_APART, SheetUnder, lens_by_sheets, one_camera
from disc.photo.image import Photo, side_by_side
from disc.photo.plane.known_lens import K1, KnownLens, with_k1
from disc.photo.plane.straight_lines import LinesTold, lines_told

# Sigmas by which a photo's own straight lines and another's sheet may differ in k1 and still be of one camera; chosen
# by hand while looking at development photographs; not fitted.
DENIED = 4.0


@dataclass(frozen=True, slots=True)
class LensTold:
    """lens: all that is known of a photo's; own: without what was borrowed of other photos' sheets. None where nothing
    is."""

    lens: KnownLens | None
    own: KnownLens | None

    @property
    def borrowed(self) -> bool:
        """Whether another photo's sheet has a part in it."""
        return self.lens is not self.own


def lenses_told(photos: Sequence[Photo], sheets: Sequence[SheetUnder | None]) -> list[LensTold]:
    """Of each photo. sheets: as look_for_sheets found them.

    A photo that shows no straight lines of its own is helped by those of another that may be the same camera's.
    """
    lines = side_by_side(_lines_of, list(zip(photos, sheets, strict=True)))
    told = []
    for photo, own in zip(photos, lines, strict=True):
        by_sheets = lens_by_sheets(photo, sheets, photos)
        if by_sheets is not None and own is not None and _denied(by_sheets, own):
            by_sheets = None
        others = [other for other, taken in zip(lines, photos, strict=True) if other and one_camera(photo, taken)]
        best = own or min(others, key=lambda one: one.sigma, default=None)
        sigma = 0.0 if best is None else best.sigma if own else float(np.hypot(best.sigma, K1_APART))
        alone, lens = (
            one if best is None else with_k1(one, best.k1, sigma) for one in (photo.lens, by_sheets or photo.lens)
        )
        told.append(LensTold(alone if by_sheets is None else lens, alone))
    return told


def _denied(lens: KnownLens, own: LinesTold) -> bool:
    return bool(abs(lens.k1 - own.k1) > DENIED * np.hypot(lens.sigmas()[K1], own.sigma))


def _lines_of(item: tuple[Photo, SheetUnder | None]) -> LinesTold | None:
    photo, sheet = item
    flat = photo.scanned or (sheet is not None and sheet.camera is not None)
    return None if flat else lines_told(photo)
