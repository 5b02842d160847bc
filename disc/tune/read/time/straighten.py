"""A turn's own time made straight before any beat is read: a slow drift of the setting, a held note, a slowing end.

Comes in: onsets in order, seconds. Goes out: TimeMap, a map between the turn's seconds and seconds at a steady tempo,
with what bends it named. Each way of bending is tried on a few steps, weighed as step_grid.py weighs a steady grid, and
taken only if it gains more nats than it could by chance (a description length; Schwarz 1978), so that a steady turn
stays as it is. Nothing is bent that a steady grid explains. What is held how long is told in holds.py, how the end
slows in slowing.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from disc.frame import FloatArray
from disc.tune.read.time.drift import drifted
from disc.tune.read.time.step_grid import LONGEST_STEP_S, SHORTEST_STEP_S, StepGrid, refine, weigh

# Nats that each way of bending must gain: its numbers (a beginning and a rate; six waves) at half log n each for 200
# strikes, and as much again because many places are tried.
SLOWING_NATS, DRIFT_NATS = 14.0, 28.0
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
FEWEST = 8  # strikes; fewer fit any bend (chosen, not fitted)
STEPS_TRIED = 5  # likeliest steps of the grid; chosen, not fitted
APART_S = 0.06  # strikes closer than this were meant together
SIGMA_S, STRAYS = 0.018, 0.05  # setting error of a strike, and the share off any grid; chosen, not fitted


@dataclass(frozen=True, slots=True)
class Hold:
    """A note held from from_s to to_s, the turn's seconds; extra_s: how much longer than written. price: nats that it
    must gain. by_hand: a person said that it is held, which then has to pay for nothing.
    """

    from_s: float
    to_s: float
    extra_s: float
    price: float = 0.0
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class TimeMap:
    """Knots of the map, both rising, shape (k,): straight_s at a steady tempo, real_s as the disc turns.

    slowing_s: where (the turn's seconds) the end begins to slow; drift_s: largest departure of a slow drift.
    """

    straight_s: FloatArray
    real_s: FloatArray
    holds: tuple[Hold, ...] = field(default_factory=tuple)
    slowing_s: float | None = None
    drift_s: float = 0.0
    drift_at_s: float = 0.0

    @property
    def is_steady(self) -> bool:
        """Whether nothing is bent."""
        return not self.holds and self.slowing_s is None and not self.drift_s

    @property
    def price(self) -> float:
        """Nats that all its bends must gain together."""
        slow = SLOWING_NATS if self.slowing_s is not None else 0.0
        return slow + (DRIFT_NATS if self.drift_s else 0.0) + sum(h.price for h in self.holds if not h.by_hand)

    def straight(self, real_s: FloatArray) -> FloatArray:
        """Steady seconds of moments of the turn, shape as given; beyond the knots the tempo at the ends goes on."""
        return _through(real_s, self.real_s, self.straight_s)

    def real(self, straight_s: FloatArray) -> FloatArray:
        """The inverse of straight."""
        return _through(straight_s, self.straight_s, self.real_s)


# No drift and no hold: straight time is real time; by definition.
STEADY = TimeMap(np.array([0.0, 1.0]), np.array([0.0, 1.0]))


def _through(at: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    inside = np.interp(at, x, y)
    before = y[0] + (at - x[0]) * (y[1] - y[0]) / (x[1] - x[0])
    after = y[-1] + (at - x[-1]) * (y[-1] - y[-2]) / (x[-1] - x[-2])
    return np.asarray(np.where(at < x[0], before, np.where(at > x[-1], after, inside)), dtype=float)


def find_drift(onset_s: FloatArray, steps: Sequence[float]) -> tuple[float, TimeMap]:
    """(score less its price, pace) of the best slow drift. onset_s: shape (n,), seconds, in order."""
    best = (-np.inf, STEADY)
    for step_s in steps[:STEPS_TRIED]:
        straight_s, real_s, mean_step_s = drifted(onset_s, step_s)
        pace = TimeMap(straight_s, real_s)
        moved = pace.straight(onset_s)
        score = weigh(moved, *refine(moved, mean_step_s)).score - DRIFT_NATS
        if score > best[0]:
            best = (score, _with_drift(pace))
    return best


def candidate_steps_by_part(onset_s: FloatArray, grids: Sequence[StepGrid]) -> list[float]:
    """Steps worth trying, s: the steady grids', and those that the parts of the turn show, each part for itself."""
    raw = np.ascontiguousarray(onset_s, dtype=float).tobytes()
    return list(_steps_by_part(raw, tuple(grid.step_s for grid in grids)))


@lru_cache(maxsize=8)
def _steps_by_part(raw: bytes, steady: tuple[float, ...]) -> tuple[float, ...]:
    onset_s = np.frombuffer(raw)
    length_s = float(onset_s[-1] - onset_s[0])
    finest = 1.0 / length_s
    frequencies = np.arange(1.0 / LONGEST_STEP_S, 1.0 / SHORTEST_STEP_S, finest)
    power = np.zeros(len(frequencies))
    width_s = length_s / 5.0
    for centre in np.linspace(onset_s[0] + width_s / 2, onset_s[-1] - width_s / 2, 9):
        near = onset_s[np.abs(onset_s - centre) < width_s / 2]
        if len(near) > 3:
            power += np.abs(np.exp(2j * np.pi * np.outer(frequencies, near)).sum(1)) ** 2 / len(near)
    inner = power[1:-1]
    peaks = 1 + np.flatnonzero((inner >= power[:-2]) & (inner > power[2:]))
    steps = [1.0 / float(frequencies[p]) for p in peaks[np.argsort(-power[peaks], kind="stable")][:STEPS_TRIED]]
    steps += [2 * step for step in steps[:2]] + list(steady)
    kept: list[float] = []
    for step in steps:
        near_known = any(abs(np.log(step / other)) < 0.01 for other in kept)
        if SHORTEST_STEP_S <= step <= LONGEST_STEP_S and not near_known:
            kept.append(step)
    return tuple(kept)


# ---- a slow drift


def _with_drift(pace: TimeMap) -> TimeMap:
    """The pace with its largest departure from the straight line through it, and where that is."""
    slope, constant = np.polyfit(pace.straight_s, pace.real_s, 1)
    off = pace.real_s - slope * pace.straight_s - constant
    worst = int(np.argmax(np.abs(off)))
    return replace(pace, drift_s=float(abs(off[worst])), drift_at_s=float(pace.real_s[worst]))


# ---- strikes on a grid


def on_grid_nats(onset_s: FloatArray, step_s: float, start_s: float, sigma_s: float = SIGMA_S) -> FloatArray:
    """Nats by which each onset stands on a grid rather than anywhere, shape as given."""
    place = (onset_s - start_s) / step_s
    off_s = (place - np.round(place)) * step_s
    density = np.exp(-0.5 * (off_s / sigma_s) ** 2) * step_s / (sigma_s * np.sqrt(2 * np.pi))
    return np.asarray(np.log((1 - STRAYS) * density + STRAYS), dtype=float)
