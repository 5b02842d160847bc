"""Teeth for the pins after every edit, quickly: the scale is fitted once, and a pin that stayed keeps its tooth.

The scale comes from the reading and the comb alone, so that a pin's tooth does not hang on the order of the edits.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import replace

from disc.comb.assign import assign_teeth
from disc.comb.pin_spread import FEWEST_TO_FIT, Ground, adopt_strays, give_teeth, ground_of
from disc.desk.open_job.notes import LaidEdits
from disc.job.corrections import Correction
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
        self._made: dict[int, tuple[Pin, Pin]] = {}  # by id: a pin as corrected, and as it was last given its tooth
        self._by_person = LaidEdits()
        self._plain: tuple[tuple[Pin, ...], tuple[Pin, ...]] = ((), ())

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
            return tuple(self._with_tooth(pin, found[pin.id]) for pin in pins)

    def _with_tooth(self, pin: Pin, tooth: int | None) -> Pin:
        """The pin with this tooth; the same record as before where nothing about it changed."""
        if pin.tooth == tooth:
            return pin
        before, made = self._made.get(pin.id, (None, pin))
        if before is not pin or made.tooth != tooth:
            made = replace(pin, tooth=tooth)
            self._made[pin.id] = (pin, made)
        return made

    def given(
        self, reading: tuple[Pin, ...], done: Sequence[Correction], comb: Comb, by_design: bool
    ) -> dict[int, int]:
        """Teeth that a person gave, by pin id; of a job laid out by design, all of them."""
        if not by_design and not any(name == "tooth" for c in done for name, _ in c.changes):
            return {}
        if not by_design and self._plain[0] is not reading:
            self._plain = (reading, tuple(replace(pin, tooth=None) for pin in reading))
        known = {tooth.number for tooth in comb.teeth}
        corrected = self._by_person.lay(reading if by_design else self._plain[1], done)
        return {pin.id: pin.tooth for pin in corrected if pin.tooth is not None and pin.tooth in known}


def _spot(pin: Pin) -> Spot:
    return pin.side, pin.r_mm, pin.sigma_mm, pin.condition, bool(pin.height_mm)
