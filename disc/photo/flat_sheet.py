"""Both photographed faces flattened, side by side, stop slot up, as if looking through the plate from the upper side.

The lower face is mirrored, so that the same angle lies at the same place on both: a hole that goes through is found
again at once, and so is a pin that stands over another.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from disc.frame import FloatArray, to_xy_mm
from disc.photo.image import Photo, opencv
from disc.photo.overlay import COLOURS
from disc.photo.view import View
from disc.records import Condition, Pin

PX_PER_MM, MARGIN_MM = 32.0, 1.2
TITLE_PX, GROUND = 56, (250, 250, 250)
RING_MM = 0.32


def draw_flat_sheet(faces: Sequence[tuple[Photo, View, Sequence[Pin]]]) -> Any:
    """The sheet, BGR. faces: photo, view and pins of each face, upper before lower."""
    return np.concatenate([_face(photo, view, pins) for photo, view, pins in faces], 1)


def _face(photo: Photo, view: View, pins: Sequence[Pin]) -> Any:
    cv2 = opencv()
    half = view.radius_mm + MARGIN_MM
    side = 2 * round(half * PX_PER_MM)
    down, right = (np.mgrid[0:side, 0:side] + 0.5) / PX_PER_MM - half
    # Disc axes with theta 0 up: x points up the sheet, y to its left.
    x, y = -down, -right
    u, v = view.to_photo_px(x, y)
    source, scale = _shrunk(photo, view)
    at_u, at_v = (((c + 0.5) * scale - 0.5).astype(np.float32) for c in (u, v))
    picture = cv2.remap(source, at_u, at_v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    far = np.hypot(x, y) - view.radius_mm
    picture[far > 0.8 * MARGIN_MM] = GROUND
    for pin in pins:
        _ring(picture, pin, half)
    title = np.full((TITLE_PX, side, 3), GROUND, np.uint8)
    words = f"{view.side.value} face, {len(pins)} sites" + ("" if view.side.value == "upper" else " (seen through)")
    cv2.putText(title, words, (20, 38), cv2.FONT_HERSHEY_SIMPLEX, 0.9, (40, 40, 40), 2, cv2.LINE_AA)
    return np.concatenate([title, picture], 0)


def _shrunk(photo: Photo, view: View) -> tuple[Any, float]:
    """The photo, by area, not much finer than the sheet."""
    cv2 = opencv()
    scale = min(1.0, 1.5 * PX_PER_MM / view.px_per_mm)
    if scale > 0.7:
        return photo.pixels, 1.0
    return cv2.resize(photo.pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), scale


def _ring(picture: Any, pin: Pin, half: float) -> None:
    """A ring about the site that leaves it to be seen; thin for sound pins, heavy for what needs work."""
    cv2 = opencv()
    at = _sheet_px(pin, half)
    sound = pin.condition is Condition.SOUND
    size = round(RING_MM * PX_PER_MM)
    cv2.circle(picture, at, size, COLOURS[pin.condition], 1 if sound else 3, cv2.LINE_AA)
    if not sound:
        words = pin.condition.value
        for colour, thick in (((255, 255, 255), 4), ((30, 30, 30), 1)):
            cv2.putText(
                picture, words, (at[0] + size, at[1] - size), cv2.FONT_HERSHEY_SIMPLEX, 0.45, colour, thick, cv2.LINE_AA
            )


def _sheet_px(pin: Pin, half: float) -> tuple[int, int]:
    x, y = to_xy_mm(pin.r_mm, pin.theta_deg)
    place: FloatArray = np.array([half - y, half - x]) * PX_PER_MM - 0.5
    return round(float(place[0])), round(float(place[1]))
