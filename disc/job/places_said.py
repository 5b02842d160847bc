"""A word that a person said of a place of the disc, such as of the note that the pin there plays.

Like a correction it names the place (side, radius, angle), since a new reading numbers the pins anew. In the job's
settings it is one text: "held upper 7.312 123.460".
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from disc.errors import BadInput
from disc.frame import to_xy_mm
from disc.job.corrections import REACH_MM
from disc.records import Pin, Side

NOTES = "notes"  # the setting: a list of such words


@dataclass(frozen=True, slots=True)
class PlaceSaid:
    """One word said of what stands at a place."""

    word: str
    side: Side
    r_mm: float
    theta_deg: float

    @property
    def text(self) -> str:
        """As it is stored."""
        return f"{self.word} {self.side.value} {self.r_mm:.3f} {self.theta_deg:.3f}"

    def apart_mm(self, pin: Pin) -> float:
        """From the place to a pin's root; infinite between the two faces."""
        if self.side is not pin.side:
            return math.inf
        (ax, ay), (bx, by) = to_xy_mm(self.r_mm, self.theta_deg), to_xy_mm(pin.r_mm, pin.theta_deg)
        return math.hypot(float(ax - bx), float(ay - by))

    def is_at(self, pin: Pin) -> bool:
        """Whether this was said of that pin's place."""
        return self.apart_mm(pin) <= REACH_MM


def notes_said(stored: Mapping[str, Any]) -> tuple[PlaceSaid, ...]:
    """What was said of single notes, as stored in a job's settings. Raises BadInput for what cannot be read."""
    found = stored.get(NOTES, [])
    if not isinstance(found, list | tuple):
        raise BadInput(
            f"the setting {NOTES} must be a list of words, not {str(found)[:40]!r}. Take it out of job.json."
        )
    return tuple(map(_parsed, found))


def _parsed(text: object) -> PlaceSaid:
    try:
        word, side, r_mm, theta_deg = str(text).split()
        said = PlaceSaid(word, Side(side), float(r_mm), float(theta_deg))
        if not (math.isfinite(said.r_mm) and math.isfinite(said.theta_deg)):
            raise ValueError
    except ValueError:
        raise BadInput(
            f"the setting {NOTES} says {str(text)[:60]!r}, which cannot be read. Take that entry out of job.json."
        ) from None
    return said


def grown_notes(stored: Mapping[str, Any], by: float) -> list[str]:
    """The setting on a disc whose diameter was said wrongly; by: the right one over the wrong one."""
    return [replace(said, r_mm=said.r_mm * by).text for said in notes_said(stored)]
