"""One photograph of a face to its map of what is seen, with how sure that is and how sharp the picture is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from disc.frame import disc_to_view_mm, to_xy_mm
from disc.photo.image import Photo, opencv
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.view import View
from disc.photo.seen.covers import JUDGED_RADII, covered_part
from disc.photo.seen.seen_map import SEEN, SeenMap, Why, cell_places
from disc.photo.seen.sharpness import Sharpness, sharpness
from disc.photo.seen.small_face import AROUND, SIDE_PX, small_face

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# White in every channel over a whole neighbourhood of three cells hides even a pin; less leaves its shadow to be seen.
WHITE, WHITE_PART, WHITE_PX = 252, 0.985, 1.2
WHITE_MEAN = 245  # a cell of which so large a part is white is at least this bright made small
# Where edges are blurred by more than this, sigma, a pin of 0.25 mm is no longer told from dirt (common practice, no
# source); parts of fewer pixels are doubts of the whole photograph, not places unseen.
UNTOLD_MM = 0.16


@dataclass(frozen=True, slots=True)
class FaceSeen:
    """map: of this photograph alone. cover_sure: how surely something lies over the face, 0 where nothing does."""

    map: SeenMap
    cover_sure: float
    sharp: Sharpness


def look_face(photo: Photo, view: View) -> FaceSeen:
    """Map a face by its photograph and where it lies in it."""
    plane = Plane(view.matrix, view.k1, (view.width_px, view.height_px))
    small = small_face(photo.pixels, plane, view.radius_mm)
    hidden, sure = covered_part(small)
    r, theta = cell_places(view.radius_mm)
    x, y = disc_to_view_mm(*to_xy_mm(r, theta), view.side)
    letters = np.full(r.shape, SEEN)
    # A thing at the rim's inner side goes on over it.
    short = np.minimum(1.0, (JUDGED_RADII - 0.015) * view.radius_mm / np.maximum(r, 1e-9))
    sharp = sharpness(photo, view)
    letters[_blurred(sharp, view)] = Why.BLURRED.value
    if small.min(2).max() >= WHITE_MEAN:
        letters[_at(_white(photo, plane, view.radius_mm), x, y, view.radius_mm)] = Why.GLARE.value
    letters[_at(hidden, x * short, y * short, view.radius_mm)] = Why.COVERED.value
    letters[_out_of_frame(photo, view)] = Why.FRAME.value
    return FaceSeen(SeenMap.from_letters(view.side, view.radius_mm, letters), sure, sharp)


def _at(field: Any, x_mm: Any, y_mm: Any, radius_mm: float) -> Any:
    """A field of the small face at places in view mm."""
    scale = SIDE_PX / (2 * AROUND * radius_mm)
    i = np.clip((x_mm * scale + SIDE_PX / 2).astype(int), 0, SIDE_PX - 1)
    j = np.clip((SIDE_PX / 2 - y_mm * scale).astype(int), 0, SIDE_PX - 1)
    return field[j, i]


def _white(photo: Photo, plane: Plane, radius_mm: float) -> Any:
    """Where the small face is blown out throughout."""
    cv2 = opencv()
    blown = cv2.inRange(photo.pixels, (WHITE,) * 3, (255,) * 3)
    part = small_face(blown, plane, radius_mm).astype(np.float32) / 255
    return np.asarray(cv2.GaussianBlur(part, (0, 0), WHITE_PX) > WHITE_PART)


def _blurred(sharp: Sharpness, view: View) -> Any:
    """Where parts of the face are so soft that nothing is told."""
    untold = np.nan_to_num(sharp.parts_px, nan=0.0) / view.px_per_mm > UNTOLD_MM
    r, theta = cell_places(view.radius_mm)
    u, v = view.to_photo_px(*to_xy_mm(r, theta))
    n = len(untold)
    i = np.clip(((u - sharp.corner_px[0]) / sharp.side_px[0] * n).astype(int), 0, n - 1)
    j = np.clip(((v - sharp.corner_px[1]) / sharp.side_px[1] * n).astype(int), 0, n - 1)
    return np.asarray(untold[j, i])


def _out_of_frame(photo: Photo, view: View) -> Any:
    r, theta = cell_places(view.radius_mm)
    u, v = view.to_photo_px(*to_xy_mm(r, theta))
    return np.asarray((u < 0) | (v < 0) | (u > photo.width - 1) | (v > photo.height - 1))
