"""Teeth for the pins after every edit, quickly: the scale is fitted once, and a pin that stayed keeps its tooth.

The scale comes from the reading and the comb alone, so that a pin's tooth does not hang on the order of the edits.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import replace

from disc.comb.assign import assign_teeth
from disc.comb.pin_spread import FEWEST_TO_FIT, Ground, adopt_strays, give_teeth, ground_of
from disc.records import Comb, Condition, Pin, Side

# All that a pin's tooth hangs on: face, radius and how well it is known, what it is and whether it stands.
Spot = tuple[Side, float, float | None, Condition, bool]


class TeethMemory:
    """Remembers what was found for one reading and comb."""

    def __init__(self) -> None:
        self._lock = threading.RLock()  # the thinking thread prepares what the writing thread uses
        self._made_for: tuple[tuple[Pin, ...], Comb] | None = None
        self._ground: Ground | None = None
        self._known: dict[Spot, int | None] = {}

    def prepare(self, reading: tuple[Pin, ...], comb: Comb) -> None:
        """Fit the scale, unless it is fitted already."""
        with self._lock:
            if self._made_for != (reading, comb):
                self._ground = ground_of(reading, comb) if len(reading) >= FEWEST_TO_FIT else None
                self._known = {}
            self._made_for = (reading, comb)

    def give(self, pins: Sequence[Pin], reading: tuple[Pin, ...], comb: Comb, given: dict[int, int]) -> tuple[Pin, ...]:
        """The pins with their teeth. given: teeth set by a person, by pin id."""
        with self._lock:
            self.prepare(reading, comb)
            if self._ground is None:
                return give_teeth(pins, comb, given).pins
            unknown = [pin for pin in pins if pin.id not in given and _spot(pin) not in self._known]
            assigned = assign_teeth(unknown, comb, None, self._ground.scale).pins
            for pin in adopt_strays(assigned, comb, self._ground):
                self._known[_spot(pin)] = pin.tooth
            found = {pin.id: given[pin.id] if pin.id in given else self._known[_spot(pin)] for pin in pins}
        return tuple(_with_tooth(pin, found[pin.id]) for pin in pins)


def _spot(pin: Pin) -> Spot:
    return pin.side, pin.r_mm, pin.sigma_mm, pin.condition, bool(pin.height_mm)


def _with_tooth(pin: Pin, tooth: int | None) -> Pin:
    return pin if pin.tooth == tooth else replace(pin, tooth=tooth)
