"""The one place where millimetres of the disc become millimetres of a page: a drawing, written as SVG in mm.

A Sheet gathers lines, circles and words; one unit of the SVG is one millimetre of paper. A View says where a face of
the disc lies on the page and how much it is enlarged; which way the face is seen is frame.py's decision. Page axes: x
right, y down, (0, 0) the top left corner.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from disc import svg
from disc.frame import disc_to_view_mm, to_xy_mm
from disc.locale.catalogue import Language
from disc.locale.said import said_in
from disc.records import Side
from disc.typeset import ADVANCE_EM, LETTERING, PAPERS_MM, PRINTED_ON

Point = tuple[float, float]

PAGES_MM = {name: PAPERS_MM[name] for name in PRINTED_ON}  # of printed sheets

DIGIT_HEIGHT_EM = 0.729  # of a "1": 1493 of the font's 2048 units
# Line widths of ISO 128, group 0.35, from memory. Hair lines: a 600 dpi printer (0.042 mm) still shows them at 0.1.
HAIR_MM = 0.10
NARROW_MM = 0.18  # ISO 128, group 0.35: narrow line, as said above
WIDE_MM = 0.35  # ISO 128, group 0.35: wide line


@dataclass(frozen=True, slots=True)
class Pen:
    """How a line is drawn. dash_mm: strokes and gaps, empty for a whole line."""

    width_mm: float = NARROW_MM
    colour: str = "#000000"
    dash_mm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class FaceOnPage:
    """A face on the page: where its centre lies, and page mm for one mm of the disc."""

    side: Side
    centre: Point
    scale: float

    def at_xy(self, x_mm: float, y_mm: float) -> Point:
        """Page place of a place in the disc's axes."""
        view_x, view_y = disc_to_view_mm(x_mm, y_mm, self.side)
        return self.centre[0] + self.scale * float(view_x), self.centre[1] - self.scale * float(view_y)

    def at(self, r_mm: float, theta_deg: float) -> Point:
        """Page place of a polar place."""
        x_mm, y_mm = to_xy_mm(r_mm, theta_deg)
        return self.at_xy(float(x_mm), float(y_mm))

    def shift(self, dx_mm: float, dy_mm: float) -> Point:
        """A shift in the disc's axes as a shift on the page."""
        x, y = self.at_xy(dx_mm, dy_mm)
        return x - self.centre[0], y - self.centre[1]


def text_width_mm(words: str, size_mm: float) -> float:
    """Width of words set at this size (em, mm)."""
    return len(words) * ADVANCE_EM * size_mm


class DrawnSheet:
    """One page being drawn. Groups carry a name, so that a drawing program shows them as layers."""

    def __init__(self, page: str, title: str, language: Language = Language.EN) -> None:
        self.width_mm, self.height_mm = PAGES_MM[page]
        self.title = title
        self.said = said_in(language)  # every word drawn is in the reader's language
        self._parts: list[str] = []
        self._groups: list[tuple[str, list[str]]] = []

    def open_group(self, name: str) -> None:
        """What follows belongs together."""
        self._groups.append((name, self._parts))
        self._parts = []

    def close_group(self) -> None:
        """End of the group."""
        name, outer = self._groups.pop()
        outer.append(svg.element("g", "\n", "\n".join(self._parts), "\n", id=name))
        self._parts = outer

    def line(self, start: Point, end: Point, pen: Pen) -> None:
        """A straight line."""
        self._parts.append(svg.line(*start, *end, **_stroke(pen)))

    def circle(self, centre: Point, radius_mm: float, pen: Pen | None, fill: str = "none") -> None:
        """A circle; without a pen only its filling."""
        self._parts.append(svg.circle(*centre, radius_mm, fill=fill, **_stroke(pen)))

    def outline(self, points: Sequence[Point], pen: Pen | None, fill: str = "none", closed: bool = True) -> None:
        """Straight lines through points."""
        shape = "polygon" if closed else "polyline"
        self._parts.append(svg.element(shape, points=svg.points(points), fill=fill, **_stroke(pen)))

    def arrow(self, start: Point, end: Point, pen: Pen, head_mm: float = 1.2) -> None:
        """A line with a filled head at its end; shorter than its head it is all head."""
        length = math.dist(start, end)
        if length < 1e-6:
            return
        ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
        base = (end[0] - ux * head_mm, end[1] - uy * head_mm)
        if length > head_mm:
            self.line(start, base, pen)
        half = head_mm * 0.32
        self.outline(
            [end, (base[0] - uy * half, base[1] + ux * half), (base[0] + uy * half, base[1] - ux * half)],
            None,
            fill=pen.colour,
        )

    def text(
        self,
        at: Point,
        words: str,
        size_mm: float,
        anchor: str = "start",
        bold: bool = False,
        colour: str = "#000000",
        turn_deg: float = 0.0,
        as_is: bool = False,
    ) -> None:
        """Words with their base line at this place; anchor: start, middle or end. turn_deg: clockwise on the page.

        as_is: they are in the reader's language already.
        """
        x, y = at
        turned = f"rotate({svg.number(turn_deg)} {svg.number(x)} {svg.number(y)})" if turn_deg else None
        self._parts.append(svg.text(
            x, y, words if as_is else self.said(words), font_family=f"{LETTERING}, monospace", font_size=size_mm,
            text_anchor=anchor, fill=colour, xml_space="preserve", font_weight="bold" if bold else None,
            transform=turned,
        ))  # fmt: skip

    def lines_of_text(
        self, at: Point, lines: Iterable[str], size_mm: float, step_mm: float, as_is: bool = False
    ) -> float:
        """Words line under line; returns y of the line after the last."""
        x, y = at
        for words in lines:
            self.text((x, y), words, size_mm, as_is=as_is)
            y += step_mm
        return y

    def svg(self) -> str:
        """The page as SVG text, one unit to the millimetre."""
        head = '<?xml version="1.0" encoding="UTF-8"?>\n'
        return head + svg.document(self.width_mm, self.height_mm, self._parts, unit="mm", title=self.title)


def _stroke(pen: Pen | None) -> dict[str, svg.Value]:
    if pen is None:
        return {}
    dash = " ".join(svg.number(d) for d in pen.dash_mm) if pen.dash_mm else None
    return {"stroke": pen.colour, "stroke_width": pen.width_mm, "stroke_dasharray": dash}
