"""Each strike's place in exact quarters: on the grid, or in triplets where a beat or half a beat is set that way.

A stretch (a beat, or half of one) leaves the grid only if its strikes fit a division by three so much better that the
gain pays for how seldom this turn does so; how seldom is estimated from the turn itself in a first pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.records import Metre
from disc.tune.read.beat.metre import MetreReading, step_quarter

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# Nats that a stretch off the grid must gain. Limits: one stretch in four, one in a thousand.
LEAST_COST, FIRST_COST, MOST_COST = 1.1, 5.0, 6.9
# A place cannot be told better than this share of a step, however small the setting errors.
LEAST_SIGMA_STEPS = 0.05
# Strikes this much before a stretch belong to it: a last triplet must not, an early first strike must. In steps.
SLACK_STEPS = 0.25
ROUNDS = 3  # of setting strikes to places and fitting anew; chosen by hand
FARTHEST = 4.5  # nats: beyond three errors a strike counts as a stray
# Where the quarter is known: what it is divided by to find the places of the fastest written notes; a strike that is
# off its place by more than OFF errors and on one of these within ON errors (one strike in two thousand is further off
# its own) was written there.
FASTEST_PARTS = (8, 6)
OFF_ERRORS, ON_ERRORS = 4.0, 3.5  # as said above


@dataclass(frozen=True, slots=True)
class _StrikeStretch:
    """Strikes of one stretch: their indices, their places from its start in steps, its length in steps, and what it
    costs (nats) to keep each on the grid.
    """

    start: int
    steps: int
    members: IntArray
    inside: FloatArray
    on_grid: FloatArray

    def picked(self, which: BoolArray, start: int, steps: int) -> _StrikeStretch:
        """A part of it that begins `start` steps later."""
        return _StrikeStretch(
            self.start + start, steps, self.members[which], self.inside[which] - start, self.on_grid[which]
        )


def place_strikes(onset_s: FloatArray, reading: MetreReading, metre: Metre) -> list[Fraction]:
    """Quarters from bar 1's line for each strike, in the order given."""
    grid, structure = reading.grid, reading.structure
    place = grid.places(onset_s) - reading.first_step
    sigma = max(grid.sigma_s / grid.step_s, LEAST_SIGMA_STEPS)
    step = step_quarter(structure, metre)
    whole, on_grid = likeliest_steps(place, structure.steps, sigma)
    stretches = _stretches(place, structure.steps, on_grid)
    first = [_divide(s, sigma, FIRST_COST, structure.compound) for s in stretches]
    used = sum(any(d for _, d in parts) for parts in first)
    share = (used + 0.01) / (len(stretches) + 0.02)
    cost = float(np.clip(np.log((1 - share) / share), LEAST_COST, MOST_COST))
    quarters = [Fraction(int(k)) * step for k in whole]
    for stretch in stretches:
        for part, division in _divide(stretch, sigma, cost, structure.compound):
            for index, inside in zip(part.members, part.inside, strict=True):
                if division:
                    nearest = Fraction(round(float(inside) / part.steps * division), division)
                    quarters[index] = (part.start + nearest * part.steps) * step
    return quarters


def on_written_places(
    onset_s: FloatArray, places: Sequence[Fraction], start_s: float, quarter_s: float, sigma_s: float
) -> list[Fraction]:
    """Places in quarters; a strike far off its own, and on one of the fastest notes of a known quarter, takes that.

    The grid is the turn's usual step, and a few notes faster than it are strays to it. Where errors are so wide that
    every stray would be on some place, nothing is moved. onset_s: shape (n,), as places; start_s: where quarter 0 is;
    sigma_s: error of a strike.
    """
    made = list(places)
    parts_told = [parts for parts in FASTEST_PARTS if quarter_s / parts >= (OFF_ERRORS + ON_ERRORS) * sigma_s]
    if not parts_told:
        return made
    for index, onset in enumerate(onset_s):
        quarter = (float(onset) - start_s) / quarter_s
        if abs(quarter - float(made[index])) * quarter_s <= OFF_ERRORS * sigma_s:
            continue
        choices = [Fraction(round(quarter * parts), parts) for parts in parts_told]
        best = min(choices, key=lambda place: abs(quarter - float(place)))
        if abs(quarter - float(best)) * quarter_s <= ON_ERRORS * sigma_s:
            made[index] = best
    return made


def likeliest_steps(place: FloatArray, steps: int, sigma: float) -> tuple[FloatArray, FloatArray]:
    """(whole step each strike was meant for, its cost in nats), shape (n,) each.

    The nearest step, unless the next is far more used in this turn: how much each place in the beat is used is counted
    from the strikes themselves, in a few rounds.
    """
    below = np.floor(place)
    choices = np.stack([below, below + 1.0])
    misfit = np.minimum(0.5 * ((place - choices) / sigma) ** 2, FARTHEST)
    residue = (choices % steps).astype(int)
    whole, cost = np.round(place), misfit
    for _ in range(ROUNDS):
        used = np.bincount((whole % steps).astype(int), minlength=steps) + 1.0
        cost = misfit - np.log(used / used.sum())[residue]
        whole = choices[cost.argmin(0), np.arange(len(place))]
    return whole, cost.min(0)


def _stretches(place: FloatArray, steps: int, on_grid: FloatArray) -> list[_StrikeStretch]:
    number = np.floor((place + SLACK_STEPS) / steps).astype(int)
    whole = _StrikeStretch(0, steps, np.arange(len(place)), place, on_grid)
    return [whole.picked(number == beat, int(beat) * steps, steps) for beat in np.unique(number)]


def _divide(stretch: _StrikeStretch, sigma: float, cost: float, compound: bool) -> list[tuple[_StrikeStretch, int]]:
    """The stretch, whole or in halves, each with the division that is off the grid; 0 where it keeps to the grid."""
    options = [([(stretch, 0)], float(stretch.on_grid.sum()))]
    for division in (2, 4) if compound or stretch.steps % 3 == 0 else (3, 6):
        if stretch.steps % division and _is_used(stretch, division):
            options.append(([(stretch, division)], cost + _misfit(stretch, division, division, sigma)))
    if not compound and stretch.steps % 2 == 0:
        half = stretch.steps // 2
        second = stretch.inside + SLACK_STEPS >= half
        halves = (stretch.picked(~second, 0, half), stretch.picked(second, half, half))
        parts = [_half(part, sigma, cost) for part in halves]
        options.append(([(part, d) for part, (d, _) in zip(halves, parts, strict=True)], sum(m for _, m in parts)))
    return min(options, key=lambda option: option[1])[0]


def _half(half: _StrikeStretch, sigma: float, cost: float) -> tuple[int, float]:
    on_grid = float(half.on_grid.sum())
    if half.steps % 3 and _is_used(half, 3):
        in_three = cost + _misfit(half, 3, 6, sigma)
        if in_three < on_grid:
            return 3, in_three
    return 0, on_grid


def _is_used(stretch: _StrikeStretch, division: int) -> bool:
    """Whether the division shows: two places or more, one of them inside the stretch."""
    places = {round(float(inside) / stretch.steps * division) for inside in stretch.inside}
    return len(places) >= 2 and len(places - {0, division}) >= 1


def _misfit(stretch: _StrikeStretch, division: int, choices: int, sigma: float) -> float:
    """Nats it costs to set the strikes on the division, every one of `choices` places being as likely."""
    scaled = stretch.inside / stretch.steps * division
    off = (scaled - np.round(scaled)) * stretch.steps / division
    return float((np.minimum(0.5 * (off / sigma) ** 2, FARTHEST) + np.log(choices)).sum())
