"""A slowing end: where the tempo begins to give way, how slow it is at the last strike, and how it gets there.

From its beginning on the length of a step grows with a power of the way gone: evenly (1), or late and quickly (2). A
strike of the last bars must not be off its place by more than the setting errors, after slipping by a second or more;
so the three numbers are first looked for on a grid, then made finer around the best (a pattern search; Hooke and Jeeves
1961). Powers of this order were found in played endings (Friberg and Sundberg 1999; both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.frame import FloatArray
from disc.tune.read.time.step_grid import StepGrid, refine, weigh
from disc.tune.read.time.straighten import APART_S, FEWEST, SIGMA_S, SLOWING_NATS, TimeMap, on_grid_nats

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
LONGEST_S = 14.0  # of a slowing
FEWEST_SLOWED = 4  # strikes within the slowing; chosen, not fitted
STEPS_TRIED, STEPS_READ = 5, 2  # likeliest steps of the grid that are laid on what is before, and those read on
SLOWER = np.geomspace(0.12, 1.4, 28)  # how much longer the last step is, as a share of a step at first
POWERS = np.array([1.0, 1.6])  # of the way gone, by which a step grows; as told above
LEAST_POWER, MOST_POWER = 0.6, 3.0  # beyond which none is looked for; chosen, around the same
FINER, ROUNDS = 3, 8  # places that are made finer, and how often the pattern is made smaller; chosen by hand
COARSE_S = 0.03  # a strike's error while the numbers are coarse, one standard deviation; chosen by hand
FAR_NATS = 15.0  # a grid of the beginning so much worse than the best is not read on
LEAST_GAIN = 6.0  # nats on the grid, below which an end is not weighed with the metre
NEWTON = 3  # rounds to find the way gone; chosen, errors are under a thousandth then


def slowed(onset_s: FloatArray, pace: TimeMap, steps: Sequence[float], best: float) -> TimeMap:
    """The pace with a slowing end on top, if the grid gains by it over the score `best`; else the pace as it is."""
    moved = pace.straight(onset_s)
    head = moved[: max(FEWEST, int(0.8 * len(moved)))]
    grids = sorted((weigh(head, *refine(head, step_s)) for step_s in steps[:STEPS_TRIED]), key=lambda grid: -grid.score)
    found, least = pace, best + LEAST_GAIN
    for grid in [grid for grid in grids[:STEPS_READ] if grid.score > grids[0].score - FAR_NATS]:
        fitted = _slowed_end(moved, grid)
        if fitted is None:
            continue
        later = unslowed(moved, float(moved[-1]), *fitted)
        score = weigh(later, *refine(later, grid.step_s)).score
        if score > least:
            least, found = score, _with_end(pace, moved, fitted)
    return found


def _with_end(pace: TimeMap, moved: FloatArray, fitted: tuple[float, float, float]) -> TimeMap:
    begin_s, last_s = fitted[0], float(moved[-1])
    before = pace.straight_s[pace.straight_s < begin_s]
    knots = np.unique(np.r_[moved[0], before, np.linspace(begin_s, last_s, 40)])
    straight = unslowed(knots, last_s, *fitted)
    return replace(pace, straight_s=straight, real_s=pace.real(knots), slowing_s=float(pace.real(np.array(begin_s))))


def unslowed(
    at_s: FloatArray,
    last_s: float,
    begin_s: FloatArray | float,
    slower: FloatArray | float,
    power: FloatArray | float,
) -> FloatArray:
    """Moments at a steady tempo where from begin_s on a step is longer by slower * (way gone) ** power, up to last_s.

    at_s: shape (n,); the others numbers, or of shape (k, 1) for a row each.
    """
    since_s = np.maximum(at_s - begin_s, 0.0)
    length_s = (last_s - begin_s) / (1.0 + slower / (1.0 + power))  # of the slowed part at a steady tempo
    way = (np.sqrt(1.0 + 2.0 * slower * since_s / length_s) - 1.0) / slower  # right where the power is 1
    way = np.clip(way, 0.0, 1.0)
    for _ in range(NEWTON):
        grown = slower * way**power
        way = np.clip(way - (way * (1.0 + grown / (1.0 + power)) - since_s / length_s) / (1.0 + grown), 0.0, 1.0)
    return np.asarray(np.where(at_s > begin_s, begin_s + way * length_s, at_s), dtype=float)


def _slowed_end(moved: FloatArray, grid: StepGrid) -> tuple[float, float, float] | None:
    """(begin, slower, power) that suit the end best on the grid of what is before it; None if none does."""
    last_s = float(moved[-1])
    begins = moved[(moved > last_s - LONGEST_S) & (moved > moved[0] + 0.3 * (last_s - moved[0]))]
    begins = begins[np.r_[True, np.diff(begins) > APART_S]] if len(begins) else begins
    begins = begins[:-FEWEST_SLOWED]
    if not len(begins):
        return None
    tail = moved[moved >= begins[0]]
    steady = on_grid_nats(tail, grid.step_s, grid.start_s).sum()
    table = np.stack([axis.ravel() for axis in np.meshgrid(begins, SLOWER, POWERS, indexing="ij")])
    gains = _gains(tail, grid, table, COARSE_S)
    best: tuple[float, tuple[float, float, float]] | None = None
    reach_s = float(np.median(np.diff(moved[moved >= begins[0]])))
    for which in _apart(table[0], gains):
        gain, fitted = _made_finer(tail, grid, table[:, which], reach_s)
        if best is None or gain > best[0]:
            best = (gain, fitted)
    return None if best is None or best[0] - steady < SLOWING_NATS / 2 else best[1]


def _gains(tail: FloatArray, grid: StepGrid, table: FloatArray, sigma_s: float) -> FloatArray:
    later = unslowed(tail, float(tail[-1]), *table[:, :, None])
    return np.asarray(on_grid_nats(later, grid.step_s, grid.start_s, sigma_s).sum(1), dtype=float)


def _apart(begins: FloatArray, gains: FloatArray) -> list[int]:
    """The best row for each of the FINER beginnings that promise most."""
    order = np.argsort(-gains, kind="stable")
    _, first = np.unique(begins[order], return_index=True)
    return [int(order[k]) for k in sorted(first)[:FINER]]


def _made_finer(
    tail: FloatArray, grid: StepGrid, at: FloatArray, reach_s: float
) -> tuple[float, tuple[float, float, float]]:
    """(nats, numbers) after looking around them at smaller and smaller distances."""
    pattern = np.stack([axis.ravel() for axis in np.meshgrid(*[[-1.0, 0.0, 1.0]] * 3, indexing="ij")])
    size = np.array([reach_s, 0.1 * float(at[1]) + 0.01, 0.4])
    last_s = float(tail[-1])
    low = np.array([float(tail[0]) - reach_s, 0.05, LEAST_POWER])
    high = np.array([last_s - 0.5, 2.0, MOST_POWER])
    gain = -np.inf
    for number in range(ROUNDS):
        tried = np.clip(at[:, None] + size[:, None] * pattern, low[:, None], high[:, None])
        gains = _gains(tail, grid, tried, COARSE_S if number < 3 else SIGMA_S)
        which = int(np.argmax(gains))
        at, gain, size = tried[:, which], float(gains[which]), size / 1.6
    return gain, (float(at[0]), float(at[1]), float(at[2]))
