"""Where a disc lies on a machine's table, from three touched points: the best rigid move, and its residual.

The points are known on the disc (the bore's middle, the stop slot's mouth, a pin, a drilled hole) and touched on the
machine. Three give six numbers for three unknowns; what does not fit is told point by point.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

from disc.errors import BadInput
from disc.measures.length import length_mm

# A touch with an edge finder or a centring microscope is good to about 0.02 mm (common practice, no source); more than
# this and a point was mistaken, or the disc lies on chips.
MOST_RESIDUAL_MM = 0.05
# Unless said otherwise: chosen by hand, not measured.
LEAST_TOUCHED = 3  # two give place and turn, the third shows a mistaken one
# Points closer together than this tell the disc's turn too badly: 0.02 mm over 2 mm are 0.6 degrees.
LEAST_APART_MM = 2.0


@dataclass(frozen=True, slots=True)
class Touch:
    """A point touched on the machine. name: "bore", "slot", "pin 12" or "hole 3"."""

    name: str
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class Zero:
    """How the disc lies: first turned by turn_deg about its centre, then moved to (x_mm, y_mm) on the machine.

    residual_mm: by touched point, in their order; empty where the machine's zero was set on the disc itself.
    """

    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0
    names: tuple[str, ...] = ()
    residual_mm: tuple[float, ...] = ()

    def on_machine(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """A place of the face as it is seen, on the machine, mm."""
        at = complex(x_mm, y_mm) * cmath.rect(1.0, math.radians(self.turn_deg)) + complex(self.x_mm, self.y_mm)
        return at.real, at.imag

    @property
    def words(self) -> str:
        """The move and what it leaves, as one line."""
        if not self.names:
            return "machine zero on the bore's middle, x towards the stop slot"
        left = ", ".join(f"{name} {mm:.3f}" for name, mm in zip(self.names, self.residual_mm, strict=True))
        return (
            f"bore's middle at X{self.x_mm:.3f} Y{self.y_mm:.3f}, disc turned by {self.turn_deg:.3f} degrees; "
            f"residual in mm: {left}"
        )


def parse_touch(text: str) -> Touch:
    """A touched point written "slot=12.345,-3.21" or "slot=12,345;-3,21". Raises BadInput."""
    name, sign, place = text.partition("=")
    parts = place.split(";") if ";" in place else place.split(",")
    words = " ".join(name.lower().split())
    known = words in ("bore", "slot") or (words.partition(" ")[0] in ("pin", "hole") and words.split()[-1].isdigit())
    if not sign or len(parts) != 2 or not known:
        raise BadInput(
            f"--touch {text!r} cannot be read. Write bore=X,Y, slot=X,Y, 'pin 12=X,Y' or 'hole 3=X,Y', in mm."
        )
    x_mm, y_mm = (length_mm(part, f"--touch {text!r}") for part in parts)
    return Touch(words, x_mm, y_mm)


def find_zero(touches: Sequence[Touch], places_mm: Sequence[tuple[float, float]]) -> Zero:
    """The move that brings places of the face (as seen, mm) onto the points touched, by least squares.

    Raises BadInput for too few points, points in one place, or a residual no touch explains.
    """
    if len(touches) < LEAST_TOUCHED:
        raise BadInput(
            f"{len(touches)} points were touched; three are needed, so that a mistaken one shows. Touch the bore, the "
            "stop slot and a pin: --touch bore=X,Y --touch slot=X,Y --touch 'pin 12=X,Y'."
        )
    disc = [complex(*place) for place in places_mm]
    seen = [complex(touch.x_mm, touch.y_mm) for touch in touches]
    if max(abs(a - b) for a in disc for b in disc) < LEAST_APART_MM:
        raise BadInput(f"the points touched lie within {LEAST_APART_MM:g} mm; choose them far apart, near the rim.")
    disc_middle, seen_middle = sum(disc) / len(disc), sum(seen) / len(seen)
    about = sum((s - seen_middle) * (d - disc_middle).conjugate() for d, s in zip(disc, seen, strict=True))
    turn = cmath.phase(about)
    origin = seen_middle - disc_middle * cmath.rect(1.0, turn)
    zero = Zero(origin.real, origin.imag, math.degrees(turn), tuple(t.name for t in touches))
    residual = tuple(abs(complex(*zero.on_machine(*p)) - s) for p, s in zip(places_mm, seen, strict=True))
    if max(residual) > MOST_RESIDUAL_MM:
        told = ", ".join(f"{t.name} {mm:.3f} mm" for t, mm in zip(touches, residual, strict=True))
        raise BadInput(
            f"the points touched do not fit this face within {MOST_RESIDUAL_MM:g} mm: {told}. Touch them again; is the "
            "right face up, and the diameter right?"
        )
    return Zero(zero.x_mm, zero.y_mm, zero.turn_deg, zero.names, residual)
