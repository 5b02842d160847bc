"""The discs of development with other faults: what a reading really gave, laid at other places of other discs.

A reading of a disc with a truth file is taken apart into outcomes: what the reader made of each sound pin, stub,
leaning pin, hole and stray, and which marks it saw where nothing is. For a new disc the tune's pins are taken whole,
others of them are broken, bent, pulled or added to, and each gets an outcome of its kind from another disc; sound pins
and false marks keep their own. So the music is asked about faults that no rule was chosen on, under the doubts that
photographs give.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from disc.frame import to_xy_mm
from disc.records import Condition, Pin, Side

REACH_MM = 0.15
# How many of each fault a new disc gets, least and most; common practice, no source.
FAULTS = {"missing": (2, 8), "stub": (1, 5), "bent": (1, 6)}
STRAYS = {"pin": (0, 2), "hole": (0, 3)}
CLEAR_MM = 0.55  # of a stray from everything else
TOOTHED = ("sound", "missing", "stub", "bent")


@dataclass(frozen=True)
class Outcome:
    """What the reading made of one true pin. read: None where it saw nothing. off_mm: read root minus true root."""

    disc: str
    kind: str
    read: Pin | None
    theta_deg: float
    off_mm: tuple[float, float] = (0.0, 0.0)


def outcomes(name: str, pins: Sequence[Pin], truth: dict[str, Any]) -> tuple[dict[int, Outcome], list[Pin]]:
    """(what became of each true pin, by its id; marks that are nothing)."""
    left = {pin.id: pin for pin in pins}
    found = {}
    for true in truth["pins"]:
        near = min(left.values(), key=lambda pin: _apart(pin, true), default=None)
        read = near if near is not None and _apart(near, true) <= REACH_MM else None
        off = (0.0, 0.0)
        if read is not None:
            del left[read.id]
            a, b = to_xy_mm(read.r_mm, read.theta_deg), to_xy_mm(true["r_mm"], true["theta_deg"])
            off = (float(a[0] - b[0]), float(a[1] - b[1]))
        found[true["id"]] = Outcome(name, _kind(true), read, true["theta_deg"], off)
    return found, list(left.values())


def _kind(true: dict[str, Any]) -> str:
    if true["condition"] != "extra":
        return str(true["condition"])
    return "sound" if true["height_mm"] > 0 else "missing"  # a reading cannot know that it is a stray


def _apart(pin: Pin, true: dict[str, Any]) -> float:
    if pin.side.value != true["side"]:
        return 9.0
    a, b = to_xy_mm(pin.r_mm, pin.theta_deg), to_xy_mm(true["r_mm"], true["theta_deg"])
    return math.hypot(float(a[0] - b[0]), float(a[1] - b[1]))


def redraw(
    truth: dict[str, Any],
    own: tuple[dict[int, Outcome], list[Pin]],
    others: Sequence[Outcome],
    rng: np.random.Generator,
) -> tuple[tuple[Pin, ...], dict[str, Any]]:
    """(pins as read, their truth). own: this disc's outcomes and false marks; others: outcomes of other discs."""
    toothed = [pin for pin in truth["pins"] if pin["condition"] in TOOTHED]
    order = list(rng.permutation(len(toothed)))
    made = [pin | {"condition": "sound"} for pin in toothed]
    for kind, (least, most) in FAULTS.items():
        for _ in range(int(rng.integers(least, most + 1))):
            made[order.pop()]["condition"] = kind
    for kind, (least, most) in STRAYS.items():
        for _ in range(int(rng.integers(least, most + 1))):
            made.append(_stray(truth, made, kind, rng))
    bank = {kind: [one for one in others if one.kind == kind] for kind in TOOTHED}
    sound = [one for one in own[0].values() if one.kind == "sound" and one.read is not None]
    pins = []
    for true in made:
        kind, mine = _kind(true), own[0].get(true["id"])
        if true["condition"] == "sound":
            kept = mine if mine is not None and mine.kind == "sound" else sound[int(rng.integers(len(sound)))]
        else:
            kept = bank[kind][int(rng.integers(len(bank[kind])))]
        if kept.read is not None:
            pins.append(_laid(kept, true))
    pins += own[1]
    numbered = tuple(replace(pin, id=k, tooth=None) for k, pin in enumerate(pins, 1))
    return numbered, truth | {"pins": made}


def _stray(
    truth: dict[str, Any], made: Sequence[dict[str, Any]], kind: str, rng: np.random.Generator
) -> dict[str, Any]:
    radius = truth["disc"]["diameter_mm"] / 2
    while True:
        side, r, theta = str(rng.choice(["upper", "lower"])), rng.uniform(0.34, 0.88) * radius, rng.uniform(0, 360)
        probe = Pin(0, Side(side), float(r), float(theta))
        if min(_apart(probe, pin) for pin in made) > CLEAR_MM:
            height = 0.5 if kind == "pin" else 0.0
            place = {"side": side, "r_mm": float(r), "theta_deg": float(theta), "tooth": None}
            return place | {"id": 10_000 + len(made), "condition": "extra", "height_mm": height}


def _laid(outcome: Outcome, true: dict[str, Any]) -> Pin:
    """The outcome at another place: what was off along the radius there is off along it here."""
    assert outcome.read is not None
    turn = math.radians(true["theta_deg"] - outcome.theta_deg)
    x, y = to_xy_mm(true["r_mm"], true["theta_deg"])
    dx, dy = _turned(*outcome.off_mm, turn)
    x, y = float(x) + dx, float(y) + dy
    read = outcome.read
    lean = (read.lean_x_mm, read.lean_y_mm)
    if read.lean_x_mm is not None and read.lean_y_mm is not None:
        lean = _turned(read.lean_x_mm, read.lean_y_mm, turn)
    condition = read.condition
    if condition is Condition.EXTRA:  # called so for want of a track; here it has one or not
        condition = Condition.SOUND if read.height_mm else Condition.MISSING
    return replace(
        read,
        side=Side(true["side"]),
        r_mm=math.hypot(x, y),
        theta_deg=math.degrees(math.atan2(y, x)) % 360.0,
        lean_x_mm=lean[0],
        lean_y_mm=lean[1],
        condition=condition,
    )


def _turned(x: float, y: float, by: float) -> tuple[float, float]:
    c, s = math.cos(by), math.sin(by)
    return c * x - s * y, s * x + c * y
