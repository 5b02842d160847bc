"""How each operation looks on a sheet: one sign for each, told apart by shape first, so that a grey copy reads as well.

A place with two operations carries both signs: a stub to be pulled and set anew is a cross lying on its side with a
dot, a hole to be drilled and pinned an upright cross with a dot.
"""

from __future__ import annotations

import math

from disc.repin.records import Operation, Station
from disc.repin.sheet import HAIR_MM, Pen, Point, Sheet, View

LEAVE_GREY = "#8a8a8a"
COLOURS = {
    Operation.LEAVE: LEAVE_GREY,
    Operation.STRAIGHTEN: "#0b5fa5",
    Operation.PULL: "#b3261e",
    Operation.PLUG: "#6a3d9a",
    Operation.DRILL: "#000000",
    Operation.SET: "#000000",
    Operation.SHORTEN: "#8a5a00",
}
MEANINGS = {
    Operation.LEAVE: "leave",
    Operation.STRAIGHTEN: "straighten, push this way",
    Operation.PULL: "pull",
    Operation.PLUG: "plug",
    Operation.DRILL: "drill",
    Operation.SET: "set a pin",
    Operation.SHORTEN: "shorten",
}


def draw_mark(sheet: Sheet, view: View, station: Station, radius_mm: float, diameter_mm: float) -> None:
    """The signs of a station at its place. radius_mm: of the sign on paper; diameter_mm: of the pin on the disc."""
    centre = view.at(station.place.r_mm, station.place.theta_deg)
    true_radius = diameter_mm / 2.0 * view.scale
    if station.number is None:
        sheet.circle(centre, true_radius, Pen(HAIR_MM, LEAVE_GREY))
        return
    for task in station.tasks:
        push = view.shift(task.push_x_mm, task.push_y_mm)
        draw_sign(sheet, task.operation, centre, radius_mm, true_radius, push)
    if station.in_doubt:
        sheet.circle(centre, radius_mm * 1.25, Pen(HAIR_MM * 1.5, "#000000", (0.5, 0.4)))


def draw_sign(
    sheet: Sheet,
    operation: Operation,
    centre: Point,
    radius_mm: float,
    true_radius_mm: float,
    push: Point = (1.0, 0.0),
) -> None:
    """One sign. push: the way a tip is pushed, page axes; its length does not matter."""
    x, y = centre
    r = radius_mm
    pen = Pen(max(HAIR_MM, r * 0.12), COLOURS[operation])
    if operation is Operation.DRILL:
        sheet.line((x - r, y), (x + r, y), pen)
        sheet.line((x, y - r), (x, y + r), pen)
        sheet.circle(centre, true_radius_mm, Pen(HAIR_MM, pen.colour))
    elif operation is Operation.SET:
        sheet.circle(centre, true_radius_mm, None, fill=pen.colour)
    elif operation is Operation.PULL:
        side = r * math.sqrt(0.5)
        sheet.line((x - side, y - side), (x + side, y + side), pen)
        sheet.line((x - side, y + side), (x + side, y - side), pen)
    elif operation is Operation.STRAIGHTEN:
        sheet.circle(centre, true_radius_mm, Pen(HAIR_MM, pen.colour))
        length = math.hypot(*push)
        if length > 1e-9:
            ux, uy = push[0] / length, push[1] / length
            sheet.arrow((x - ux * r, y - uy * r), (x + ux * r * 1.4, y + uy * r * 1.4), pen, head_mm=max(r * 0.8, 0.4))
    elif operation is Operation.PLUG:
        sheet.circle(centre, r * 0.8, pen)
        sheet.line((x - r * 0.57, y + r * 0.57), (x + r * 0.57, y - r * 0.57), pen)
    elif operation is Operation.SHORTEN:
        sheet.circle(centre, true_radius_mm, Pen(HAIR_MM, pen.colour))
        sheet.line((x - r, y - r * 0.7), (x + r, y - r * 0.7), pen)
        sheet.line((x, y - r * 0.7), (x, y), pen)
    else:
        sheet.circle(centre, true_radius_mm, Pen(HAIR_MM, pen.colour))
        sheet.circle(centre, r * 0.8, Pen(HAIR_MM, pen.colour))


def draw_legend(sheet: Sheet, at: Point, used: list[Operation], in_doubt: bool, columns_mm: float) -> float:
    """The signs used and their meaning, in a row or two; returns y below it."""
    x0, y = at
    x = x0
    entries: list[Operation | None] = [*used, *([None] if in_doubt else [])]
    for entry in entries:
        words = "in doubt: decide first" if entry is None else MEANINGS[entry]
        width = 4.0 + len(words) * 1.35 + 4.0
        if x + width > x0 + columns_mm:
            x, y = x0, y + 4.5
        centre = (x + 1.6, y - 0.8)
        if entry is None:
            sheet.circle(centre, 1.5, Pen(HAIR_MM * 1.5, "#000000", (0.5, 0.4)))
        else:
            draw_sign(sheet, entry, centre, 1.3, 0.45)
        sheet.text((x + 4.2, y), words, 2.2)
        x += width
    return y + 4.5
