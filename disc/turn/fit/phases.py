"""Whether the two faces keep one beat, and whether the rest arc is free: what a wrong stop slot does.

A slot marked at the wrong place turns all strikes of its face: they then fall into the rest arc, where no pin may
sound, and on other parts of the beat than the other face's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.frame import FULL_TURN_DEG, FloatArray
from disc.records import Pin, Side, Strike

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# Steps of the beat that are tried, as shares of a turn: 0.1 to 1 s on a turn of 45 s, fine enough that a step kept over
# the whole turn is not missed.
STEPS_A_TURN = np.arange(45.0, 450.0, 0.2)
FEWEST = 12  # strikes of a face that tell a beat
EDGE_DEG = 1.5  # of the rest arc: a pin set at its very edge is no wonder
KEEPS_BEAT = 0.5  # length of the mean vector on the common step from which a face is said to keep it


@dataclass(frozen=True, slots=True)
class Phases:
    """apart: how far the faces stand apart on the common step, as a share of it (0 to 0.5); None: no common beat told.

    in_rest: strikes within the rest arc, by face; of: strikes of that face in all. rests_elsewhere: an arc as wide as
    the rest arc is free of all strikes, but not where the disc rests.
    """

    apart: float | None
    in_rest: dict[Side, int]
    of: dict[Side, int]
    rests_elsewhere: bool = False


def phases_of(strikes: Sequence[Strike], pins: Sequence[Pin], rest_arc_deg: float) -> Phases:
    """The beat and the rest arc of each face. strikes: of one turn; pins: with their faces."""
    side_of = {pin.id: pin.side for pin in pins}
    turns = {
        side: np.array([s.turn_deg for s in strikes if s.pin_id is not None and side_of.get(s.pin_id) is side])
        for side in Side
    }
    half = rest_arc_deg / 2.0 - EDGE_DEG
    in_rest = {s: int(((t < half) | (t > FULL_TURN_DEG - half)).sum()) if half > 0 else 0 for s, t in turns.items()}
    elsewhere = _rests_elsewhere(np.concatenate(list(turns.values())), rest_arc_deg)
    apart = _apart(turns[Side.UPPER], turns[Side.LOWER])
    return Phases(apart, in_rest, {s: len(t) for s, t in turns.items()}, elsewhere)


def _rests_elsewhere(turn_deg: FloatArray, rest_arc_deg: float) -> bool:
    if len(turn_deg) < FEWEST or rest_arc_deg <= 0.0:
        return False
    at = np.sort(turn_deg)
    free = np.diff(at)
    return bool(at[0] + FULL_TURN_DEG - at[-1] < rest_arc_deg <= free.max())


def _apart(upper_deg: FloatArray, lower_deg: FloatArray) -> float | None:
    if min(len(upper_deg), len(lower_deg)) < FEWEST:
        return None
    vectors = [np.exp(2j * np.pi * np.outer(STEPS_A_TURN, t / FULL_TURN_DEG)).mean(1) for t in (upper_deg, lower_deg)]
    power = sum(np.abs(v) ** 2 * len(t) for v, t in zip(vectors, (upper_deg, lower_deg), strict=True))
    best = int(np.argmax(power))
    u, v = vectors[0][best], vectors[1][best]
    if min(abs(u), abs(v)) < KEEPS_BEAT:
        return None
    return float(abs(np.angle(u * np.conj(v))) / (2 * np.pi))
