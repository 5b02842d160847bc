"""The photo with what was read drawn over it: pins by condition, tracks, teeth, doubtful ones marked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from disc.condition_marks import DOUBT_COLOUR, MARKS, bent_ring, lean_reach
from disc.frame import to_xy_mm
from disc.photo.image import Photo, opencv
from disc.photo.plane.view import View
from disc.photo.seen.seen_map import SeenMap
from disc.photo.sheets.draw_mark import bgr, draw_doubt, draw_mark
from disc.photo.sheets.shade import shade_unseen
from disc.photo.sheets.sheet_marks import BesidePins, draw_beside_pins
from disc.records import Condition, Pin
from disc.words import counted

# Unless said otherwise: laid out by eye.
TRACK_COLOUR = (120, 70, 20)  # RGB; dim, since tracks are no finding


def draw_overlay(
    photo: Photo, view: View, pins: Sequence[Pin], more: BesidePins | None = None, seen: SeenMap | None = None
) -> Any:
    """The photo's pixels (BGR) with the marks; same size as the photo. more: the measuring sheet's marks, and where
    close-ups lie. seen: what is hidden is hatched.
    """
    canvas = photo.pixels.copy()
    unit = max(view.px_per_mm, 8.0)  # marks grow with the disc in the picture
    if seen is not None:
        shade_unseen(canvas, seen, view.to_photo_px, unit)
    thin = max(1, round(unit * 0.022))
    _draw_circle(canvas, view, view.radius_mm, (200, 200, 60), thin)
    for track in view.tracks_mm:
        _draw_circle(canvas, view, track, TRACK_COLOUR, thin, 0.35)
    _draw_axes(canvas, view, unit, thin)
    for pin in pins:
        _draw_pin(canvas, view, pin, unit, thin)
    if more is not None:
        draw_beside_pins(canvas, view, more)
    _draw_key(canvas, view, pins)
    return canvas


def _points(view: View, x: Any, y: Any, height: float = 0.0) -> Any:
    u, v = view.to_photo_px(x, y, height)
    return np.stack([u, v], -1)


def _draw_circle(
    canvas: Any, view: View, r_mm: float, colour: tuple[int, int, int], thick: int, share: float = 1.0
) -> None:
    cv2 = opencv()
    t = np.linspace(0, 2 * np.pi, 361)
    points = np.round(_points(view, r_mm * np.cos(t), r_mm * np.sin(t)) * 16).astype(np.int32)
    if share >= 1.0:
        cv2.polylines(canvas, [points], True, colour, thick, cv2.LINE_AA, 4)
        return
    # dashes leave the metal to be seen
    cv2.polylines(canvas, [points[k : k + 2] for k in range(0, 360, 4)], False, colour, thick, cv2.LINE_AA, 4)


def _draw_axes(canvas: Any, view: View, unit: float, thin: int) -> None:
    cv2 = opencv()
    centre = _points(view, 0.0, 0.0)
    north = _points(view, np.array([view.radius_mm - 1.2, view.radius_mm + 0.5]), np.zeros(2))
    cv2.drawMarker(canvas, _int(centre), (255, 0, 255), cv2.MARKER_CROSS, round(unit * 0.8), thin + 1, cv2.LINE_AA)
    cv2.arrowedLine(canvas, _int(north[0]), _int(north[1]), (255, 0, 255), thin + 1, cv2.LINE_AA, tipLength=0.3)


def _int(point: Any) -> tuple[int, int]:
    return round(float(point[0])), round(float(point[1]))


def _draw_pin(canvas: Any, view: View, pin: Pin, unit: float, thin: int) -> None:
    x, y = to_xy_mm(pin.r_mm, pin.theta_deg)
    mark = MARKS[pin.condition]
    size = unit * 0.24
    at = _int(_points(view, x, y))
    tip = None
    if pin.height_mm and pin.condition in (Condition.SOUND, Condition.BENT, Condition.EXTRA):
        tip = _int(_points(view, x + (pin.lean_x_mm or 0.0), y + (pin.lean_y_mm or 0.0), pin.height_mm))
        if pin.condition is Condition.BENT:  # the picture shows its own lean
            mark = bent_ring()
            dx, dy = lean_reach(tip[0] - at[0], tip[1] - at[1], size)
            tip = _int((at[0] + dx, at[1] + dy))
    draw_mark(canvas, mark, at, size, thin + 1, tip)
    if pin.is_doubtful:
        draw_doubt(canvas, at, size, thin)
        _text(canvas, "?", (at[0] - round(size * 3.0), at[1] - round(size * 1.2)), unit * 0.02, bgr(DOUBT_COLOUR))
    if pin.tooth is not None:
        beside = (at[0] + round(size * 1.1), at[1] - round(size * 1.0))
        _text(canvas, str(pin.tooth), beside, unit * 0.012, bgr(mark.colour))


def _text(canvas: Any, words: str, at: tuple[int, int], scale: float, colour: tuple[int, int, int]) -> None:
    """Words with a light rim, legible on bright and dark metal."""
    cv2 = opencv()
    scale = max(scale, 0.35)
    thick = max(1, round(scale * 1.6))
    cv2.putText(canvas, words, at, cv2.FONT_HERSHEY_SIMPLEX, scale, (255, 255, 255), thick * 3, cv2.LINE_AA)
    dark = tuple(int(c * 0.7) for c in colour)
    cv2.putText(canvas, words, at, cv2.FONT_HERSHEY_SIMPLEX, scale, dark, thick, cv2.LINE_AA)


def _draw_key(canvas: Any, view: View, pins: Sequence[Pin]) -> None:
    """What the marks mean, with their counts, in the corner farthest from the disc."""
    cv2 = opencv()
    h, w = canvas.shape[:2]
    scale = max(0.45, w / 2600)
    line = round(34 * scale) + 4
    rows = [f"{view.side.value} side: {counted(len(pins), 'site')}"]
    rows += [f"{c.value}: {sum(p.condition is c for p in pins)}" for c in Condition]
    doubtful = sum(pin.is_doubtful for pin in pins)
    rows.append(f"ring of dots: look again ({doubtful})")
    wide = round(max(cv2.getTextSize(r, cv2.FONT_HERSHEY_SIMPLEX, scale, 1)[0][0] for r in rows) + 3 * line)
    tall = line * len(rows) + line // 2
    centre = _points(view, 0.0, 0.0)
    u0 = 0 if centre[0] > w / 2 else w - wide
    v0 = 0 if centre[1] > h / 2 else h - tall
    canvas[v0 : v0 + tall, u0 : u0 + wide] = (0.35 * canvas[v0 : v0 + tall, u0 : u0 + wide] + 0.65 * 250).astype(
        np.uint8
    )
    for k, row in enumerate(rows):
        base = (u0 + round(1.6 * line), v0 + line * (k + 1))
        middle = (u0 + round(0.8 * line), base[1] - line // 4)
        if 1 <= k <= len(MARKS):
            draw_mark(canvas, MARKS[list(Condition)[k - 1]], middle, line * 0.3, max(1, round(scale * 2)))
        elif k > len(MARKS):
            draw_doubt(canvas, middle, line * 0.2, 1)
        cv2.putText(
            canvas, row, base, cv2.FONT_HERSHEY_SIMPLEX, scale, (30, 30, 30), max(1, round(scale * 1.4)), cv2.LINE_AA
        )


def jpeg_bytes(canvas: Any, quality: int = 88) -> bytes:
    """A picture as JPEG."""
    cv2 = opencv()
    _, data = cv2.imencode(".jpg", canvas, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return bytes(data.tobytes())
