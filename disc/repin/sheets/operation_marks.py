"""How each operation looks on a sheet: one sign for each, told apart by shape first, so that a grey copy reads as well.

A place with two operations carries both signs: a stub to be pulled and set anew is a cross lying on its side with a
dot, a hole to be drilled and pinned an upright cross with a dot.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from disc.repin.records import Operation, Station
from disc.repin.sheets.sheet import HAIR_MM, DrawnSheet, FaceOnPage, Pen, Point

LEAVE_GREY = "#8a8a8a"
# Broken lines, mm on paper: what is not worked on this face, and what is in doubt. Chosen by hand, by looking.
OTHER_FACE_PEN = Pen(HAIR_MM, "#8a8a8a", (0.3, 0.3))
DOUBT_PEN = Pen(HAIR_MM * 1.5, "#000000", (0.5, 0.4))  # in doubt, as said above
# Unless said otherwise: laid out by eye.
DOUBT_RADII = 1.6  # of the ring that says in doubt, in radii of the sign
PIN_GREY = "#b4b4b4"
STRAIGHTEN_REACH = 1.6  # of the arrow's head beyond the pin, in radii of the sign
COLOURS = {
    Operation.LOOK: "#000000",
    Operation.LEAVE: LEAVE_GREY,
    Operation.STRAIGHTEN: "#0b5fa5",
    Operation.PULL: "#b3261e",
    Operation.PLUG: "#6a3d9a",
    Operation.DRILL: "#000000",
    Operation.SET: "#000000",
    Operation.SHORTEN: "#8a5a00",
}
MEANINGS = {
    Operation.LOOK: "look first",
    Operation.LEAVE: "leave",
    Operation.STRAIGHTEN: "straighten, push this way",
    Operation.PULL: "pull",
    Operation.PLUG: "plug",
    Operation.DRILL: "drill",
    Operation.SET: "set a pin",
    Operation.SHORTEN: "shorten",
}


def draw_mark(sheet: DrawnSheet, view: FaceOnPage, station: Station, radius_mm: float, diameter_mm: float) -> None:
    """The signs of a station at its place. radius_mm: of the sign on paper; diameter_mm: of the pin on the disc."""
    centre = view.at(station.place.r_mm, station.place.theta_deg)
    true_radius = diameter_mm / 2.0 * view.scale
    if station.number is None:
        sheet.circle(centre, true_radius, Pen(HAIR_MM, LEAVE_GREY))
        return
    radius = sign_radius_mm(radius_mm, true_radius)
    push = view.shift(sum(t.push_x_mm for t in station.tasks), sum(t.push_y_mm for t in station.tasks))
    draw_signs(sheet, station.operations, centre, radius, true_radius, push)
    if station.in_doubt:
        sheet.circle(centre, radius * DOUBT_RADII, DOUBT_PEN)


def sign_radius_mm(radius_mm: float, true_radius_mm: float) -> float:
    """Radius of a sign on paper: as wished, but always standing out beyond the pin drawn at its true size."""
    return max(radius_mm, true_radius_mm * 1.3 + 0.4 * radius_mm)


def draw_signs(
    sheet: DrawnSheet,
    operations: Sequence[Operation],
    centre: Point,
    radius_mm: float,
    true_radius_mm: float,
    push: Point = (1.0, 0.0),
) -> None:
    """The signs of all operations at one place; where a hole is drilled the pin is grey, so that its middle shows."""
    if Operation.DRILL in operations and Operation.SET in operations:
        sheet.circle(centre, true_radius_mm, None, fill=PIN_GREY)
    if tuple(operations) == (Operation.SET,):
        sheet.circle(centre, radius_mm * 0.9, Pen(HAIR_MM))  # a dot of the pin's true size alone is easily overlooked
    for operation in operations:
        if not (operation is Operation.SET and Operation.DRILL in operations):
            draw_sign(sheet, operation, centre, radius_mm, true_radius_mm, push)


def draw_sign(
    sheet: DrawnSheet,
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
    if operation is Operation.LOOK:  # a loupe
        sheet.circle(centre, r * 0.7, pen)
        sheet.line((x + r * 0.5, y + r * 0.5), (x + r * 1.2, y + r * 1.2), pen)
    elif operation is Operation.DRILL:
        sheet.line((x - r, y), (x + r, y), pen)
        sheet.line((x, y - r), (x, y + r), pen)
        sheet.circle(centre, true_radius_mm, Pen(HAIR_MM, pen.colour))
    elif operation is Operation.SET:
        sheet.circle(centre, true_radius_mm, None, fill=pen.colour)
    elif operation is Operation.PULL:
        sheet.line((x - r, y - r), (x + r, y + r), pen)
        sheet.line((x - r, y + r), (x + r, y - r), pen)
    elif operation is Operation.STRAIGHTEN:
        sheet.circle(centre, true_radius_mm, Pen(HAIR_MM, pen.colour))
        length = math.hypot(*push)
        if length > 1e-9:
            ux, uy = push[0] / length, push[1] / length
            ends = (x - ux * r, y - uy * r), (x + ux * r * STRAIGHTEN_REACH, y + uy * r * STRAIGHTEN_REACH)
            sheet.arrow(*ends, pen, head_mm=max(r * 0.8, 0.4))
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


IN_DOUBT_WORDS = "in doubt: decide first"
OTHER_FACE_WORDS = "hole of the other face"


def draw_legend(
    sheet: DrawnSheet,
    at: Point,
    used: Sequence[tuple[Operation, ...]],
    in_doubt: bool,
    other_face: bool,
    columns_mm: float,
) -> float:
    """The signs used and their meaning, in a row or two; returns y below it."""
    x0, y = at
    x = x0
    nothing: tuple[Operation, ...] = ()
    entries = [(operations, " + ".join(sheet.said(MEANINGS[op]) for op in operations)) for operations in used]
    entries += [(nothing, doubt := sheet.said(IN_DOUBT_WORDS))] if in_doubt else []
    entries += [(nothing, sheet.said(OTHER_FACE_WORDS))] if other_face else []
    for operations, words in entries:
        width = 4.0 + len(words) * 1.35 + 4.0
        if x + width > x0 + columns_mm:
            x, y = x0, y + 4.5
        centre = (x + 1.6, y - 0.8)
        if operations:
            draw_signs(sheet, operations, centre, 1.2, 0.45)
        elif in_doubt and words == doubt:
            sheet.circle(centre, 1.5, DOUBT_PEN)
        else:
            sheet.circle(centre, 0.8, OTHER_FACE_PEN)
        sheet.text((x + 4.2, y), words, 2.2, as_is=True)
        x += width
    return y + 4.5
