"""What changed between two readings of one disc, before and after the work.

Pins are matched by place. The two readings may call their zero a little differently (the stop slot is found anew each
time), so a common turn of each face is estimated first and taken out; pins numbered anew do not matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from disc.check.mechanics.clearance import hole_distances_mm
from disc.frame import angle_difference_deg, wrap_deg
from disc.job.corrections import REACH_MM
from disc.records import Condition, Pin, Side

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# A pin whose root lies this much elsewhere was set anew; below it, two readings differ by their own errors.
MOVED_MM = 0.08
TOGETHER_DEG = 0.3  # about 0.05 mm at 10 mm, the error of two readings together
LARGEST_TURN_DEG = 2.0  # between the zeros of two readings


class SiteChange(StrEnum):
    """What happened to one place."""

    SET = "set"  # a pin stands where there was none
    GONE = "gone"  # no pin stands where one did
    STRAIGHTENED = "straightened"
    BENT = "bent"
    BROKEN = "broken"
    MOVED = "moved"
    NEW_SITE = "new"  # a pin or hole where nothing was
    LOST_SITE = "not found again"  # nothing where a pin or hole was


@dataclass(frozen=True, slots=True)
class Changed:
    """One place that differs. before, after: the pins of the two readings, None where there is none."""

    change: SiteChange
    before: Pin | None
    after: Pin | None
    moved_mm: float = 0.0

    @property
    def pin(self) -> Pin:
        """The pin to name the place by: of the later reading if there is one."""
        pin = self.after or self.before
        assert pin is not None
        return pin


def compare_pins(before: Sequence[Pin], after: Sequence[Pin]) -> tuple[Changed, ...]:
    """Every place that differs between two readings, round each face; empty if nothing changed."""
    changes: list[Changed] = []
    for side in Side:
        old = [pin for pin in before if pin.side is side]
        new = [pin for pin in after if pin.side is side]
        changes += _compare_face(old, new)
    return tuple(sorted(changes, key=lambda c: (c.pin.side.value != "upper", c.pin.theta_deg, c.pin.r_mm)))


def _compare_face(old: Sequence[Pin], new: Sequence[Pin]) -> list[Changed]:
    turn = common_turn_deg(old, new)
    turned = [Pin(p.id, p.side, p.r_mm, float(wrap_deg(p.theta_deg + turn))) for p in old]
    pairs = _pairs(turned, new)
    partner = {i: j for i, j, _ in pairs}
    changes = [
        Changed(change, old[i], new[j], gap)
        for i, j, gap in pairs
        if (change := _what_changed(old[i], new[j], gap)) is not None
    ]
    changes += [Changed(SiteChange.LOST_SITE, pin, None) for i, pin in enumerate(old) if i not in partner]
    matched = set(partner.values())
    changes += [Changed(SiteChange.NEW_SITE, None, pin) for j, pin in enumerate(new) if j not in matched]
    return changes


def common_turn_deg(old: Sequence[Pin], new: Sequence[Pin]) -> float:
    """By how much the angles of the later reading are larger, degrees: the turn that brings most pins together.

    0 where the readings share no pins.
    """
    if not old or not new:
        return 0.0
    theta = angle_difference_deg(
        np.array([p.theta_deg for p in new])[None, :], np.array([p.theta_deg for p in old])[:, None]
    )
    same_r = np.abs(np.array([p.r_mm for p in new])[None, :] - np.array([p.r_mm for p in old])[:, None]) < REACH_MM / 2
    close = theta[same_r & (np.abs(theta) < LARGEST_TURN_DEG)]
    if close.size == 0:
        return 0.0
    votes = (np.abs(close[:, None] - close[None, :]) < TOGETHER_DEG).sum(axis=1)
    # Of equally good turns, the smallest.
    best = close[min(range(close.size), key=lambda i: (-votes[i], abs(close[i])))]
    return float(np.median(close[np.abs(close - best) < TOGETHER_DEG]))


def _pairs(old: Sequence[Pin], new: Sequence[Pin]) -> list[tuple[int, int, float]]:
    if not old or not new:
        return []
    gaps = hole_distances_mm(old, new)
    from scipy.optimize import linear_sum_assignment  # loaded only where discs are compared

    rows, columns = linear_sum_assignment(np.minimum(gaps, 10 * REACH_MM))
    return [(int(i), int(j), float(gaps[i, j])) for i, j in zip(rows, columns, strict=True) if gaps[i, j] <= REACH_MM]


def _what_changed(old: Pin, new: Pin, gap_mm: float) -> SiteChange | None:
    if old.plays != new.plays:
        if new.plays:
            return SiteChange.SET
        return SiteChange.BROKEN if new.condition is Condition.STUB else SiteChange.GONE
    if new.plays and old.condition is not new.condition and Condition.BENT in (old.condition, new.condition):
        return SiteChange.BENT if new.condition is Condition.BENT else SiteChange.STRAIGHTENED
    return SiteChange.MOVED if gap_mm > MOVED_MM else None


def change_words(changed: Changed) -> str:
    """One change in plain words."""
    pin = changed.pin
    where = f"{pin.side.value} face, r {pin.r_mm:.2f} mm, {pin.theta_deg:.1f} degrees"
    tooth = "" if pin.tooth is None else f", tooth {pin.tooth}"
    told = {
        SiteChange.SET: "a pin stands where none did",
        SiteChange.GONE: "no pin stands where one did",
        SiteChange.STRAIGHTENED: "straightened",
        SiteChange.BENT: "it leans now",
        SiteChange.BROKEN: "broken off",
        SiteChange.MOVED: f"moved by {changed.moved_mm:.2f} mm",
        SiteChange.NEW_SITE: f"new here ({pin.condition.value})",
        SiteChange.LOST_SITE: f"was here ({pin.condition.value}), not found again",
    }
    return f"{told[changed.change]}: {where}{tooth}"
