"""Each strike's place in exact quarters, beat by beat: on the grid, or in triplets where a beat is set that way."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from disc.frame import FloatArray
from disc.records import Metre
from disc.tune.metre import MetreReading, step_quarter

# Nats that a beat set off the grid must gain: triplets are rare where the grid is binary (one beat in fifty in the
# tuning melodies that have any).
OFF_GRID_COST = 5.0
# A place cannot be told better than this share of a division, however small the setting errors.
LEAST_SIGMA_STEPS = 0.05


def place_strikes(onset_s: FloatArray, reading: MetreReading, metre: Metre) -> list[Fraction]:
    """Quarters from bar 1's line for each strike, in the order given."""
    grid, structure = reading.grid, reading.structure
    place = grid.places(onset_s) - reading.first_step
    sigma = max(grid.sigma_s / grid.step_s, LEAST_SIGMA_STEPS)
    step = step_quarter(structure, metre)
    quarters = [Fraction(int(k)) * step for k in np.round(place)]
    beat_of = np.floor((np.round(place)) / structure.steps).astype(int)
    for beat in np.unique(beat_of):
        members = np.flatnonzero(beat_of == beat)
        division = _best_division(place[members] - beat * structure.steps, structure.steps, sigma)
        if division is not None:
            for index in members:
                inside = round(float(place[index] - beat * structure.steps) / structure.steps * division)
                quarters[index] = (beat + Fraction(inside, division)) * structure.steps * step
    return quarters


def _best_division(inside: FloatArray, steps: int, sigma: float) -> int | None:
    """Divisions of a beat (3 or 6, or twice the grid's) that fit its strikes clearly better than the grid."""
    best, cost = None, _misfit(inside, steps, steps, sigma)
    for division in _other_divisions(steps):
        tried = _misfit(inside, steps, division, sigma) + OFF_GRID_COST + np.log(division / steps) * len(inside)
        if tried < cost:
            best, cost = division, tried
    return best


def _other_divisions(steps: int) -> tuple[int, ...]:
    return tuple(d for d in (3, 6, 2 * steps) if (d % steps and steps % d) or d == 2 * steps)


def _misfit(inside: FloatArray, steps: int, division: int, sigma: float) -> float:
    scaled = inside / steps * division
    off = (scaled - np.round(scaled)) * steps / division
    # beyond three errors a strike counts as a stray
    return float(np.minimum(0.5 * (off / sigma) ** 2, 4.5).sum())
