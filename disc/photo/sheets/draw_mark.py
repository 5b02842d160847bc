"""The marks of condition_marks.py drawn on pixels, each line with a light casing under it."""

from __future__ import annotations

from typing import Any

import numpy as np

from disc.condition_marks import CASING, DOUBT_COLOUR, Mark, doubt_dots
from disc.photo.image import opencv


def bgr(colour: str) -> tuple[int, int, int]:
    """A colour as CSS writes it, as the pictures hold it: blue, green, red."""
    red, green, blue = bytes.fromhex(colour[1:])
    return blue, green, red


def draw_mark(
    canvas: Any, mark: Mark, at: tuple[int, int], size: float, thick: int, tip: tuple[int, int] | None = None
) -> None:
    """A condition's mark with a light casing, legible on bright and dark metal. tip: where the pin's tip is seen."""
    cv2 = opencv()
    lines = [np.array(stroke) * size + np.array(at) for stroke in mark.strokes]
    if tip is not None:
        lines.append(np.array([at, tip], dtype=float))
    points = [np.round(line * 16).astype(np.int32) for line in lines]
    for colour, width in ((CASING, 2 * thick + 1), (mark.colour, thick)):
        cv2.polylines(canvas, points, False, bgr(colour), width, cv2.LINE_AA, 4)


def draw_doubt(canvas: Any, at: tuple[int, int], size: float, thin: int) -> None:
    """Dots around a mark that wants a person's eye."""
    cv2 = opencv()
    radius = max(2, round(size * 0.18) + thin // 2)
    for colour, r in ((CASING, radius + 1), (DOUBT_COLOUR, radius)):
        for x, y in doubt_dots():
            cv2.circle(canvas, (round(at[0] + x * size), round(at[1] + y * size)), r, bgr(colour), -1, cv2.LINE_AA)
