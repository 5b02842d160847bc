"""Both photographed faces flattened, side by side, stop slot up, as if looking through the plate from the upper side.

The lower face is mirrored, so that the same angle lies at the same place on both: a hole that goes through is found
again at once, and so is a pin that stands over another.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from disc.condition_marks import MARKS, bent_ring, lean_reach
from disc.frame import FloatArray, to_xy_mm
from disc.photo.image import Photo, opencv
from disc.photo.plane.view import View
from disc.photo.seen.seen_map import SeenMap
from disc.photo.sheets.draw_mark import draw_doubt, draw_mark
from disc.photo.sheets.shade import shade_unseen
from disc.records import Condition, Pin, Side
from disc.words import counted

PX_PER_MM, MARGIN_MM = 32.0, 1.2  # a pin is some 8 px wide; white about the plate. Laid out by eye
# Unless said otherwise: laid out by eye.
TITLE_PX, GROUND = 56, (250, 250, 250)  # line above each face, and its colour (RGB)
RING_MM, LETTERS = 0.32, 0.45  # size of a mark; letters as OpenCV scales its font. By eye: legible at full size
# px of the sheet between places that are projected; what lies between is interpolated (chosen; a view bends little
# over 8 px)
EVERY = 8
FINER = 1.2  # than the sheet the picture is at least, that it is drawn from


def draw_flat_sheet(
    faces: Sequence[tuple[Photo, View, Sequence[Pin]]], maps: Mapping[Side, SeenMap] | None = None
) -> Any:
    """The sheet, BGR. faces: photo, view and pins of each face, upper before lower. maps: what is hidden is hatched."""
    return np.concatenate([_face(photo, view, pins, (maps or {}).get(view.side)) for photo, view, pins in faces], 1)


def _face(photo: Photo, view: View, pins: Sequence[Pin], seen: SeenMap | None) -> Any:
    cv2 = opencv()
    half = view.radius_mm + MARGIN_MM
    side = 2 * round(half * PX_PER_MM)
    source, scale = _shrunk(photo, view)
    u, v = _sheet_to_photo(view, half, side, scale)
    picture = cv2.remap(source, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    place = ((np.arange(side) + 0.5) / PX_PER_MM - half) ** 2
    picture[place[:, None] + place > (view.radius_mm + 0.8 * MARGIN_MM) ** 2] = GROUND
    if seen is not None:
        shade_unseen(
            picture, seen, lambda x, y: ((half - y) * PX_PER_MM - 0.5, (half - x) * PX_PER_MM - 0.5), PX_PER_MM
        )
    for pin in pins:
        _mark(picture, pin, half)
    _label(picture, pins, half)
    title = np.full((TITLE_PX, side, 3), GROUND, np.uint8)
    words = f"{view.side.value} face, {counted(len(pins), 'site')}" + (
        "" if view.side.value == "upper" else " (seen through)"
    )
    cv2.putText(title, words, (20, 38), cv2.FONT_HERSHEY_SIMPLEX, 0.9, (40, 40, 40), 2, cv2.LINE_AA)
    return np.concatenate([title, picture], 0)


def _sheet_to_photo(view: View, half: float, side: int, scale: float) -> tuple[Any, Any]:
    """Where every place of the sheet lies in the photo made smaller by scale, px, each (side, side): worked out for
    every eighth and drawn out between them, which is as good as exact and takes a tenth of the time."""
    cv2 = opencv()
    n = -(-side // EVERY) + 1
    down, right = (np.mgrid[0:n, 0:n] * EVERY + 0.5) / PX_PER_MM - half
    stretch, size = np.array([[1 / EVERY, 0.0, 0.0], [0.0, 1 / EVERY, 0.0]]), (side, side)
    # Disc axes with theta 0 up: x points up the sheet, y to its left.
    return tuple(
        cv2.warpAffine(
            ((c + 0.5) * scale - 0.5).astype(np.float32), stretch, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        )
        for c in view.to_photo_px(-down, -right)
    )


def _shrunk(photo: Photo, view: View) -> tuple[Any, float]:
    """The photo, by area, not much finer than the sheet: an n-th of it, which is quicker than any other part."""
    times = int(view.px_per_mm / (FINER * PX_PER_MM))
    if times < 2:
        return photo.pixels, 1.0
    pixels = photo.pixels[: photo.height // times * times, : photo.width // times * times]
    size = (photo.width // times, photo.height // times)
    return opencv().resize(pixels, size, interpolation=opencv().INTER_AREA), 1 / times


def _mark(picture: Any, pin: Pin, half: float) -> None:
    """The condition's mark about the site; thin for sound pins, heavier for what needs work."""
    at = _sheet_px(pin, half)
    size = RING_MM * PX_PER_MM
    mark, tip = MARKS[pin.condition], None
    if pin.condition is Condition.BENT and pin.lean_x_mm is not None and pin.lean_y_mm is not None:
        dx, dy = lean_reach(-pin.lean_y_mm * PX_PER_MM, -pin.lean_x_mm * PX_PER_MM, size)
        mark, tip = bent_ring(), (round(at[0] + dx), round(at[1] + dy))
    draw_mark(picture, mark, at, size, 1 if pin.condition is Condition.SOUND else 2, tip)
    if pin.is_doubtful:
        draw_doubt(picture, at, size, 1)


def _label(picture: Any, pins: Sequence[Pin], half: float) -> None:
    """What is wrong with each site that is not sound, beside it, where no other site or word is in the way."""
    cv2 = opencv()
    size = round(RING_MM * PX_PER_MM)
    sites = np.array([_sheet_px(pin, half) for pin in pins]).reshape(-1, 2)
    taken: list[tuple[int, int, int, int]] = []
    for pin, at in zip(pins, sites, strict=True):
        if pin.condition is Condition.SOUND and not pin.is_doubtful:
            continue
        words = pin.condition.value + ("?" if pin.is_doubtful else "")
        (wide, tall), _ = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, LETTERS, 1)
        gap = size + 4
        corners = [
            (at[0] + dx, at[1] + dy)
            for dy in (-gap, gap + tall, tall // 2)
            for dx in ((gap, -gap - wide) if dy == tall // 2 else (size, -size - wide))
        ]
        boxes = [(int(u) - 2, int(v) - tall - 2, int(u) + wide + 2, int(v) + 4) for u, v in corners]
        u0, v0, u1, v1 = box = min(boxes, key=lambda box: _in_the_way(box, sites, taken, size))
        taken.append(box)
        part = picture[max(v0, 0) : v1, max(u0, 0) : u1]
        part[:] = (0.35 * part + 0.65 * 255).astype(np.uint8)
        cv2.putText(picture, words, (u0 + 2, v1 - 4), cv2.FONT_HERSHEY_SIMPLEX, LETTERS, (30, 30, 30), 1, cv2.LINE_AA)


def _in_the_way(
    box: tuple[int, int, int, int], sites: FloatArray, taken: Sequence[tuple[int, int, int, int]], size: int
) -> int:
    """How many sites and words a box (left, top, right, bottom) would cover."""
    u0, v0, u1, v1 = box
    near = (sites[:, 0] > u0 - size) & (sites[:, 0] < u1 + size) & (sites[:, 1] > v0 - size) & (sites[:, 1] < v1 + size)
    return int(near.sum()) + sum(u0 < b[2] and b[0] < u1 and v0 < b[3] and b[1] < v1 for b in taken)


def _sheet_px(pin: Pin, half: float) -> tuple[int, int]:
    x, y = to_xy_mm(pin.r_mm, pin.theta_deg)
    place: FloatArray = np.array([half - y, half - x]) * PX_PER_MM - 0.5
    return round(float(place[0])), round(float(place[1]))
