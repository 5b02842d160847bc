"""A disc's diameter by the sheet's printed bar, where nobody has measured it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.photo.board.camera_of_board import BoardCamera
from disc.photo.board.disc_on_sheet import radius_at
from disc.photo.board.draw_sheet import BAR_MM
from disc.photo.board.plain_ground import hide_print
from disc.photo.board.sheet_told import BAR_DOUBT_MM, HEIGHT_DOUBT_MM, HEIGHT_MM, PRINT_DOUBT
from disc.photo.board.sheet_under import look_for_sheets
from disc.photo.image import Photo
from disc.photo.plate.find_plate import find_plate

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
OUTLINE_MM = 0.05  # of the coarse outline about the rim, alike all round


@dataclass(frozen=True, slots=True)
class ByBar:
    """diameter_mm and its sigma: the face's height over the paper is not known, and counts for most of it."""

    diameter_mm: float
    sigma_mm: float


def diameter_by_bar(photos: Sequence[Photo], bar_mm: float | None) -> ByBar | None:
    """From all photos with the sheet; None where none shows it. bar_mm: as measured, None: taken as printed true."""
    told = []
    for photo, sheet in zip(photos, look_for_sheets(photos), strict=True):
        if sheet is None or sheet.camera is None:
            continue
        one = _of_one(photo, sheet.camera, bar_mm)
        if one is not None:
            told.append(one)
    if not told:
        return None
    # Their heights and the print are alike: more photos do not make it surer.
    return ByBar(float(np.mean([one.diameter_mm for one in told])), min(one.sigma_mm for one in told))


def _of_one(photo: Photo, camera: BoardCamera, bar_mm: float | None) -> ByBar | None:
    ground = hide_print(photo, camera)
    if ground is None:
        return None
    size = (bar_mm or BAR_MM) / BAR_MM - camera.uneven / 2
    outline = find_plate(ground.photo).outline
    # Everything of the board's camera is in units of the drawing; the height is so many of them.
    radius = radius_at(camera, outline, HEIGHT_MM / size) * size
    distance = float(abs(camera.turn[:, 2] @ camera.place))
    print_doubt = BAR_DOUBT_MM / BAR_MM if bar_mm else PRINT_DOUBT
    sigma = np.hypot(radius * np.hypot(HEIGHT_DOUBT_MM / distance, print_doubt), OUTLINE_MM)
    return ByBar(2 * radius, float(2 * sigma))
