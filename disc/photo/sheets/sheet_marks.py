"""What a reading rests on beside the pins, over a photo: the sheet's corners, the lens, and where close-ups lie."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from disc.photo.board.sheet_told import SheetTold
from disc.photo.image import opencv
from disc.photo.plane.view import View

# Unless said otherwise: laid out by eye.
# BGR; of the set of overlay.py, for eyes that confuse red and green. Left out: the colour of doubt.
USED_COLOUR, LEFT_OUT_COLOUR = (230, 159, 0), (0, 0, 255)
CLOSE_UP_COLOUR = (66, 228, 240)  # BGR, of the same set


@dataclass(frozen=True, slots=True)
class BesidePins:
    """sheet: what it told in this photo. outlines: corners (4, 2) of placed close-ups, disc axes, mm."""

    sheet: SheetTold | None
    outlines: tuple[tuple[tuple[float, float], ...], ...]


def beside_pins(face: dict[str, Any], photo: str | None = None) -> BesidePins:
    """From a face's record in the job. photo: one of several that tell it, in the job folder; else the leading one."""
    name = str(photo or face.get("photo", "")).rsplit("/", 1)[-1]
    told = (face.get("sheets") or {}).get(name)
    placed = [one for one in face.get("close_ups") or () if not one.get("doubtful")]
    outlines = tuple(tuple((float(x), float(y)) for x, y in one["outline_mm"]) for one in placed)
    return BesidePins(SheetTold.from_json(told) if told else None, outlines)


def draw_beside_pins(canvas: Any, view: View, more: BesidePins) -> None:
    """Over the photo's pixels."""
    cv2 = opencv()
    thick = max(1, canvas.shape[1] // 900)
    for number, outline in enumerate(more.outlines, 1):
        corners = np.asarray(outline, float)
        px = np.round(np.stack(view.to_photo_px(corners[:, 0], corners[:, 1]), 1)).astype(np.int32)
        cv2.polylines(canvas, [px], True, CLOSE_UP_COLOUR, thick, cv2.LINE_AA)
        at = (int(px[0, 0]), int(px[0, 1]))
        cv2.putText(canvas, str(number), at, cv2.FONT_HERSHEY_SIMPLEX, canvas.shape[1] / 1800, CLOSE_UP_COLOUR, thick)
    if more.sheet is not None:
        draw_sheet_told(canvas, more.sheet)


def draw_sheet_told(canvas: Any, told: SheetTold) -> None:
    """A small cross at each corner used, and one line of words at the lower edge."""
    cv2 = opencv()
    height, width = canvas.shape[:2]
    size, thick = max(8, width // 80), max(1, width // 900)
    colour = USED_COLOUR if told.left_out is None else LEFT_OUT_COLOUR
    for _, u, v in told.corners_px:
        cv2.drawMarker(canvas, (round(u), round(v)), colour, cv2.MARKER_CROSS, size, thick, cv2.LINE_AA)
    words = told.words()
    scale = max(0.4, width / 2600)
    wide = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, scale, 1)[0][0]
    scale = min(scale, scale * (width - 20) / max(wide, 1))
    tall = round(40 * scale) + 6
    strip = canvas[height - tall :]
    strip[:] = (0.25 * strip + 0.75 * 250).astype(strip.dtype)
    base = (10, height - round(tall * 0.3))
    cv2.putText(canvas, words, base, cv2.FONT_HERSHEY_SIMPLEX, scale, (30, 30, 30), 1, cv2.LINE_AA)
