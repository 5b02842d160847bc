"""A map of both faces with the findings numbered as in the list: out/findings.svg, in millimetres, for the eye.

The lower face is drawn as one sees it when the disc is turned over, so mirrored; the sheet says so. For work on the
metal take the sheets of `disc repin`, which carry a check bar.
"""

from __future__ import annotations

from collections.abc import Sequence

from disc import svg
from disc.check.kinds import KINDS, Kind
from disc.condition_marks import DOUBT_COLOUR, MARKS
from disc.frame import disc_to_view_mm, to_xy_mm
from disc.photo.sheets.map_sheet import MARK_MM, mark_svg
from disc.records import Condition, Finding, Pin, Plate, Side

# A finding about a pin's condition has the colour of that condition everywhere else; the rest stand apart from those.
COLOURS: dict[Kind, str] = {
    Kind.MISSING: MARKS[Condition.MISSING].colour,
    Kind.STUB: MARKS[Condition.STUB].colour,
    Kind.BENT: MARKS[Condition.BENT].colour,
    Kind.EXTRA: MARKS[Condition.EXTRA].colour,
    Kind.IN_DOUBT: DOUBT_COLOUR,
    Kind.ABANDONED: "#777777",
}
OTHER_COLOUR = "#009E73"
# Sizes on the picture, in mm of the disc; chosen by hand, by looking.
MARGIN_MM = 4.0
LEGEND_LINE_MM = 2.2  # from line to line of the legend; likewise
TEXT_MM = 1.25  # height of the letters; likewise
# Unless said otherwise: laid out by eye.
RING_MM = 0.45  # radius of the ring about a finding
LABEL_REACH_MM = 1.1  # from the ring's middle to its number
LABEL_ROOM_MM = 1.8  # two numbers nearer than this would cover each other


def findings_svg(findings: Sequence[Finding], pins: Sequence[Pin], plate: Plate) -> str:
    """The picture as SVG text. findings: in the order of the list, numbered from 1."""
    radius = plate.radius_mm
    kinds = [kind for kind in KINDS if any(f.kind == kind for f in findings)]
    width = 2 * (2 * radius + 2 * MARGIN_MM)
    height = 2 * radius + 2 * MARGIN_MM + LEGEND_LINE_MM * (1 + max(len(kinds), 1))
    parts: list[str] = []
    for number, side in enumerate(Side):
        middle = (MARGIN_MM + radius) * (1 + 2 * number), MARGIN_MM + radius
        parts += _face(side, middle, findings, pins, plate)
    parts += _legend(kinds, findings, height)
    return svg.document(width, height, parts, unit="mm", font_family="sans-serif", font_size=TEXT_MM)


def _face(
    side: Side, middle: tuple[float, float], findings: Sequence[Finding], pins: Sequence[Pin], plate: Plate
) -> list[str]:
    cx, cy = middle
    radius = plate.radius_mm
    words = "upper face" if side is Side.UPPER else "lower face, as seen with the disc turned over (mirrored)"
    sx, sy = _on_sheet(side, radius, 0.0, middle)
    mark = f"M{svg.points([(sx - 0.8, sy), (sx + 0.3, sy - 0.5), (sx + 0.3, sy + 0.5)])}Z"
    parts = [
        svg.circle(cx, cy, radius, fill="#faf6ea", stroke="#444", stroke_width=0.12),
        svg.circle(cx, cy, (plate.bore_mm or 1.0) / 2, fill="#fff", stroke="#444", stroke_width=0.1),
        svg.path(mark, fill="#444"),
        svg.text(cx, MARGIN_MM - 1.6, words, text_anchor="middle"),
    ]
    for pin in pins:
        if pin.side is side:
            x, y = _on_sheet(side, pin.r_mm, pin.theta_deg, middle)
            parts.append(mark_svg(pin.condition, (x, y), MARK_MM, side is Side.UPPER, _lean(pin)))
    labels: list[tuple[float, float]] = []
    for number, finding in enumerate(findings, start=1):
        if finding.side is side:
            parts += _mark(number, finding, middle, labels)
    return parts


def _mark(number: int, finding: Finding, middle: tuple[float, float], labels: list[tuple[float, float]]) -> list[str]:
    """A ring about the place and its number beside it, moved outward where another number stands already."""
    colour = COLOURS.get(Kind(finding.kind), OTHER_COLOUR)
    x, y = _on_sheet(finding.side, finding.r_mm, finding.theta_deg, middle)
    reach = LABEL_REACH_MM
    while True:
        lx, ly = _on_sheet(finding.side, finding.r_mm + reach, finding.theta_deg, middle)
        if all((lx - a) ** 2 + (ly - b) ** 2 > LABEL_ROOM_MM**2 for a, b in labels):
            break
        reach += 0.4
    labels.append((lx, ly))
    ring = svg.circle(x, y, RING_MM, fill="none", stroke=colour, stroke_width=0.18)
    line = svg.line(x, y, lx, ly, stroke=colour, stroke_width=0.06)
    text = svg.text(
        lx, ly + 0.45, str(number), text_anchor="middle", fill=colour, stroke="#fff", stroke_width=0.25,
        paint_order="stroke", font_weight="bold",
    )  # fmt: skip
    return [ring, text] if reach == LABEL_REACH_MM else [ring, line, text]


def _legend(kinds: Sequence[Kind], findings: Sequence[Finding], height: float) -> list[str]:
    top = height - LEGEND_LINE_MM * (0.5 + max(len(kinds), 1))
    if not kinds:
        return [svg.text(MARGIN_MM, top + 1.0, "Nothing found that needs a hand.")]
    parts = []
    for row, kind in enumerate(kinds):
        y = top + LEGEND_LINE_MM * row
        colour = COLOURS.get(kind, OTHER_COLOUR)
        numbers = ", ".join(str(n) for n, f in enumerate(findings, start=1) if f.kind == kind)
        words = f"{KINDS[kind].heading}: {KINDS[kind].meaning}  ({numbers})"
        parts.append(svg.circle(MARGIN_MM, y + 0.5, 0.5, fill="none", stroke=colour, stroke_width=0.2))
        parts.append(svg.text(MARGIN_MM + 1.4, y + 1.0, words))
    return parts


def _on_sheet(side: Side, r_mm: float, theta_deg: float, middle: tuple[float, float]) -> tuple[float, float]:
    """A place on the sheet: the view of its face, y downwards as SVG has it."""
    x, y = disc_to_view_mm(*to_xy_mm(r_mm, theta_deg), side)
    return middle[0] + float(x), middle[1] - float(y)


def _lean(pin: Pin) -> tuple[float, float] | None:
    """Three times a bent pin's lean as its face shows it, y downwards; None where it was not measured."""
    if pin.condition is not Condition.BENT or pin.lean_x_mm is None or pin.lean_y_mm is None:
        return None
    x, y = disc_to_view_mm(pin.lean_x_mm, pin.lean_y_mm, pin.side)
    return 3.0 * float(x), -3.0 * float(y)
