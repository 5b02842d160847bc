"""Readings for machines without a dividing plate: a rotary table in degrees, minutes and seconds, and a two-axis table.

The two-axis table is approached from one side only, so that the play of its screws does not count: where the next
hole lies the other way, the slide first goes past it by OVERRUN_MM and comes back. Axes are those of the view of the
face that lies upwards (x towards the stop slot, y up in that view; frame.py mirrors the lower face).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

# More than the play of a worn small milling table; common practice, no source.
OVERRUN_MM = 1.0
SECONDS_PER_DEGREE = 3600  # of arc, by definition


@dataclass(frozen=True, slots=True)
class Sexagesimal:
    """An angle on a rotary table. error_deg: angle read minus angle wanted."""

    degrees: int
    minutes: int
    seconds: int
    error_deg: float

    def __str__(self) -> str:
        """E.g. 123° 04' 56"."""
        return f"{self.degrees}° {self.minutes:02d}' {self.seconds:02d}\""


def degrees_minutes_seconds(angle_deg: float, step_s: int = 1) -> Sexagesimal:
    """An angle (0 to below 360) rounded to the table's own division, step_s seconds of arc; may read 360° 00' 00"."""
    total = round(angle_deg * SECONDS_PER_DEGREE / step_s) * step_s
    degrees, rest = divmod(total, SECONDS_PER_DEGREE)
    minutes, seconds = divmod(rest, 60)
    return Sexagesimal(degrees, minutes, seconds, total / SECONDS_PER_DEGREE - angle_deg)


@dataclass(frozen=True, slots=True)
class Approach:
    """One place on a two-axis table, mm: go to (via_x_mm, via_y_mm) first, then to (x_mm, y_mm) rising on both axes."""

    via_x_mm: float
    via_y_mm: float
    x_mm: float
    y_mm: float


def approach_from_one_side(
    places_mm: Sequence[tuple[float, float]],
    start_mm: tuple[float, float] = (0.0, 0.0),
    overrun_mm: float = OVERRUN_MM,
    resolution_mm: float = 0.001,
) -> tuple[Approach, ...]:
    """The way to each place, in order, every axis always arriving upwards.

    An axis that has to go down to its next place goes overrun_mm past it and returns; one that goes up or stays moves
    straight there. start_mm: where the table stands first, reached upwards. Places are rounded to resolution_mm.
    """
    ways = []
    at_x, at_y = start_mm
    for place in places_mm:
        x, y = (round(round(v / resolution_mm) * resolution_mm, 6) for v in place)
        via_x = x if x >= at_x else x - overrun_mm
        via_y = y if y >= at_y else y - overrun_mm
        ways.append(Approach(round(via_x, 6), round(via_y, 6), x, y))
        at_x, at_y = x, y
    return tuple(ways)
