"""The measuring sheet's found corners, and the lens they told, over a photo."""

from __future__ import annotations

from typing import Any

from disc.photo.board.sheet_told import SheetTold
from disc.photo.image import opencv

# BGR; of the set of overlay.py, for eyes that confuse red and green. Left out: the colour of doubt.
USED_COLOUR, LEFT_OUT_COLOUR = (230, 159, 0), (0, 0, 255)


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
    cv2.putText(
        canvas, words, (10, height - round(tall * 0.3)), cv2.FONT_HERSHEY_SIMPLEX, scale, (30, 30, 30), 1, cv2.LINE_AA
    )
