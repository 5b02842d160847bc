"""How far each tooth swings, where the disc's pins were set by the maker's range of overlap (disc design --overlap-mm).

A tip swings as far as it was lifted, and it is lifted by what its pin overlaps it: by the most where the pin stands as
high as the disc's pins do, by so much less as it stands lower.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from disc.errors import BadInput
from disc.records import Pin, Strike

OVERLAP = "pin_overlap_mm"  # of a job's settings: the most overlap, and how high a pin stands that has it


@dataclass(frozen=True, slots=True)
class Overlap:
    """most_mm: the overlap of a pin that stands stands_mm out of the plate."""

    most_mm: float
    stands_mm: float

    def swing_of(self, pin: Pin) -> float | None:
        """Against the loudest, 0 where the pin passes under the tip; None where the pin's height is not known."""
        if pin.height_mm is None:
            return None
        return round(max(0.0, (self.most_mm - self.stands_mm + pin.height_mm) / self.most_mm), 4)


def overlap_said(stored: Mapping[str, Any]) -> Overlap | None:
    """The overlap in a job's settings; None: not known. Raises BadInput where it cannot be right."""
    found = stored.get(OVERLAP)
    if found is None:
        return None
    try:
        most_mm, stands_mm = (float(str(figure)) for figure in found)
    except (TypeError, ValueError):
        most_mm = stands_mm = 0.0
    if not 0.0 < most_mm < stands_mm:
        raise BadInput(f"the setting {OVERLAP} must be two lengths in mm, the lesser first. Take it out of job.json.")
    return Overlap(most_mm, stands_mm)


def with_swings(strikes: Sequence[Strike], pins: Iterable[Pin], overlap: Overlap | None) -> tuple[Strike, ...]:
    """The strikes with the swing that their pins give."""
    if overlap is None:
        return tuple(strikes)
    swings = {pin.id: overlap.swing_of(pin) for pin in pins}
    return tuple(replace(s, swing=None if s.pin_id is None else swings.get(s.pin_id)) for s in strikes)
