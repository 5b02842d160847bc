"""Notes held longer than written (a fermata): which gap, and how much of it is too much.

A held note breaks the grid, or only the bars, of what follows. So each of the longest gaps is shortened in turn, by
what puts the strikes after it on the grid of those before it and by whole steps more, and each way is read: the metre
tells far better than any gap's length which one is right. What is gained, grid and metre together, must pay for the
place and the length of the hold. Where a person said that a note is held, only its length is asked, and it may be none:
a sign over a note that is written as long as it sounds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.tune.read.time.step_grid import StepGrid, refine, weigh
from disc.tune.read.time.straighten import APART_S, HOLD_NATS, STEADY, Hold, TimeMap

MOST_HOLDS = 2  # held notes in a turn; each costs HOLD_NATS besides (common practice, no source)
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
LONGEST_TRIED, BROKEN_TRIED = 2, 3  # of the longest gaps, and of those at which the grid breaks most
STEPS_TRIED = 4  # likeliest steps of the grid that a hold is tried with; chosen, not fitted
FEWEST_ON_A_SIDE = 6  # strikes, or a side fits any grid; chosen, not fitted
# What is left of a held gap is at least this share of it, at most that one. Common practice, no source.
LEAST_LEFT, MOST_LEFT = 0.38, 0.85
SAID_MOST_LEFT = 0.95  # of one that a person said is held; more is within the setting errors of a usual gap
WORSE_GRID = 6.0  # nats: a hold that leaves the grid worse than this is not read
LONG_STEPS = 1.6  # a gap of fewer steps is not held
FEWEST_BROKEN = 5.0  # strikes that must be out of step for a gap to be looked at

IntArray = npt.NDArray[np.int64]
Rate = Callable[[FloatArray, StepGrid], float]


def find_holds(
    onset_s: FloatArray,
    steps: Sequence[float],
    grid: StepGrid,
    rate: Rate,
    held: Sequence[int] = (),
    not_held: Sequence[int] = (),
) -> tuple[float, TimeMap]:
    """(what is gained less the price, pace with up to MOST_HOLDS holds); (0, STEADY) where nothing is held.

    onset_s: shape (n,), in order. grid: the best steady one. rate: the metre's score of moved onsets on a grid. held,
    not_held: gaps that a person said to be so, by the strike before each.
    """
    holds: list[Hold] = []
    steady = grid.score + rate(onset_s, grid)
    moved, best = onset_s, steady
    for gap in sorted({*held} & {*_able(np.diff(onset_s))}):
        found = _one_hold(onset_s, moved, steps, grid, best, rate, [gap], SAID_MOST_LEFT)
        if found is not None:
            best, hold = found[0], replace(found[1], by_hand=True)
            holds.append(hold)
            moved = np.where(onset_s >= hold.to_s, moved - hold.extra_s, moved)
    while len(holds) < max(MOST_HOLDS, len(held)):
        able = [gap for gap in _able(np.diff(moved)) if gap not in {*held, *not_held}]
        tried = _gaps_tried(moved, np.array(able, dtype=np.int64), steps)
        found = _one_hold(onset_s, moved, steps, grid, best + HOLD_NATS, rate, tried)
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


def _gaps_tried(moved: FloatArray, able: IntArray, steps: Sequence[float]) -> list[int]:
    gaps = np.diff(moved)
    longest = able[np.argsort(-gaps[able], kind="stable")][:LONGEST_TRIED].tolist()
    return list(dict.fromkeys([*longest, *_broken_at(moved, able, steps)]))


def _one_hold(
    onset_s: FloatArray,
    moved: FloatArray,
    steps: Sequence[float],
    steady: StepGrid,
    best: float,
    rate: Rate,
    tried: Sequence[int],
    most_left: float = MOST_LEFT,
) -> tuple[float, Hold] | None:
    found: tuple[float, Hold] | None = None
    gaps = np.diff(moved)
    for index in tried:
        gap_s = float(gaps[index])
        extra_s, step_s = _phase_apart(moved, index, steps)
        while extra_s <= (1.0 - LEAST_LEFT) * gap_s:
            if extra_s >= (1.0 - most_left) * gap_s and gap_s >= LONG_STEPS * step_s:
                later = np.r_[moved[: index + 1], moved[index + 1 :] - extra_s]
                # the step that shows the break best may be a coarse one, on which half of the strikes have no place
                grids = [weigh(later, *refine(later, one)) for one in dict.fromkeys((step_s, steady.step_s))]
                grid = max(grids, key=lambda one: one.score)
                fits = grid.score > steady.score - WORSE_GRID
                score = grid.score + rate(later, grid) if fits else -np.inf
                if score > best:
                    best, found = score, (score, Hold(float(onset_s[index]), float(onset_s[index + 1]), extra_s))
            extra_s += step_s
    return found


def _broken_at(moved: FloatArray, able: IntArray, steps: Sequence[float]) -> list[int]:
    """Gaps at which the strikes before and after keep a step far better each for themselves than together."""
    gaps = np.diff(moved)
    best = np.zeros(len(gaps))
    for step_s in steps[:STEPS_TRIED]:
        tried = step_s * np.linspace(0.99, 1.01, 21)
        turns = np.cumsum(np.exp(2j * np.pi * moved[None, :] / tried[:, None]), axis=1)
        apart = np.abs(turns[:, :-1]) + np.abs(turns[:, -1:] - turns[:, :-1])
        gain = apart.max(0) - np.abs(turns[:, -1]).max()
        best = np.maximum(best, np.where(gaps >= LONG_STEPS * step_s, gain, 0.0))
    order = able[np.argsort(-best[able], kind="stable")]
    return [int(index) for index in order[:BROKEN_TRIED] if best[index] >= FEWEST_BROKEN]


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
