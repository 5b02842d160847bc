"""What a person changed, kept apart from what was read, and laid over every new reading.

A correction names the place it was made at (side, radius, angle), not the number of a pin, because a new reading
numbers its pins anew. Laid over a reading, each finds the nearest pin within REACH_MM; one that finds none is returned
as not fitting, never dropped silently.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

import numpy as np

from disc.frame import to_xy_mm
from disc.records import Condition, Pin, Side

# Unless said otherwise: chosen by hand, not measured.
# How far a pin may have moved between two readings and still be the one a person meant: about a pin's thickness.
# Two pins on one track stand at least twice as far apart, or the tooth could not fall between them.
REACH_MM = 0.30


class Action(StrEnum):
    """What a person did to a pin."""

    ADD = "add"
    REMOVE = "remove"
    CHANGE = "change"


@dataclass(frozen=True, slots=True)
class Correction:
    """One change by hand at a place of the disc as it was then.

    changes: new values by Pin attribute; for ADD the whole pin without its id. note: a person's words. at: ISO time.
    """

    action: Action
    side: Side
    r_mm: float
    theta_deg: float
    changes: tuple[tuple[str, Any], ...] = ()
    note: str = ""
    at: str = ""


def distance_mm(pin: Pin, correction: Correction) -> float:
    """From a pin's root to the place of a correction; infinite between the two faces."""
    if pin.side is not correction.side:
        return float("inf")
    ax, ay = to_xy_mm(pin.r_mm, pin.theta_deg)
    bx, by = to_xy_mm(correction.r_mm, correction.theta_deg)
    return float(np.hypot(ax - bx, ay - by))


class Standing:
    """Pins and where they stand, as correction after correction changes them; a removed one leaves its row empty."""

    def __init__(self, pins: Sequence[Pin]) -> None:
        self.pins: list[Pin | None] = []
        self._xy_mm = np.empty((0, 2))  # one row a pin; NaN where it was removed
        self._is_upper = np.empty(0, dtype=bool)
        if pins:
            self.pins = list(pins)
            self._xy_mm = np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in pins], dtype=float)
            self._is_upper = np.array([pin.side is Side.UPPER for pin in pins])

    def near(self, correction: Correction) -> tuple[int, Pin] | None:
        """The row and the pin that stands nearest to the place of a correction, if it is within reach."""
        x, y = to_xy_mm(correction.r_mm, correction.theta_deg)
        gap_mm = np.hypot(self._xy_mm[:, 0] - x, self._xy_mm[:, 1] - y)
        is_near = (gap_mm <= REACH_MM) & (self._is_upper == (correction.side is Side.UPPER))
        if not is_near.any():
            return None
        row = int(np.argmin(np.where(is_near, gap_mm, np.inf)))
        pin = self.pins[row]
        return None if pin is None else (row, pin)

    def lay(self, correction: Correction) -> bool:
        """Change the pins as a correction says; whether it found its pin."""
        nearest = self.near(correction)
        values = dict(correction.changes)
        if nearest is None:
            if correction.action is Action.ADD:
                self._add(_added(self.left(), correction, values))
            return correction.action is Action.ADD
        row, pin = nearest
        if correction.action is Action.REMOVE:
            self.pins[row] = None
            self._xy_mm[row] = np.nan
        elif correction.action is Action.ADD:  # the new reading found the pin by itself: keep what the person said
            self._put(row, replace(pin, **values))
        else:
            self._put(row, replace(pin, **(_no_longer_read(values) | values)))
        return True

    def _put(self, row: int, pin: Pin) -> None:
        self.pins[row] = pin
        self._xy_mm[row] = to_xy_mm(pin.r_mm, pin.theta_deg)
        self._is_upper[row] = pin.side is Side.UPPER

    def _add(self, pin: Pin) -> None:
        self.pins.append(pin)
        self._xy_mm = np.vstack([self._xy_mm, to_xy_mm(pin.r_mm, pin.theta_deg)])
        self._is_upper = np.append(self._is_upper, pin.side is Side.UPPER)

    def left(self) -> tuple[Pin, ...]:
        """The pins that stand."""
        return tuple(pin for pin in self.pins if pin is not None)


def apply_corrections(
    pins: Sequence[Pin], corrections: Iterable[Correction]
) -> tuple[tuple[Pin, ...], tuple[Correction, ...]]:
    """The pins as a person left them, and the corrections that found no pin. Order of the corrections matters."""
    standing = Standing(pins)
    unfit = tuple(correction for correction in corrections if not standing.lay(correction))
    return standing.left(), unfit


def grown(correction: Correction, by: float) -> Correction:
    """A correction on a disc whose size was said wrongly: by is the right diameter over the one it was made under.

    Places and leans were seen on the photograph and go with it; a thickness and a height were measured by hand, and
    stay.
    """
    changes = tuple(
        (n, value * by if n in _SEEN_MM and value is not None else value) for n, value in correction.changes
    )
    return replace(correction, r_mm=correction.r_mm * by, changes=changes)


_SEEN_MM = frozenset({"r_mm", "lean_x_mm", "lean_y_mm"})


def _no_longer_read(values: dict[str, Any]) -> dict[str, Any]:
    """What a person says a pin is, is not in the reading's doubt any more."""
    return {"confidence": None, "condition_probability": None} if "condition" in values else {}


def _added(current: Sequence[Pin], correction: Correction, values: dict[str, Any]) -> Pin:
    number = max((pin.id for pin in current), default=0) + 1
    fresh = Pin(id=number, side=correction.side, r_mm=correction.r_mm, theta_deg=correction.theta_deg)
    believed: dict[str, Any] = {"confidence": None, "condition": Condition.SOUND}
    return replace(fresh, **(believed | values))


def corrections_from_edit(before: Sequence[Pin], after: Sequence[Pin], at: str, note: str = "") -> list[Correction]:
    """The corrections that lead from one pin table to another, pins matched by id (as after editing a spreadsheet)."""
    old = {pin.id: pin for pin in before}
    new = {pin.id: pin for pin in after}
    steps = []
    for number, pin in old.items():
        if number not in new:
            steps.append(Correction(Action.REMOVE, pin.side, pin.r_mm, pin.theta_deg, (), note, at))
        elif changed := _changes(pin, new[number]):
            steps.append(Correction(Action.CHANGE, pin.side, pin.r_mm, pin.theta_deg, changed, note, at))
    for number, pin in new.items():
        if number not in old:
            values = tuple((name, getattr(pin, name)) for name in _EDITABLE if getattr(pin, name) is not None)
            steps.append(Correction(Action.ADD, pin.side, pin.r_mm, pin.theta_deg, values, note, at))
    return steps


_EDITABLE = tuple(name for name in Pin.__slots__ if name != "id")


def _changes(old: Pin, new: Pin) -> tuple[tuple[str, Any], ...]:
    return tuple((name, getattr(new, name)) for name in _EDITABLE if getattr(new, name) != getattr(old, name))


_KINDS: dict[str, Callable[[Any], Any]] = {"side": Side, "condition": Condition, "tooth": int}


def with_kinds(correction: Correction) -> Correction:
    """A correction read back from JSON, its values of the kinds that a pin has. Raises ValueError or TypeError."""
    changes = []
    for name, value in correction.changes:
        if name not in _EDITABLE:
            raise ValueError(f"a pin has no {name!r}")
        changes.append((name, None if value is None else _KINDS.get(name, float)(value)))
    return replace(correction, changes=tuple(changes))
