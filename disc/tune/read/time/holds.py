"""Notes held longer than written (a fermata): which gap, and how much of it is too much.

A held note breaks the grid, or only the bars, of what follows. hold_places.py names the likeliest gaps and by how much
each is too long; each is shortened so and read in full: the metre tells far better than any gap's length which one is
right. What is gained, grid and metre together, must pay for the place and the length of the hold. Where a person said
that a note is held, only its length is asked, and it may be none: a sign over a note that is written as long as it
sounds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from disc.frame import FloatArray
from disc.tune.read.time.hold_places import LEAST_LEFT, LONG_STEPS, STEPS_TRIED, Lines, Place, likely_places
from disc.tune.read.time.step_grid import StepGrid, find_grids, refine, weigh
from disc.tune.read.time.straighten import APART_S, HOLD_NATS, STEADY, Hold, TimeMap

MOST_HOLDS = 2  # held notes in a turn; each costs HOLD_NATS besides (common practice, no source)
FEWEST_ON_A_SIDE = 6  # strikes, or a side fits any grid; chosen, not fitted
SAID_MOST_LEFT = 0.95  # of one that a person said is held; more is within the setting errors of a usual gap
WORSE_GRID = 6.0  # nats: a hold that leaves the grid worse than this is not read (chosen, not fitted)
NEAR_STEPS = 0.25  # strikes farther from the grid do not tell how long a hold is; chosen, not fitted

Rate = Callable[[FloatArray, StepGrid], float]


def find_holds(
    onset_s: FloatArray,
    steps: Sequence[float],
    grid: StepGrid,
    rate: Rate,
    lines: Lines,
    held: Sequence[int] = (),
    not_held: Sequence[int] = (),
) -> tuple[float, TimeMap]:
    """(what is gained less the price, pace with up to MOST_HOLDS holds); (0, STEADY) where nothing is held.

    onset_s: shape (n,), in order. grid: the best steady one. rate: the metre's score of moved onsets on a grid;
    lines: the same of all gaps, at a look. held, not_held: gaps that a person said to be so, by the strike before each.
    """
    holds: list[Hold] = []
    steady = grid.score + rate(onset_s, grid)
    moved, best = onset_s, steady
    for gap in sorted({*held} & {*_able(np.diff(onset_s))}):
        found = _best_of(onset_s, moved, _places_of_gap(moved, gap, steps), grid, best, rate)
        if found is not None:
            best, hold = found[0], replace(found[1], by_hand=True)
            holds.append(hold)
            moved = np.where(onset_s >= hold.to_s, moved - hold.extra_s, moved)
    while len(holds) < max(MOST_HOLDS, len(held)):
        known = {*held, *not_held, *(int(np.searchsorted(onset_s, hold.from_s)) for hold in holds)}
        able = [gap for gap in _able(np.diff(moved)) if gap not in known]
        found = _best_of(onset_s, moved, likely_places(moved, able, steps, lines), grid, best + HOLD_NATS, rate)
        if found is None:
            break
        best, hold = found[0] - HOLD_NATS, found[1]
        holds.append(hold)
        moved = np.where(onset_s >= hold.to_s, moved - hold.extra_s, moved)
    return (best - steady, with_holds(onset_s, holds)) if holds else (0.0, STEADY)


def _able(gaps_s: FloatArray) -> list[int]:
    """Gaps with strikes enough on both sides to tell whether one grid goes through both."""
    inside = np.arange(len(gaps_s))
    enough = (inside >= FEWEST_ON_A_SIDE) & (inside < len(gaps_s) - FEWEST_ON_A_SIDE) & (gaps_s > APART_S)
    return [int(gap) for gap in inside[enough]]


def _places_of_gap(moved: FloatArray, gap: int, steps: Sequence[float]) -> list[Place]:
    """Ways in which one gap may be too long, none of them too long to be a hold."""
    gap_s = float(moved[gap + 1] - moved[gap])
    extra_s, step_s = _phase_apart(moved, gap, steps)
    count = max(0, int(((1.0 - LEAST_LEFT) * gap_s - extra_s) / step_s) + 1)
    extras = [extra_s + number * step_s for number in range(count)]
    able = [extra for extra in extras if extra >= (1.0 - SAID_MOST_LEFT) * gap_s and gap_s >= LONG_STEPS * step_s]
    return [Place(gap, extra, step_s) for extra in able]


def _best_of(
    onset_s: FloatArray, moved: FloatArray, places: Sequence[Place], steady: StepGrid, best: float, rate: Rate
) -> tuple[float, Hold] | None:
    """(score, hold) of the best place whose score is above `best`."""
    found: tuple[float, Hold] | None = None
    for place in places:
        later = np.r_[moved[: place.gap + 1], moved[place.gap + 1 :] - place.extra_s]
        grid = find_grids(later)[0]
        if grid.score <= steady.score - WORSE_GRID:
            continue
        more_s = _left_over(later, place.gap, grid)
        later = np.r_[later[: place.gap + 1], later[place.gap + 1 :] - more_s]
        grid = weigh(later, *refine(later, grid.step_s))
        score = grid.score + rate(later, grid)
        if score > best:
            held = Hold(float(onset_s[place.gap]), float(onset_s[place.gap + 1]), place.extra_s + more_s)
            best, found = score, (score, held)
    return found


def _left_over(later: FloatArray, gap: int, grid: StepGrid) -> float:
    """How far the strikes after a gap still stand behind those before it, s."""
    off = grid.places(later) - np.round(grid.places(later))
    near = np.abs(off) < NEAR_STEPS
    after = np.arange(len(later)) > gap
    if not (near & after).any() or not (near & ~after).any():
        return 0.0
    return float(off[near & after].mean() - off[near & ~after].mean()) * grid.step_s


def _phase_apart(moved: FloatArray, index: int, steps: Sequence[float]) -> tuple[float, float]:
    """(how far the strikes after a gap stand off the grid of those before it, its step), s: the best of the steps."""
    best = (-np.inf, 0.0, steps[0])
    for step_s in steps[:STEPS_TRIED]:
        tried = step_s * np.linspace(0.99, 1.01, 21)
        turns = np.exp(2j * np.pi * moved[None, :] / tried[:, None])
        before, after = turns[:, : index + 1].sum(1), turns[:, index + 1 :].sum(1)
        which = int(np.argmax(np.abs(before) + np.abs(after)))
        fitted_s = float(tried[which])
        extra_s = float(np.angle(after[which] * np.conj(before[which])) / (2 * np.pi) % 1.0) * fitted_s
        later = np.r_[moved[: index + 1], moved[index + 1 :] - extra_s]
        score = weigh(later, *refine(later, fitted_s)).score
        if score > best[0]:
            best = (score, extra_s, fitted_s)
    return best[1], best[2]


def with_holds(onset_s: FloatArray, holds: Sequence[Hold]) -> TimeMap:
    """A pace in which the time of each hold is taken out of its gap."""
    knots = np.unique([float(onset_s[0]), float(onset_s[-1]), *(at for h in holds for at in (h.from_s, h.to_s))])
    extra = np.array([sum(h.extra_s for h in holds if knot >= h.to_s) for knot in knots])
    return TimeMap(knots - extra, knots, tuple(sorted(holds, key=lambda h: h.from_s)))
