"""Both faces on one sheet, flattened, stop slot up, as if looking through the plate from the upper side: SVG.

Upper pins are drawn full, lower ones hollow, in the disc's own axes turned so that the slot points up.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

import numpy as np

from disc.frame import to_xy_mm
from disc.photo.seen.seen_map import SeenMap, Why
from disc.photo.sheets.overlay import COLOURS
from disc.photo.sheets.shade import hatch_svg
from disc.records import Condition, Pin, Side

MARGIN_MM, KEY_MM = 3.0, 14.0
PX_PER_MM = 26  # a page as wide as a screen; a pin is then some 6 px across


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
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-half:.2f} {-half:.2f} {wide:.2f} {tall:.2f}" '
        f'width="{wide * PX_PER_MM:.0f}" height="{tall * PX_PER_MM:.0f}" font-family="sans-serif">',
        f"<title>{escape(title or 'Both faces, seen through the plate')}</title>",
        f'<rect x="{-half}" y="{-half}" width="{wide}" height="{tall}" fill="#ffffff"/>',
        f'<circle r="{radius_mm}" fill="#fbf7ea" stroke="#555" stroke-width="0.08"/>',
        f'<rect x="-0.45" y="{-radius_mm - 0.1:.3f}" width="0.9" height="0.85" fill="#ffffff" stroke="#555" '
        'stroke-width="0.06"/>',
        f'<circle r="{(bore_mm or 1.0) / 2}" fill="#ffffff" stroke="#555" stroke-width="0.06"/>',
    ]
    for side, r in tracks:
        dash = "" if side is Side.UPPER else ' stroke-dasharray="0.3 0.3"'
        out.append(f'<circle r="{r:.3f}" fill="none" stroke="#b9ac86" stroke-width="0.03"{dash}/>')
    for side, seen in (maps or {}).items():
        if seen.reasons() == (Why.NO_PHOTO,):  # the sheet would be hatched all over, and the other face lost in it
            continue
        out += hatch_svg(seen, f"unseen-{side.value}", _north_up)
    out += _degrees(radius_mm)
    out += [_pin_svg(pin) for pin in pins]
    out += _key(half, radius_mm, pins)
    out.append("</svg>")
    return "\n".join(out) + "\n"


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
    rows = [f'<path d="{"".join(marks)}" stroke="#777" stroke-width="0.05" fill="none"/>']
    for theta in range(30, 360, 30):
        x, y = _north_up(radius_mm + 1.25, theta)
        rows.append(
            f'<text x="{x:.2f}" y="{y + 0.25:.2f}" font-size="0.7" text-anchor="middle" fill="#555">{theta}°</text>'
        )
    return rows


def _colour(condition: Condition) -> str:
    b, g, r = COLOURS[condition]
    return f"#{r:02x}{g:02x}{b:02x}"


def _pin_svg(pin: Pin) -> str:
    x, y = _north_up(pin.r_mm, pin.theta_deg)
    colour = _colour(pin.condition)
    fill = colour if pin.side is Side.UPPER else "none"
    size = 0.16
    name = f"{pin.side.value} {pin.condition.value}, r {pin.r_mm:.2f} mm, {pin.theta_deg:.1f} degrees"
    if pin.tooth is not None:
        name += f", tooth {pin.tooth}"
    # Yellow alone would be lost on the sheet; a cross cannot be hollow, so that the upper side's is the heavier one.
    edge = "#6b6000" if pin.condition is Condition.EXTRA else colour
    heavy = 0.11 if pin.condition is Condition.MISSING and pin.side is Side.UPPER else 0.06
    style = f'fill="{fill}" stroke="{edge}" stroke-width="{heavy}"'
    if pin.condition is Condition.SOUND:
        shape = f'<circle cx="{x:.3f}" cy="{y:.3f}" r="{size}" {style}/>'
    elif pin.condition is Condition.BENT:
        d = 1.5 * size
        shape = f'<path d="M{x:.3f} {y - d:.3f}l{d} {d}l{-d} {d}l{-d} {-d}z" {style}/>'
        if pin.lean_x_mm is not None and pin.lean_y_mm is not None:
            shape += (
                f'<path d="M{x:.3f} {y:.3f}l{-3 * pin.lean_y_mm:.3f} {-3 * pin.lean_x_mm:.3f}" stroke="{colour}" '
                'stroke-width="0.08"/>'
            )
    elif pin.condition is Condition.STUB:
        shape = f'<rect x="{x - size:.3f}" y="{y - size:.3f}" width="{2 * size}" height="{2 * size}" {style}/>'
    elif pin.condition is Condition.MISSING:
        s = 1.3 * size
        shape = f'<path d="M{x - s:.3f} {y - s:.3f}l{2 * s} {2 * s}m0 {-2 * s}l{-2 * s} {2 * s}" {style}/>'
    elif pin.condition is Condition.UNSEEN:
        s = 1.3 * size
        shape = f'<path d="M{x - s:.3f} {y - 0.8 * s:.3f}h{2 * s}l{-s} {1.8 * s}z" {style}/>'
    else:
        star = [
            (0.35 if k % 2 else 0.14) * np.array([np.sin(k * np.pi / 5), -np.cos(k * np.pi / 5)]) for k in range(1, 11)
        ]
        corners = " ".join(f"{x + dx:.3f},{y + dy:.3f}" for dx, dy in star)
        shape = f'<polygon points="{corners}" {style}/>'
    if pin.is_doubtful:
        shape += f'<circle cx="{x:.3f}" cy="{y:.3f}" r="0.4" fill="none" stroke="#d00" stroke-width="0.06"/>'
    if pin.tooth is not None:
        shape += f'<text x="{x + 0.25:.3f}" y="{y - 0.15:.3f}" font-size="0.5" fill="#333">{pin.tooth}</text>'
    return f"<g><title>{escape(name)}</title>{shape}</g>"


def _key(half: float, radius_mm: float, pins: Sequence[Pin]) -> list[str]:
    top = half + 1.2
    counts = {c: sum(p.condition is c for p in pins) for c in Condition}
    rows = [
        f'<text x="0" y="{-radius_mm - 0.9:.2f}" font-size="1" text-anchor="middle" fill="#333">stop slot</text>',
        f'<text x="{-half + 1:.2f}" y="{top:.2f}" font-size="0.95" fill="#222">Seen through the plate from the upper '
        "side. Full: upper, hollow: lower.</text>",
        f'<text x="{-half + 1:.2f}" y="{top + 1.4:.2f}" font-size="0.95" fill="#222">Bent pins carry their lean, three '
        "times as long.</text>",
    ]
    top += 1.4
    x = -half + 1.5
    for n, condition in enumerate(Condition):
        sample = Pin(0, Side.UPPER, 0.0, 0.0, condition=condition)
        rows.append(
            f'<g transform="translate({x + (n % 3) * 10:.2f} {top + 2 + (n // 3) * 2:.2f}) scale(1.6)">'
            f"{_pin_svg(sample)}</g>"
        )
        rows.append(
            f'<text x="{x + (n % 3) * 10 + 0.9:.2f}" y="{top + 2.4 + (n // 3) * 2:.2f}" font-size="1.1" fill="#222">'
            f"{condition.value}: {counts[condition]}</text>"
        )
    rows.append(
        f'<circle cx="{x:.2f}" cy="{top + 6:.2f}" r="0.5" fill="none" stroke="#d00" stroke-width="0.08"/>'
        f'<text x="{x + 0.9:.2f}" y="{top + 6.4:.2f}" font-size="1.1" fill="#222">look again</text>'
        f'<path d="M{x + 9.6:.2f} {top + 6.5:.2f}l0.9 -0.9m-0.5 0.9l0.5 -0.5m-0.9 0l0.5 -0.5" stroke="#6e2896" '
        f'stroke-width="0.12"/><text x="{x + 10.9:.2f}" y="{top + 6.4:.2f}" font-size="1.1" fill="#222">hatched: not '
        "seen</text>"
    )
    scale_y = top + 9.5
    ticks = "".join(f"M{-half + 1.5 + k:.2f} {scale_y:.2f}v{-0.6 if k % 5 else -1.0}" for k in range(11))
    rows.append(f'<path d="{ticks}M{-half + 1.5:.2f} {scale_y:.2f}h10" stroke="#222" stroke-width="0.06" fill="none"/>')
    rows.append(f'<text x="{-half + 12.2:.2f}" y="{scale_y:.2f}" font-size="1.1" fill="#222">10 mm</text>')
    return rows
