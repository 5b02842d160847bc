"""Is a new reading of a face far poorer than the one in force, or another disc's? Then it is only kept aside.

A slot that was marked anew turns all places about: two readings of one face are laid on one another at whatever turn
fits the most sites.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.frame import FloatArray, angle_difference_deg
from disc.records import Condition, Pin, Side
from disc.words import counted

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
ENOUGH_SITES = 8  # a reading with fewer cannot be called the better one
FEWER = 0.5  # of the sites in force
# Two readings of one face share nine tenths of their sites within this; two discs' faces, at their best turn, a third
# (p1-p8, h1-h8, each face against each).
SAME_MM, TURN_STEP_DEG, SHARED = 0.35, 0.5, 0.5


def why_poorer(side: Side, old: Sequence[Pin], new: Sequence[Pin], behind: Sequence[Pin] = ()) -> str | None:
    """What is wrong with the new reading of a face beside the old one, in words; None where nothing is.

    behind: the old reading of the other face, by which exchanged photographs are told.
    """
    before, after = _told(old), _told(new)
    if len(before) < ENOUGH_SITES:
        return None
    if len(after) < FEWER * len(before):
        sites = counted(len(after), "site")
        return f"the new reading of the {side.value} face has {sites}, the one in force {len(before)}"
    shared = shared_part(before, after)
    if shared < SHARED:
        return (
            f"only {100 * shared:.0f} % of the {side.value} face's sites in the new reading lie where the one in force "
            f"has them, however it is turned: it looks like {_whose(side, _told(behind), after)}"
        )
    return None


def _whose(side: Side, behind: Sequence[Pin], new: Sequence[Pin]) -> str:
    """Whose face it is: one face read as the other lies there as in a mirror."""
    if shared_part([replace(pin, theta_deg=-pin.theta_deg) for pin in behind], new) < SHARED:
        return "another face or another disc"
    other = Side.LOWER if side is Side.UPPER else Side.UPPER
    return f"this disc's {other.value} face, as if the photographs had been exchanged"


def _told(pins: Sequence[Pin]) -> list[Pin]:
    return [pin for pin in pins if pin.condition is not Condition.UNSEEN]


def shared_part(old: Sequence[Pin], new: Sequence[Pin]) -> float:
    """The part of the smaller reading's sites that lie on the other's, at the turn that fits best."""
    if not old or not new:
        return 0.0
    a, b = _polar(old), _polar(new)
    i, j = np.nonzero(np.abs(a[:, None, 0] - b[None, :, 0]) < SAME_MM)
    turns = angle_difference_deg(a[i, 1], b[j, 1])
    votes = np.bincount(((turns + 180.0) / TURN_STEP_DEG).astype(int) % _steps(), minlength=_steps())
    votes = votes + np.roll(votes, 1) + np.roll(votes, -1)
    best = 0
    for k in np.argsort(-votes)[:6]:
        turn = (k + 0.5) * TURN_STEP_DEG - 180.0
        near = np.abs(angle_difference_deg(turns, np.full(turns.shape, turn))) < 2 * TURN_STEP_DEG
        if near.any():
            turn = float(np.median(turns[near]))
        best = max(best, _matches(a, b, turn))
    return best / min(len(a), len(b))


def _steps() -> int:
    return int(360.0 / TURN_STEP_DEG)


def _polar(pins: Sequence[Pin]) -> FloatArray:
    return np.array([(pin.r_mm, pin.theta_deg) for pin in pins], float)


def _matches(a: FloatArray, b: FloatArray, turn_deg: float) -> int:
    """Sites of b (m, 2) that, turned, have one of a (n, 2) of their own near them."""
    place_a = a[:, 0] * np.exp(1j * np.radians(a[:, 1]))
    place_b = b[:, 0] * np.exp(1j * np.radians(b[:, 1] + turn_deg))
    gap = np.abs(place_a[:, None] - place_b[None])
    nearest = gap.argmin(0)
    close = gap[nearest, np.arange(len(b))] < SAME_MM
    return len(set(nearest[close].tolist()))
