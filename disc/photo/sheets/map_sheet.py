"""Both faces on one sheet, flattened, stop slot up, as if looking through the plate from the upper side: SVG.

Upper pins are drawn full, lower ones hollow, in the disc's own axes turned so that the slot points up.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from disc import svg
from disc.condition_marks import DOUBT_COLOUR, MARKS, Point, bent_ring, doubt_dots, lean_reach
from disc.frame import to_xy_mm
from disc.photo.seen.seen_map import SeenMap, Why
from disc.photo.sheets.shade import hatch_svg
from disc.records import Condition, Pin, Side

MARGIN_MM, KEY_MM = 3.0, 14.0  # about the plate, and below it for the key; laid out by eye
MARK_MM = 0.17  # a sound pin's ring: somewhat wider than its pin, and 9 px across on the page; by eye
PX_PER_MM = 26  # a page as wide as a screen; a pin is then some 6 px across; by eye


def map_svg(
    pins: Sequence[Pin],
    radius_mm: float,
    bore_mm: float | None,
    tracks: Iterable[tuple[Side, float]],
    title: str = "",
    maps: Mapping[Side, SeenMap] | None = None,
) -> str:
    """The sheet as SVG text, with its own key. maps: what is hidden is hatched, each face its own way."""
    half = radius_mm + MARGIN_MM
    wide, tall = 2 * half, 2 * half + KEY_MM
    out = [
        svg.circle(0, 0, radius_mm, fill="#fbf7ea", stroke="#555", stroke_width=0.08),
        svg.rect(-0.45, -radius_mm - 0.1, 0.9, 0.85, fill="#ffffff", stroke="#555", stroke_width=0.06),
        svg.circle(0, 0, (bore_mm or 1.0) / 2, fill="#ffffff", stroke="#555", stroke_width=0.06),
    ]
    for side, r in tracks:
        dash = None if side is Side.UPPER else "0.3 0.3"
        out.append(svg.circle(0, 0, r, fill="none", stroke="#b9ac86", stroke_width=0.03, stroke_dasharray=dash))
    for side, seen in (maps or {}).items():
        if seen.reasons() == (Why.NO_PHOTO,):  # the sheet would be hatched all over, and the other face lost in it
            continue
        out += hatch_svg(seen, f"unseen-{side.value}", _north_up)
    out += _degrees(radius_mm)
    out += [_pin_svg(pin) for pin in pins]
    out += _key(half, radius_mm, pins)
    return svg.document(
        round(wide * PX_PER_MM), round(tall * PX_PER_MM), out, view_box=(-half, -half, wide, tall),
        title=title or "Both faces, seen through the plate", font_family="sans-serif",
    )  # fmt: skip


def _north_up(r_mm: float, theta_deg: float) -> tuple[float, float]:
    """Sheet mm, y down, with the slot (theta 0) up and the upper side's sense of turning."""
    x, y = to_xy_mm(r_mm, theta_deg)
    return -float(y), -float(x)


def _degrees(radius_mm: float) -> list[str]:
    """Marks of theta round the rim, every 10 degrees, with figures every 30."""
    marks = []
    for theta in range(0, 360, 10):
        out = 0.5 if theta % 30 == 0 else 0.25
        (x0, y0), (x1, y1) = _north_up(radius_mm + 0.1, theta), _north_up(radius_mm + 0.1 + out, theta)
        marks.append(f"M{x0:.2f} {y0:.2f}L{x1:.2f} {y1:.2f}")
    rows = [svg.path("".join(marks), stroke="#777", stroke_width=0.05, fill="none")]
    for theta in range(30, 360, 30):
        x, y = _north_up(radius_mm + 1.25, theta)
        rows.append(svg.text(x, y + 0.25, f"{theta}°", font_size=0.7, text_anchor="middle", fill="#555"))
    return rows


def _path(strokes: Iterable[tuple[Point, ...]], x: float, y: float, size: float) -> str:
    runs = (" ".join(f"{x + dx * size:.3f},{y + dy * size:.3f}" for dx, dy in stroke) for stroke in strokes)
    return "".join(f"M{run}" for run in runs)


def mark_svg(condition: Condition, at: Point, size: float, is_full: bool = True, lean: Point | None = None) -> str:
    """A condition's mark about a place: what it encloses full, as on the upper face, or hollow, as on the lower one.

    size: a ring's radius, in the drawing's unit; lean: how far a bent pin's tip stands off, so as to be drawn; None:
    not known, or not bent.
    """
    x, y = at
    mark = MARKS[condition] if lean is None else bent_ring()
    full = mark.colour if is_full else "none"
    # Lines inside a full shape are light; where nothing is enclosed, the full face's lines are the heavier ones.
    inner = "#ffffff" if is_full and mark.closed else mark.colour
    heavy = 0.6 * size if is_full and not mark.closed else 0.265 * size
    open_strokes = [stroke for stroke in mark.strokes if stroke not in mark.closed]
    shape = ""
    if mark.closed:
        shape += svg.path(_path(mark.closed, x, y, size), fill=full, stroke=mark.colour, stroke_width=0.353 * size)
    if open_strokes:
        lines = _path(open_strokes, x, y, size)
        if condition is not Condition.STUB and mark.closed and is_full:  # these reach beyond their shape
            shape += svg.path(lines, fill="none", stroke=mark.colour, stroke_width=0.765 * size)
        shape += svg.path(lines, fill="none", stroke=inner, stroke_width=heavy)
    if lean is not None:
        dx, dy = lean_reach(*lean, size)
        shape += svg.line(x, y, x + dx, y + dy, stroke=mark.colour, stroke_width=0.47 * size)
    return shape


def _doubt_svg(x: float, y: float, size: float) -> str:
    dots = "".join(f"M{x + dx * size:.3f} {y + dy * size:.3f}h0" for dx, dy in doubt_dots())
    return svg.path(dots, stroke=DOUBT_COLOUR, stroke_width=0.4 * size, stroke_linecap="round")


def _pin_svg(pin: Pin) -> str:
    x, y = _north_up(pin.r_mm, pin.theta_deg)
    name = f"{pin.side.value} {pin.condition.value}, r {pin.r_mm:.2f} mm, {pin.theta_deg:.1f} degrees"
    if pin.tooth is not None:
        name += f", tooth {pin.tooth}"
    lean: Point | None = None
    if pin.condition is Condition.BENT and pin.lean_x_mm is not None and pin.lean_y_mm is not None:
        lean = -3 * pin.lean_y_mm, -3 * pin.lean_x_mm
    shape = mark_svg(pin.condition, (x, y), MARK_MM, pin.side is Side.UPPER, lean)
    if pin.is_doubtful:
        shape += _doubt_svg(x, y, MARK_MM)
    if pin.tooth is not None:
        shape += svg.text(x + 0.25, y - 0.15, str(pin.tooth), font_size=0.5, fill="#333")
    return svg.element("g", svg.element("title", escape(name)), shape)


def _key(half: float, radius_mm: float, pins: Sequence[Pin]) -> list[str]:
    top = half + 1.2
    counts = {c: sum(p.condition is c for p in pins) for c in Condition}
    small: dict[str, svg.Value] = {"font_size": 0.95, "fill": "#222"}
    plain: dict[str, svg.Value] = {"font_size": 1.1, "fill": "#222"}
    rows = [
        svg.text(0, -radius_mm - 0.9, "stop slot", font_size=1, text_anchor="middle", fill="#333"),
        svg.text(-half + 1, top, "Seen through the plate from the upper side. Full: upper, hollow: lower.", **small),
        svg.text(-half + 1, top + 1.4, "Bent pins carry their lean, three times as long or more.", **small),
    ]
    top += 1.4
    x = -half + 1.5
    for n, condition in enumerate(Condition):
        sample = Pin(0, Side.UPPER, 0.0, 0.0, condition=condition)
        at_x, at_y = x + (n % 3) * 10, top + 2 + (n // 3) * 2
        placed = f"translate({svg.number(at_x)} {svg.number(at_y)}) scale(1.6)"
        rows.append(svg.element("g", _pin_svg(sample), transform=placed))
        rows.append(svg.text(at_x + 0.9, at_y + 0.4, f"{condition.value}: {counts[condition]}", **plain))
    hatch = f"M{x + 9.6:.2f} {top + 6.5:.2f}l0.9 -0.9m-0.5 0.9l0.5 -0.5m-0.9 0l0.5 -0.5"
    rows += [
        _doubt_svg(x, top + 6, 0.28),
        svg.text(x + 0.9, top + 6.4, "look again", **plain),
        svg.path(hatch, stroke="#6e2896", stroke_width=0.12),
        svg.text(x + 10.9, top + 6.4, "hatched: not seen", **plain),
    ]
    scale_y = top + 9.5
    ticks = "".join(f"M{-half + 1.5 + k:.2f} {scale_y:.2f}v{-0.6 if k % 5 else -1.0}" for k in range(11))
    rows.append(svg.path(f"{ticks}M{-half + 1.5:.2f} {scale_y:.2f}h10", stroke="#222", stroke_width=0.06, fill="none"))
    rows.append(svg.text(-half + 12.2, scale_y, "10 mm", **plain))
    return rows
