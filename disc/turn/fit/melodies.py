"""Whether what sounds hangs together as a melody: how usual its turns of pitch and rhythm are in printed melodies.

The upper line of the strikes is cut into steps of three notes. Tables count, in printed melodies, which three degrees
of the scale follow each other (`degrees`), and which two intervals with which change of length (`figures`). They answer
whether the two faces belong together as they lie, or turned against each other; whether the line runs forwards is asked
by forwards.py. Fitted by tests/bench/fit/fit_melodies.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from disc.fitted import fitted_part
from disc.frame import FULL_TURN_DEG, FloatArray
from disc.records import Pin, Side, Strike
from disc.tune.read.key import SCALE

IntArray = npt.NDArray[np.int64]

TABLES_FILE = Path(__file__).parent / "melodies.json"
COUNTS, WEIGHTS = "melody_counts", "melody_weights"
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
STEPS, LENGTHS = 15, 5  # intervals of -7 to 7 semitones, changes of length by a quarter to four times; more counts so
# Of the tables of fitted chances, by definition.
SHAPES = {"degrees": (12, 12, 12), "figures": (STEPS, STEPS, LENGTHS)}
RARE = 0.3  # added to every count: what was never met is not impossible
TOGETHER_DEG = 0.6  # strikes nearer than this sound together: four times a maker's setting error
FEWEST_NOTES = 24  # of the upper line; fewer say little
FEWEST_OF_FACE = 12  # strikes of the face with fewer; less says nothing of its turn (chosen, not fitted)
SHIFTS_DEG = np.arange(0.0, FULL_TURN_DEG, 1.0)  # turns of a face that are tried, a degree apart: finer than BESIDE_DEG
BESIDE_DEG = 3.0  # a face turned by less than this is the same place for this question


@dataclass(frozen=True, slots=True)
class Tables:
    """nats: of each step of three, by name of the table, of SHAPES. turned: what the lead of a turned face is worth."""

    nats: dict[str, FloatArray]
    turned: dict[str, float]


@cache
def load_tables() -> Tables:
    """The fitted tables."""
    content = fitted_part(TABLES_FILE, COUNTS)
    counts = {name: np.array(content[name], float).reshape(shape) + RARE for name, shape in SHAPES.items()}
    nats = {name: np.log(count / count.sum()) for name, count in counts.items()}
    return Tables(nats, fitted_part(TABLES_FILE, WEIGHTS)["turned"])


def upper_line(turn_deg: FloatArray, pitch: IntArray) -> tuple[FloatArray, IntArray]:
    """The highest of what sounds together: (when, pitch), in order."""
    order = np.argsort(turn_deg, kind="stable")
    when, high = turn_deg[order], pitch[order]
    first = np.flatnonzero(np.diff(when, prepend=-np.inf) > TOGETHER_DEG)
    return when[first], np.maximum.reduceat(high, first)


def steps_of(when: FloatArray, pitch: IntArray, fifths: int) -> dict[str, tuple[IntArray, ...]]:
    """Places in the tables, by name: one for each three notes that follow each other."""
    degree = (pitch - 7 * fifths) % 12
    half = STEPS // 2
    step = np.clip(np.diff(pitch), -half, half) + half
    length = np.diff(when)
    change = np.clip(np.rint(np.log2(length[1:] / length[:-1])), -2, 2).astype(int) + 2
    return {
        "degrees": (degree[:-2], degree[1:-1], degree[2:]),
        "figures": (step[:-1], step[1:], change),
    }


def scale_of(pitch: IntArray) -> int:
    """Fifths of the signature in whose scale most of the pitches lie; the nearest to none where several do."""
    held = np.bincount(pitch % 12, minlength=12)
    return max(range(-6, 6), key=lambda fifths: (held[(np.array(SCALE) + 7 * fifths) % 12].sum(), -abs(fifths)))


@dataclass(frozen=True, slots=True)
class TurnedFaces:
    """The upper face turned against the lower one, the strikes counted anew.

    lead: how far the best of all ways to lie is ahead of the next best one, in standard deviations of all of them;
    negative where the best is that in which they lie. Where no way makes much of a melody it is near 0. best_deg: by
    how much later the upper face's strikes come in the best other way, -180 to 180.
    """

    lead: float
    best_deg: float


def turned_faces(strikes: Sequence[Strike], pins: Sequence[Pin]) -> TurnedFaces | None:
    """How well the two faces make one melody as they lie, against every way of turning one; None with too few notes."""
    side_of = {pin.id: pin.side for pin in pins}
    told = [
        (side_of[s.pin_id] is Side.UPPER, s.turn_deg, round(s.pitch))
        for s in strikes
        if s.pitch is not None and s.pin_id is not None and s.pin_id in side_of
    ]
    upper = np.array([is_upper for is_upper, _, _ in told], dtype=bool)
    if min(upper.sum(), (~upper).sum()) < FEWEST_OF_FACE:
        return None
    turn_deg, pitch = np.array([turn for _, turn, _ in told]), np.array([note for _, _, note in told])
    fifths = scale_of(pitch)
    sense = np.array(
        [_sense(np.where(upper, (turn_deg + d) % FULL_TURN_DEG, turn_deg), pitch, fifths) for d in SHIFTS_DEG]
    )
    if not np.isfinite(sense).all():
        return None
    far = _apart(SHIFTS_DEG, 0.0)
    best = int(np.flatnonzero(far)[np.argmax(sense[far])])
    next_best = sense[far & _apart(SHIFTS_DEG, SHIFTS_DEG[best])].max()
    lead = sense[best] - max(sense[0], next_best) if sense[best] > sense[0] else sense[best] - sense[0]
    at = float(SHIFTS_DEG[best])
    return TurnedFaces(float(lead / max(sense[far].std(), 1e-6)), at - FULL_TURN_DEG if at > FULL_TURN_DEG / 2 else at)


def _apart(a_deg: FloatArray, b_deg: float) -> npt.NDArray[np.bool_]:
    """Whether two ways to lie are not the same one."""
    gap = np.abs(a_deg - b_deg)
    return np.asarray(np.minimum(gap, FULL_TURN_DEG - gap) > BESIDE_DEG)


def _sense(turn_deg: FloatArray, pitch: IntArray, fifths: int) -> float:
    """Nats a step of the upper line; higher where it moves as printed melodies do."""
    when, line = upper_line(turn_deg, pitch)
    if len(when) < FEWEST_NOTES:
        return float("nan")
    nats = load_tables().nats
    steps = steps_of(when, line, fifths)
    return float(sum(nats[name][steps[name]].mean() for name in ("degrees", "figures")))
