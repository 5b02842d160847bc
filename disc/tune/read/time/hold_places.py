"""Where a note may be held, looked at quickly: which gap, and how much of it is too much.

A hold that is no whole number of steps breaks the grid: the strikes before and after it keep a step each for themselves
and not together. One of whole steps shows in the bar lines alone. Both are told for all gaps at once; the likeliest
places are then read in full (holds.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.tune.read.time.step_grid import find_grids, refine, weigh
from disc.tune.read.time.straighten import on_grid_nats
from disc.tune.read.time.weighed_turn import Lines

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
STEPS_TRIED = 4  # likeliest steps of the grid that a hold is tried with; chosen, not fitted
BREAKS_TRIED = 2  # ways in which the grid may be broken whose bar lines are looked at
FEWEST_BROKEN = 5.0  # strikes that must be out of step for a gap to be looked at
PLACES_TRIED = 8  # read in full; each takes as long as a reading of the metre
NEAR_NATS = 25.0  # a place so much worse than the best one is not read in full
# A gap of fewer steps is not held: one step, held half as long again, less the strikes' errors.
LONG_STEPS = 1.35
LEAST_STEPS = 0.75  # what is left is one step at least, less the errors
# What is left of a held gap is at least this share of it, at most that one. Common practice, no source.
LEAST_LEFT, MOST_LEFT = 0.38, 0.85
MOST_STEPS = 12  # a hold of more whole steps is no hold

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Place:
    """A gap by the strike before it; extra_s: how much longer than written it may be; step_s: of the grid around it."""

    gap: int
    extra_s: float
    step_s: float


def likely_places(moved: FloatArray, able: Sequence[int], steps: Sequence[float], lines: Lines) -> list[Place]:
    """Places where a hold may be, likeliest first. moved: onsets in order, s, known holds taken out."""
    if not able:
        return []
    gaps_s = np.diff(moved)[list(able)]
    found: list[tuple[float, Place]] = []
    for later, later_s in _breaks(moved, np.array(able, dtype=np.int64), steps):
        grid = find_grids(later)[0]
        most = min(MOST_STEPS, int((1.0 - LEAST_LEFT) * float(gaps_s.max()) / grid.step_s))
        metre = lines(later, grid, most)[list(able)]
        nats = on_grid_nats(np.stack([moved, moved - later_s]), grid.step_s, grid.start_s)
        on_grid = (np.cumsum(nats[0])[:-1] + nats[1].sum() - np.cumsum(nats[1])[:-1])[list(able)]
        extra_s = np.asarray(later_s + grid.step_s * np.arange(most + 1)[None, :], dtype=float)
        may_be = _may_be(gaps_s[:, None], extra_s, grid.step_s, MOST_LEFT)
        score = np.where(may_be, metre + on_grid[:, None], -np.inf)
        for which in np.argsort(-score, axis=None, kind="stable")[:PLACES_TRIED]:
            row, whole = np.unravel_index(which, score.shape)
            if np.isfinite(score[row, whole]):
                place = Place(int(able[row]), float(extra_s[0, whole]), grid.step_s)
                found.append((float(score[row, whole]), place))
    found.sort(key=lambda item: -item[0])
    return [place for score, place in found[:PLACES_TRIED] if score > found[0][0] - NEAR_NATS]


def _may_be(gap_s: FloatArray, extra_s: FloatArray, step_s: float, most_left: float) -> npt.NDArray[np.bool_]:
    left_s = gap_s - extra_s
    within = (left_s >= LEAST_LEFT * gap_s) & (left_s <= most_left * gap_s)
    return np.asarray(within & (gap_s >= LONG_STEPS * step_s) & (left_s >= LEAST_STEPS * step_s))


def _breaks(moved: FloatArray, able: IntArray, steps: Sequence[float]) -> list[tuple[FloatArray, float]]:
    """(onsets put on one grid, what was taken from those after the break), the whole grid first, s each."""
    broken = []
    for step_s in steps[:STEPS_TRIED]:
        gap, later_s, fitted_s, out_of_step = _break_of_step(moved, able, step_s)
        if out_of_step >= FEWEST_BROKEN:
            later = np.r_[moved[: gap + 1], moved[gap + 1 :] - later_s]
            broken.append((weigh(later, *refine(later, fitted_s)).score, later, later_s))
    broken.sort(key=lambda item: -item[0])
    return [(moved, 0.0), *((item[1], item[2]) for item in broken[:BREAKS_TRIED])]


def _break_of_step(moved: FloatArray, able: IntArray, step_s: float) -> tuple[int, float, float, float]:
    """(gap at which a step breaks most, what is over there, the step as fitted, strikes that are out of step)."""
    tried = step_s * np.linspace(0.99, 1.01, 21)
    turns = np.cumsum(np.exp(2j * np.pi * moved[None, :] / tried[:, None]), axis=1)
    before = turns[:, able]
    after = turns[:, -1:] - before
    apart = np.abs(before) + np.abs(after) - np.abs(turns[:, -1]).max()
    apart = np.where((np.diff(moved)[able] >= LONG_STEPS * step_s)[None, :], apart, -np.inf)
    rate, which = np.unravel_index(int(np.argmax(apart)), apart.shape)
    over = float(np.angle(after[rate, which] * np.conj(before[rate, which])) / (2 * np.pi) % 1.0)
    return int(able[which]), over * float(tried[rate]), float(tried[rate]), float(apart[rate, which])
