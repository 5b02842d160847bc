"""A face of the disc on a page: at its true size with a table of its holes, or enlarged with a number at every hole.

Both show the stop slot, which way the disc turns, a bar of 100 mm and a cross of 10 mm to check the printer by. The
lower face is drawn as it is seen when the disc is turned over, and says so; every place passes through frame.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from disc.errors import BadInput
from disc.frame import carried_deg, to_xy_mm, turns_seen, wrap_deg
from disc.locale.catalogue import Language
from disc.records import USUAL_DIAMETER_MM, Plate, Side
from disc.repin.records import Operation, Plan, Station
from disc.repin.sheets.labels import Box, place_beside, spread_on_ring
from disc.repin.sheets.operation_marks import OTHER_FACE_PEN, STRAIGHTEN_REACH, draw_legend, draw_mark, sign_radius_mm
from disc.repin.sheets.rows import SHEET_HEADING, reason_lines, reason_words, sheet_row
from disc.repin.sheets.sheet import (
    HAIR_MM,
    NARROW_MM,
    PAGES_MM,
    WIDE_MM,
    DrawnSheet,
    FaceOnPage,
    Pen,
    Point,
    text_width_mm,
)
from disc.repin.work.metal_left import slot_size_mm
from disc.typeset import ADVANCE_EM
from disc.words import counted

MARGIN_MM = 12.0  # no printer needs more; common practice, no source
BAR_MM = 100.0  # the printed check bar, to be measured with a rule; half a millimetre on it is then half a per cent
CROSS_MM = 10.0  # of the cross at the bore's middle; chosen by hand
# Unless said otherwise: laid out by eye on the printed sheet.
HEAD_MM = 30.0  # height of the title block
FOOT_MM = 26.0  # height of check bar and legend
NUMBER_SIZE_MM = 2.4  # digits 1.75 mm high: read at arm's length; about 7 points
RING_SIZE_MM = 2.1  # on the ring at 1:1; digits 1.5 mm high, about 6 points
MARK_MM = 1.3  # radius of the signs on an enlarged sheet
RING_LINES = (0.95, 1.3)  # least and wished distance from number to number on the ring, in heights of the lettering
TRUE_SIZE_MARK_MM = 0.4  # likewise at 1:1, where pins may stand half a millimetre apart
BEHIND_MM = 1.0  # holes of the other face are shown within this of a hole to be drilled
LARGEST_ENLARGEMENT = 12  # times; chosen by hand


@dataclass(frozen=True, slots=True)
class JobPage:
    """What every sheet of a job has in common. name: of the job, printed in the title."""

    paper: str
    name: str
    language: Language = Language.EN


def largest_enlargement(plate: Plate, paper: str) -> int:
    """The largest whole enlargement at which a face fits the page with its numbers."""
    width, height = PAGES_MM[paper]
    room = min(width - 2 * MARGIN_MM - 10.0, height - 2 * MARGIN_MM - HEAD_MM - FOOT_MM - 10.0)
    return max(1, min(LARGEST_ENLARGEMENT, int(room / plate.diameter_mm)))


def enlarged_sheet(plan: Plan, side: Side, page: JobPage, scale: float) -> DrawnSheet:
    """A face enlarged, a number at every place with work. Raises BadInput if it does not fit the page."""
    most = largest_enlargement(plan.plate, page.paper)
    if not 1.0 < scale <= most:
        raise BadInput(
            f"an enlargement of {scale:g} does not fit {page.paper.upper()} for a disc of "
            f"{plan.plate.diameter_mm:g} mm; choose more than 1 and at most {most}."
        )
    sheet = DrawnSheet(page.paper, f"{page.name}, {side.value} face, {scale:g}:1", page.language)
    _title(sheet, plan, side, page, f"{scale:g} : 1")
    middle = MARGIN_MM + HEAD_MM + (sheet.height_mm - 2 * MARGIN_MM - HEAD_MM - FOOT_MM) / 2.0
    view = FaceOnPage(side, (sheet.width_mm / 2.0, middle), scale)
    _plate(sheet, plan, view, with_tracks=True)
    behind = _behind(plan, side)
    sheet.open_group("other-face")
    for station in behind:
        place = view.at(station.place.r_mm, station.place.theta_deg)
        sheet.circle(place, pin_mm(station) / 2.0 * scale, OTHER_FACE_PEN)
    sheet.close_group()
    _marks(sheet, plan, view, mark_radius_mm=MARK_MM)
    _numbers_beside(sheet, plan, view, MARK_MM)
    _foot(sheet, plan, side, bool(behind))
    return sheet


def true_size_sheet(plan: Plan, side: Side, page: JobPage) -> DrawnSheet:
    """A face at 1:1, numbers on a ring outside the rim, and the table of its holes as far as the page holds it."""
    sheet = DrawnSheet(page.paper, f"{page.name}, {side.value} face, 1:1", page.language)
    _title(sheet, plan, side, page, "1 : 1")
    ring = _ring_radius(plan, side)
    view = FaceOnPage(side, (sheet.width_mm / 2.0, MARGIN_MM + HEAD_MM + ring + 5.0), 1.0)
    _plate(sheet, plan, view, with_tracks=False)
    _marks(sheet, plan, view, mark_radius_mm=TRUE_SIZE_MARK_MM)
    has_ring = _numbers_on_ring(sheet, plan, view, ring)
    top = view.centre[1] + ring + 8.0
    if not has_ring:
        sheet.text((MARGIN_MM, top), "Too many holes for numbers at this size: see the enlarged sheet.", 2.6)
        top += 5.0
    _table(sheet, plan, side, top)
    _foot(sheet, plan, side)
    return sheet


def _behind(plan: Plan, side: Side) -> list[Station]:
    """Holes of the other face that lie within BEHIND_MM of a hole to be drilled on this one."""
    drilled = [s.place for s in plan.of(side) if s.needs_hole]
    return [
        s
        for s in plan.stations
        if s.side is not side
        and any(math.hypot(s.place.x_mm - d.x_mm, s.place.y_mm - d.y_mm) < BEHIND_MM for d in drilled)
    ]


# ---- title and foot


def _title(sheet: DrawnSheet, plan: Plan, side: Side, page: JobPage, scale_words: str) -> None:
    x, y = MARGIN_MM, MARGIN_MM + 6.0
    sheet.open_group("title")
    sheet.text((x, y), f"{side.value.upper()} FACE", 6.5, bold=True)
    sheet.text((sheet.width_mm - MARGIN_MM, y), f"scale {scale_words}", 5.0, anchor="end", bold=True)
    seen = turns_seen(plan.plate.turns, side)
    arrow_words = {"clockwise": "clockwise", "counterclockwise": "counter-clockwise"}[seen.value]
    if side is Side.LOWER:
        how = "Seen looking at the lower face, so mirrored: the disc's angles run clockwise here."
    else:
        how = "Seen looking at the upper face: the disc's angles run counter-clockwise here."
    lines = (
        f"{page.name}: disc of {plan.plate.diameter_mm:g} mm, {plan.plate.revolution_s:.4g} s a turn. "
        f"{counted(len(plan.numbered(side)), 'numbered place')}.",
        how,
        f"On this face the disc turns {arrow_words}. Angles count from the stop slot, on the right.",
        "Print at 100 %, not fitted to the page. Measure bar and cross before use: 100 mm and 10 mm.",
    )
    sheet.lines_of_text((x, y + 6.0), lines, 2.6, 4.0)
    rule = MARGIN_MM + HEAD_MM - 5.0
    sheet.line((x, rule), (sheet.width_mm - MARGIN_MM, rule), Pen(NARROW_MM))
    sheet.close_group()


def _foot(sheet: DrawnSheet, plan: Plan, side: Side, other_face: bool = False) -> None:
    y = sheet.height_mm - MARGIN_MM - 4.0
    x = MARGIN_MM
    pen = Pen(NARROW_MM)
    sheet.open_group("check-bar")
    sheet.line((x, y), (x + BAR_MM, y), pen)
    for mm in range(0, int(BAR_MM) + 1, 10):
        height = 3.0 if mm in (0, BAR_MM) else 1.5
        sheet.line((x + mm, y - height), (x + mm, y + (height if mm in (0, BAR_MM) else 0.0)), Pen(HAIR_MM))
    sheet.text((x + BAR_MM / 2.0, y + 3.2), "100 mm", 2.4, anchor="middle")
    sheet.close_group()
    cross_x = x + BAR_MM + 25.0
    sheet.open_group("check-cross")
    sheet.line((cross_x - CROSS_MM / 2, y), (cross_x + CROSS_MM / 2, y), Pen(HAIR_MM))
    sheet.line((cross_x, y - CROSS_MM / 2), (cross_x, y + CROSS_MM / 2), Pen(HAIR_MM))
    sheet.text((cross_x + 7.0, y + 0.9), "10 mm both ways", 2.4)
    sheet.close_group()
    order = list(Operation)
    used = sorted({s.operations for s in plan.numbered(side)}, key=lambda ops: [order.index(op) for op in ops])
    doubt = any(s.in_doubt for s in plan.numbered(side))
    sheet.open_group("legend")
    draw_legend(sheet, (MARGIN_MM, y - 12.0), used, doubt, other_face, sheet.width_mm - 2 * MARGIN_MM)
    sheet.close_group()


# ---- the plate


def _plate(sheet: DrawnSheet, plan: Plan, view: FaceOnPage, with_tracks: bool) -> None:
    plate = plan.plate
    sheet.open_group("plate")
    sheet.outline([view.at_xy(*place) for place in outline_mm(plate)], Pen(WIDE_MM if view.scale > 1 else NARROW_MM))
    if plate.bore_mm:
        sheet.circle(view.centre, plate.bore_mm / 2.0 * view.scale, Pen(NARROW_MM))
    arm = 1.5
    x, y = view.centre
    sheet.line((x - arm, y), (x + arm, y), Pen(HAIR_MM))
    sheet.line((x, y - arm), (x, y + arm), Pen(HAIR_MM))
    for window in plan.windows:
        sheet.outline([view.at_xy(*place) for place in window_outline_mm(window)], Pen(NARROW_MM))
    if with_tracks:
        radii = sorted({round(s.nominal.r_mm, 3) for s in plan.of(view.side) if s.nominal})
        for r_mm in radii if len(radii) <= 60 else []:
            sheet.circle(view.centre, r_mm * view.scale, Pen(HAIR_MM * 0.6, "#c4c4c4"))
    sheet.close_group()
    _slot_sign(sheet, plan, view)
    _turning_arrow(sheet, plan, view)


def outline_mm(plate: Plate) -> list[Point]:
    """Rim with its stop slot as a closed line in the disc's axes, mm; corners of the slot exact, rim every degree."""
    width, depth = slot_size_mm(plate)
    radius, half = plate.radius_mm, width / 2.0
    edge = math.degrees(math.asin(min(half / radius, 1.0)))
    steps = [edge + (360.0 - 2.0 * edge) * k / 358 for k in range(359)]
    return [*(_xy(radius, angle) for angle in steps), (radius - depth, -half), (radius - depth, half)]


def window_outline_mm(window: tuple[float, float, float, float]) -> list[Point]:
    """A crossing's opening as a closed line in the disc's axes, mm."""
    r_in, r_out, from_deg, to_deg = window
    span = float(wrap_deg(to_deg - from_deg))
    angles = [from_deg + span * k / 60 for k in range(61)]
    return [_xy(r_out, angle) for angle in angles] + [_xy(r_in, angle) for angle in reversed(angles)]


def _xy(r_mm: float, theta_deg: float) -> Point:
    x_mm, y_mm = to_xy_mm(r_mm, theta_deg)
    return float(x_mm), float(y_mm)


def _slot_sign(sheet: DrawnSheet, plan: Plan, view: FaceOnPage) -> None:
    """A triangle and words at the stop slot, outside the rim."""
    x, y = view.at(plan.plate.radius_mm, 0.0)
    sheet.open_group("stop-slot")
    if view.scale > 1:
        sheet.outline([(x + 0.6, y), (x + 3.0, y - 1.2), (x + 3.0, y + 1.2)], None, fill="#000000")
        words, place = "STOP SLOT", (x + 6.0, y)
        sheet.text((place[0], y + text_half(words, 2.2)), words, 2.2, turn_deg=-90.0)
    else:
        x = view.centre[0] + _ring_radius(plan, view.side) + 4.8
        sheet.outline([(x, y), (x + 2.4, y - 1.2), (x + 2.4, y + 1.2)], None, fill="#000000")
        sheet.text((x + 3.2, y + 0.8), "STOP SLOT", 2.2)
    if plan.plate.slot_width_mm is None:
        sheet.text((sheet.width_mm - MARGIN_MM, MARGIN_MM + 12.0), "slot's size not measured", 2.2, anchor="end")
    sheet.close_group()


def text_half(words: str, size_mm: float) -> float:
    """Half the width of words."""
    return text_width_mm(words, size_mm) / 2.0


def _turning_arrow(sheet: DrawnSheet, plan: Plan, view: FaceOnPage) -> None:
    """An arrow the way the disc turns, inside the innermost holes, round the far side from the slot."""
    innermost = min((s.place.r_mm for s in plan.of(view.side)), default=plan.plate.radius_mm)
    bore = (plan.plate.bore_mm or 0.0) / 2.0
    r_mm = bore + (innermost - bore) * 0.55
    points = [view.at(r_mm, carried_deg(180.0, turned, plan.plate.turns)) for turned in range(-60, 66, 5)]
    sheet.open_group("turning")
    pen = Pen(NARROW_MM if view.scale > 1 else HAIR_MM * 1.5)
    sheet.outline(points[:-1], pen, closed=False)
    sheet.arrow(points[-2], points[-1], pen, head_mm=2.4 if view.scale > 1 else 1.1)
    sheet.close_group()


# ---- marks and numbers


def _marks(sheet: DrawnSheet, plan: Plan, view: FaceOnPage, mark_radius_mm: float) -> None:
    for operation in Operation:
        group = [s for s in plan.of(view.side) if _main_operation(s) is operation]
        if group:
            sheet.open_group(operation.value)
            for station in group:
                draw_mark(sheet, view, station, mark_radius_mm, pin_mm(station))
            sheet.close_group()


def _main_operation(station: Station) -> Operation:
    """The operation whose group a station is drawn in: the first that is done there."""
    return station.operations[0]


def pin_mm(station: Station) -> float:
    """Diameter drawn for a station: its new pin's, else a usual one."""
    return station.stock.wire_mm if station.stock else USUAL_DIAMETER_MM


def _numbers_beside(sheet: DrawnSheet, plan: Plan, view: FaceOnPage, mark_radius_mm: float) -> None:
    numbered = plan.numbered(view.side)
    marks = [(view.at(s.place.r_mm, s.place.theta_deg), str(s.number)) for s in numbered]
    plain = [s for s in plan.of(view.side) if s.number is None]
    others = [(view.at(s.place.r_mm, s.place.theta_deg), pin_mm(s) / 2.0 * view.scale) for s in plain]
    others.append((view.centre, max((plan.plate.bore_mm or 0.0) / 2.0 * view.scale, 2.0)))
    rim_x, rim_y = view.at(plan.plate.radius_mm, 0.0)
    slot: Box = (rim_x - 4.0, rim_y - 8.0, rim_x + 7.0, rim_y + 8.0)
    page: Box = (MARGIN_MM, MARGIN_MM + HEAD_MM, sheet.width_mm - MARGIN_MM, sheet.height_mm - MARGIN_MM - FOOT_MM)
    thickest = max((pin_mm(s) / 2.0 * view.scale for s in numbered), default=0.0)
    reach = sign_radius_mm(mark_radius_mm, thickest) * STRAIGHTEN_REACH
    sheet.open_group("numbers")
    for label in place_beside(marks, reach, NUMBER_SIZE_MM, others, [slot], page):
        if label.line_from:
            sheet.line(label.line_from, _toward(label.line_from, label.centre, 1.2), Pen(HAIR_MM, "#555555"))
        words_at = (label.centre[0], label.box[3])
        sheet.text(words_at, label.words, NUMBER_SIZE_MM, anchor="middle", bold=True)
    sheet.close_group()


def _toward(start: Point, end: Point, short_mm: float) -> Point:
    """The end of a line that stops short of its goal."""
    length = math.dist(start, end)
    share = max(length - short_mm, 0.0) / length if length else 0.0
    return start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share


def _ring_radius(plan: Plan, side: Side) -> float:
    """Radius of the ring of numbers at 1:1, wide enough for all of them, page mm."""
    needed = len(plan.numbered(side)) * RING_SIZE_MM * RING_LINES[0] / math.tau
    return max(plan.plate.radius_mm + 6.0, needed + 1.0)


def _numbers_on_ring(sheet: DrawnSheet, plan: Plan, view: FaceOnPage, ring_mm: float) -> bool:
    """Numbers round the rim, turned outwards, each joined to the rim at its own angle. False: no room for them."""
    numbered = plan.numbered(view.side)
    places = [view.at(s.place.r_mm, s.place.theta_deg) for s in numbered]
    angles = [math.degrees(math.atan2(y - view.centre[1], x - view.centre[0])) for x, y in places]
    room = math.tau * ring_mm / (max(len(numbered), 1) * RING_SIZE_MM)
    spread = spread_on_ring(angles, math.degrees(min(RING_LINES[1], 0.98 * room) * RING_SIZE_MM / ring_mm))
    if spread is None or room < RING_LINES[0]:
        return False
    rim = plan.plate.radius_mm + 0.5
    sheet.open_group("numbers")
    for station, true_angle, angle in zip(numbered, angles, spread, strict=True):
        sheet.line(_polar(view.centre, rim, true_angle), _polar(view.centre, rim + 1.0, true_angle), Pen(HAIR_MM))
        sheet.line(_polar(view.centre, rim + 1.0, true_angle), _polar(view.centre, ring_mm - 0.4, angle), Pen(HAIR_MM))
        is_left = 90.0 < angle % 360.0 < 270.0
        half_digit = RING_SIZE_MM * 0.36
        x, y = _polar(view.centre, ring_mm, angle)
        turn = math.radians(angle)
        side_sign = -1.0 if is_left else 1.0
        at = (x - math.sin(turn) * half_digit * side_sign, y + math.cos(turn) * half_digit * side_sign)
        words = str(station.number)
        sheet.text(at, words, RING_SIZE_MM, "end" if is_left else "start", turn_deg=angle + (180.0 if is_left else 0.0))
    sheet.close_group()
    return True


def _polar(centre: Point, radius_mm: float, page_angle_deg: float) -> Point:
    turn = math.radians(page_angle_deg)
    return centre[0] + radius_mm * math.cos(turn), centre[1] + radius_mm * math.sin(turn)


# ---- the table under a 1:1 drawing


def _table(sheet: DrawnSheet, plan: Plan, side: Side, top_mm: float) -> None:
    """Rows of the numbered places, with the reasons where one column holds all, else in two columns without.

    The reasons are said whole if the page has the lines for it, else each is cut to its line. What does not fit is in
    the work list, and is said to be.
    """
    numbered = plan.numbered(side)
    bottom = sheet.height_mm - MARGIN_MM - FOOT_MM
    size, step = 2.05, 3.3
    per_column = max(int((bottom - top_mm) / step) - 1, 0)
    full_mm = sheet.width_mm - 2 * MARGIN_MM
    rows = [sheet_row(s, sheet.said) for s in numbered]
    column_mm = full_mm / 2.0
    if len(rows) <= per_column:
        column_mm = full_mm + 3.0
        room = int(full_mm / (ADVANCE_EM * size)) - len(SHEET_HEADING) - 2
        whole = [reason_lines(s, room, sheet.said) for s in numbered]
        if sum(len(lines) for lines in whole) > per_column:
            whole = [[reason_words(s, room, sheet.said)] for s in numbered]
        rows = [
            f"{' ' * len(row) if below else row}  {line}"
            for row, lines in zip(rows, whole, strict=True)
            for below, line in enumerate(lines)
        ]
    sheet.open_group("table")
    for column in range(2):
        part = rows[column * per_column : (column + 1) * per_column]
        if not part:
            break
        x = MARGIN_MM + column * (column_mm + 2.0)
        sheet.text((x, top_mm), SHEET_HEADING, size, bold=True)
        sheet.line((x, top_mm + 0.9), (x + column_mm - 3.0, top_mm + 0.9), Pen(HAIR_MM))
        sheet.lines_of_text((x, top_mm + step + 0.3), part, size, step, as_is=True)
    if len(rows) > 2 * per_column:
        rest = len(rows) - 2 * per_column
        sheet.text((MARGIN_MM, bottom), f"{counted(rest, 'more row')}: see the work list.", 2.4, bold=True)
    sheet.close_group()
