"""Notes held longer than written (a fermata): which gap, and how much of it is too much.

A held note breaks the grid, or only the bars, of what follows. hold_places.py names the likeliest gaps and by how much
each is too long; each is shortened so and read in full: the metre tells far better than any gap's length which one is
right. What is gained, grid and metre together, must pay for the place and the length of the hold. Where a person said
that a note is held, only its length is asked, and it may be none: a sign over a note that is written as long as it
sounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.frame import FloatArray
from disc.tune.read.time.hold_odds import hold_features
from disc.tune.read.time.hold_places import LEAST_LEFT, LONG_STEPS, STEPS_TRIED, Place, likely_places
from disc.tune.read.time.step_grid import StepGrid, find_grids, refine, weigh
from disc.tune.read.time.straighten import APART_S, STEADY, Hold, TimeMap
from disc.tune.read.time.weighed_turn import WeighedTurn

MOST_HOLDS = 2  # held notes in a turn; common practice, no source
SECOND_NATS = 9.0  # that a second must gain beyond what a first must; chosen by hand: the fit knows one hold a turn
FEWEST_ON_A_SIDE = 6  # strikes, or a side fits any grid; chosen, not fitted
SAID_MOST_LEFT = 0.95  # of one said to be held; chosen by hand, more is within the setting errors of a usual gap
WORSE_GRID = 6.0  # nats: a hold that leaves the grid worse than this is not read (chosen, not fitted)
NEAR_STEPS = 0.25  # strikes farther from the grid do not tell how long a hold is; chosen, not fitted


@dataclass(frozen=True, slots=True)
class TriedHold:
    """A hold with what it shows (hold_odds.FEATURES) and the score of grid and metre that it leaves."""

    hold: Hold
    features: tuple[float, ...]
    score: float


def find_holds(turn: WeighedTurn, held: Sequence[int] = (), not_held: Sequence[int] = ()) -> TimeMap:
    """The pace with up to MOST_HOLDS holds that gain more than nothing; STEADY where nothing is held.

    held, not_held: gaps that a person said to be so, by the strike before each.
    """
    holds: list[Hold] = []
    moved, before = turn.onset_s, turn.grid.score + turn.rate(turn.onset_s, turn.grid)
    for gap in sorted({*held} & {*_able(np.diff(moved))}):
        tried = try_places(turn, moved, _places_of_gap(moved, gap, turn.steps), before)
        found = max(tried, key=lambda one: one.score, default=None)
        if found is not None and found.score > before:
            before = found.score
            holds.append(replace(found.hold, by_hand=True))
            moved = _without(turn.onset_s, moved, found.hold)
    while len(holds) < max(MOST_HOLDS, len(held)):
        tried = try_places(turn, moved, places_of(turn, moved, holds, not_held), before)
        found = max(tried, key=lambda one: one.score - one.hold.price, default=None)
        if found is None or found.score - found.hold.price - before <= SECOND_NATS * len(holds):
            break
        before = found.score
        holds.append(replace(found.hold, price=found.hold.price + SECOND_NATS * len(holds)))
        moved = _without(turn.onset_s, moved, found.hold)
    return with_holds(turn.onset_s, holds) if holds else STEADY


def places_of(
    turn: WeighedTurn, moved: FloatArray, holds: Sequence[Hold] = (), not_held: Sequence[int] = ()
) -> list[Place]:
    """The likeliest places of one more hold."""
    known = {*not_held, *(int(np.searchsorted(turn.onset_s, hold.from_s)) for hold in holds)}
    able = [gap for gap in _able(np.diff(moved)) if gap not in known]
    return likely_places(moved, able, turn.steps, turn.lines)


def _without(onset_s: FloatArray, moved: FloatArray, hold: Hold) -> FloatArray:
    return np.where(onset_s >= hold.to_s, moved - hold.extra_s, moved)


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


def try_places(turn: WeighedTurn, moved: FloatArray, places: Sequence[Place], before: float) -> list[TriedHold]:
    """Each place as a hold, read in full, but those that leave no good grid. moved: onsets, known holds taken out;
    before: score of grid and metre as they stand.
    """
    made = []
    whole = find_grids(moved)[0].score
    for place in places:
        later = np.r_[moved[: place.gap + 1], moved[place.gap + 1 :] - place.extra_s]
        grid = weigh(later, *refine(later, place.step_s))
        if grid.score <= whole - WORSE_GRID:
            continue
        extra_s = place.extra_s + _left_over(later, place.gap, grid)
        later = np.r_[moved[: place.gap + 1], moved[place.gap + 1 :] - extra_s]
        grid = weigh(later, *refine(later, grid.step_s))
        metre = turn.rate(later, grid)
        if not np.isfinite(metre):
            continue
        gains = (grid.score - whole, metre - (before - whole))
        shown = hold_features(moved, turn.pitch, turn.is_melody, place.gap, extra_s, *gains)
        worth = float(turn.odds.shares(np.array(shown)).sum())
        hold = Hold(float(turn.onset_s[place.gap]), float(turn.onset_s[place.gap + 1]), extra_s, sum(gains) - worth)
        made.append(TriedHold(hold, tuple(shown), grid.score + metre))
    return made


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
