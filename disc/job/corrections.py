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


def apply_corrections(
    pins: Sequence[Pin], corrections: Iterable[Correction]
) -> tuple[tuple[Pin, ...], tuple[Correction, ...]]:
    """The pins as a person left them, and the corrections that found no pin. Order of the corrections matters."""
    current = list(pins)
    unfit = []
    for correction in corrections:
        nearest = min(current, key=lambda pin: distance_mm(pin, correction), default=None)
        close = nearest is not None and distance_mm(nearest, correction) <= REACH_MM
        values = dict(correction.changes)
        if correction.action is Action.ADD:
            if close and nearest is not None:  # the new reading found the pin by itself: keep what the person said
                current[current.index(nearest)] = replace(nearest, **values)
            else:
                current.append(_added(current, correction, values))
        elif not close or nearest is None:
            unfit.append(correction)
        elif correction.action is Action.REMOVE:
            current.remove(nearest)
        else:
            current[current.index(nearest)] = replace(nearest, **(_no_longer_read(values) | values))
    return tuple(current), tuple(unfit)


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
