"""How each condition of a pin is drawn, everywhere: one shape and one colour, told apart without the colour too.

Shapes are lines in units of a mark's size (a sound pin's ring has radius 1), x right and y down, as screens and SVG
count: sound a ring; bent a ring with its lean; stub a square with a bar; missing a broken ring with a cross; extra a
triangle; not seen an eye struck through. Photographs, sheets and the desk's page draw these; the page has the same
lines in desk/page/static/js/marks.js, and a test holds the two together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from disc.records import Condition

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Mark:
    """A condition's mark. strokes: lines of the outline, each a run of points; a closed one ends where it began.

    colour: as CSS writes it, red, green, blue in two hexadecimal digits each.
    """

    colour: str
    strokes: tuple[tuple[Point, ...], ...]

    @property
    def rgb(self) -> tuple[int, int, int]:
        """The colour as red, green, blue, 0 to 255 each."""
        red, green, blue = bytes.fromhex(self.colour[1:])
        return red, green, blue

    @property
    def closed(self) -> tuple[tuple[Point, ...], ...]:
        """The strokes that enclose something, and may be filled."""
        return tuple(stroke for stroke in self.strokes if len(stroke) > 2 and stroke[0] == stroke[-1])


def _arc(from_rad: float, to_rad: float, steps: int, radius: float = 1.0) -> tuple[Point, ...]:
    turns = [from_rad + (to_rad - from_rad) * k / steps for k in range(steps + 1)]
    return tuple((round(radius * math.cos(t), 4), round(radius * math.sin(t), 4)) for t in turns)


def _shut(*corners: Point) -> tuple[Point, ...]:
    return (*corners, corners[0])


UNKNOWN_LEAN = (1.45, -1.25)  # where the drawn tip stands, in radii of the ring; by eye
# Outlines on a circle of radius 1, drawn by eye.
_RING = _arc(0.0, 2.0 * math.pi, 32)[:-1]
_EYE_TOP = tuple((x, round(-0.45 * math.sin(math.pi * (x + 1.0) / 2.0), 4)) for x in (-1.0, -0.5, 0.0, 0.5, 1.0))
_EYE = _EYE_TOP + tuple((x, -y) for x, y in _EYE_TOP[-2:0:-1])

# Dark colours, which stand on brass and on paper; where the ground is a photograph, a light casing lies under the line.
MARKS: Mapping[Condition, Mark] = {
    Condition.SOUND: Mark("#1f4e79", (_shut(*_RING),)),
    # A ring whose pin leans out of it; where the lean is known, it is drawn as it is instead.
    Condition.BENT: Mark("#9a4a12", (_shut(*_RING), ((0.0, 0.0), UNKNOWN_LEAN))),
    Condition.STUB: Mark(
        "#6b4a00",
        (_shut((-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)), ((-0.4, 0.0), (0.4, 0.0))),
    ),
    Condition.MISSING: Mark(
        "#9b1c31",
        (
            *(_arc(k * math.pi / 2 + 0.25, (k + 1) * math.pi / 2 - 0.25, 6) for k in range(4)),
            ((-0.45, -0.45), (0.45, 0.45)),
            ((-0.45, 0.45), (0.45, -0.45)),
        ),
    ),
    Condition.EXTRA: Mark("#60389a", (_shut((0.0, -1.15), (1.0, 0.75), (-1.0, 0.75)),)),
    Condition.UNSEEN: Mark("#4a4f55", (_shut(*_EYE), ((-1.0, 1.0), (1.0, -1.0)))),
}

# Around the mark of a pin that a person should look at again: dots, at this radius and of this colour.
DOUBT_COLOUR, DOUBT_RADIUS, DOUBT_DOTS = "#1f2429", 1.8, 12
CASING = "#fffdf8"
LEAN_REACH = 1.9  # in units of the mark's size, a bent pin's lean is drawn at least so long; by eye


def doubt_dots() -> tuple[Point, ...]:
    """The dots around a mark in doubt, in units of the mark's size."""
    return _arc(0.0, 2.0 * math.pi, DOUBT_DOTS, DOUBT_RADIUS)[:-1]


def lean_reach(dx: float, dy: float, size: float) -> Point:
    """A lean drawn from a mark's middle, longer than it is where it would vanish in the ring of this size.

    One of no length goes where the mark of a lean that is not known goes.
    """
    length = math.hypot(dx, dy)
    if not length:
        return UNKNOWN_LEAN[0] * size, UNKNOWN_LEAN[1] * size
    grown = max(1.0, LEAN_REACH * size / length)
    return dx * grown, dy * grown


def bent_ring() -> Mark:
    """The mark of a bent pin without a lean of its own, for where the true lean is drawn."""
    mark = MARKS[Condition.BENT]
    return Mark(mark.colour, mark.closed)
