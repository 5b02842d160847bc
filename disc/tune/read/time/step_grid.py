"""The finest steady grid that the strikes of a turn stand on: its step and where it begins, before any beat or bar.

Comes in: onsets in seconds, with setting errors of 10 to 30 ms. Goes out: a few candidate grids, best first, each with
its log-likelihood over strikes at random. Method: the onsets' spectrum |sum exp(2 pi i f t)| names candidate steps (as
in the periodogram of a point process; Bartlett 1963, from memory); each is fitted by least squares and weighed as a
mixture of normal errors round the grid's places, places counted modulo 2, 3, 4 or 6 steps with shares of their own, and
a share of strays. A penalty of half log n for each further share keeps a finer grid from winning for nothing (Schwarz
1978).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray

# Steps looked for, s. On discs of this kind neighbouring strikes of a run lie 0.08 to 0.5 s apart; half of the least,
# for ornaments, and room above. Common practice, no source.
SHORTEST_STEP_S, LONGEST_STEP_S = 0.06, 0.9
# A strike's setting error, one standard deviation; fitted within these limits.
LEAST_SIGMA_S, MOST_SIGMA_S = 0.004, 0.035
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
STRAYS = 0.02  # share of strikes off any grid, before fitting
PEAKS = 10  # likeliest steps that are refined; chosen by hand
KEPT = 4  # of them, given to the metre; chosen by hand
CYCLES = (1, 2, 3, 4, 6)  # steps of the cycles that a grid may have strong places by
# Where the quarter is known the step is one of its parts, and may be finer than one would look for. Halves only: a
# triplet is found inside its beat (quantise.py), and 6/8 goes in eighths.
PARTS_OF_QUARTER = (1, 2, 4, 8)
SHORTEST_PART_S = 0.03  # of a known quarter; chosen, half of SHORTEST_STEP_S


@dataclass(frozen=True, slots=True)
class StepGrid:
    """Places at start_s + k * step_s. sigma_s: error of a strike. score: log-likelihood ratio against chance, nats."""

    step_s: float
    start_s: float
    sigma_s: float
    score: float

    def places(self, onset_s: FloatArray) -> FloatArray:
        """Place of each onset on the grid, as a number with a fraction."""
        return (onset_s - self.start_s) / self.step_s


def find_grids(onset_s: FloatArray) -> tuple[StepGrid, ...]:
    """Candidate grids, best first; at least one. onset_s: shape (n,), n >= 2, seconds, in order.

    What was found last is kept: a steady turn is asked for its grids at several stages of its reading.
    """
    return _grids_of(np.ascontiguousarray(onset_s, dtype=float).tobytes())


@lru_cache(maxsize=16)
def _grids_of(raw: bytes) -> tuple[StepGrid, ...]:
    onset_s = np.frombuffer(raw)
    fitted = [weigh(onset_s, *refine(onset_s, step)) for step in candidate_steps(onset_s)]
    fitted.sort(key=lambda grid: -grid.score)
    kept: list[StepGrid] = []
    for grid in fitted:
        if all(abs(np.log(grid.step_s / other.step_s)) > 0.01 for other in kept):
            kept.append(grid)
    return tuple(kept[:KEPT])


def grids_of_quarter(onset_s: FloatArray, quarter_s: float) -> tuple[StepGrid, ...]:
    """Grids that divide a quarter of known length, best first; at least one. onset_s: shape (n,), seconds, in order."""
    steps = [quarter_s / parts for parts in PARTS_OF_QUARTER]
    able = [step for step in steps if step >= SHORTEST_PART_S] or steps[:1]
    fitted = [weigh(onset_s, *refine(onset_s, step)) for step in able]
    return tuple(sorted(fitted, key=lambda grid: -grid.score))


def spectrum(onset_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(frequencies in Hz, strength 0 to 1), shape (m,) each."""
    length_s = float(onset_s[-1] - onset_s[0])
    finest = 1.0 / (5.0 * max(length_s, 1.0))  # five samples to the width of a peak
    frequencies = np.arange(1.0 / LONGEST_STEP_S, 1.0 / SHORTEST_STEP_S, finest)
    turns = np.exp(2j * np.pi * np.outer(onset_s - onset_s[0], [frequencies[0], finest]))
    phasor, ratio = turns[:, 0].copy(), turns[:, 1]
    strength = np.empty(len(frequencies))
    for index in range(len(frequencies)):
        strength[index] = abs(phasor.sum())
        phasor *= ratio
    return frequencies, strength / len(onset_s)


def candidate_steps(onset_s: FloatArray) -> list[float]:
    """Steps worth fitting, s: the spectrum's highest peaks, their halves, thirds, doubles and triples."""
    frequencies, strength = spectrum(onset_s)
    inner = strength[1:-1]
    peaks = 1 + np.flatnonzero((inner >= strength[:-2]) & (inner > strength[2:]))
    best = peaks[np.argsort(-strength[peaks], kind="stable")][:PEAKS]
    steps: list[float] = []
    for frequency in frequencies[best]:
        for factor in (1.0, 2.0, 0.5, 3.0, 1.0 / 3.0):
            step = float(factor / frequency)
            near = any(abs(np.log(step / other)) < 0.002 for other in steps)
            if SHORTEST_STEP_S <= step <= LONGEST_STEP_S and not near:
                steps.append(step)
    return steps or [0.25]


def refine(onset_s: FloatArray, step_s: float) -> tuple[float, float]:
    """(step_s, start_s) fitted by least squares to the onsets near the grid, some rounds."""
    first = float(onset_s[0])
    phase = np.angle(np.exp(2j * np.pi * (onset_s - first) / step_s).sum()) / (2 * np.pi)
    start_s = first + phase * step_s
    for reach in (0.35, 0.3, 0.25, 0.25):
        place = (onset_s - start_s) / step_s
        whole = np.round(place)
        near = np.abs(place - whole) < reach
        if near.sum() < 3 or np.ptp(whole[near]) < 2:
            break
        slope, intercept = _line(whole[near], onset_s[near])
        if not 0.98 < slope / step_s < 1.02:
            break
        step_s, start_s = slope, intercept
    return step_s, start_s


def _line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """(slope, intercept) of the line of least squares."""
    mean_x, mean_y = float(x.mean()), float(y.mean())
    off = x - mean_x
    slope = float(off @ (y - mean_y)) / float(off @ off)
    return slope, mean_y - slope * mean_x


def weigh(onset_s: FloatArray, step_s: float, start_s: float) -> StepGrid:
    """The grid with its error and score."""
    place = (onset_s - start_s) / step_s
    whole = np.round(place).astype(np.int64)
    off_s = (place - whole) * step_s
    sigma_s, near = _fit_sigma(off_s, step_s)
    return StepGrid(step_s, start_s, sigma_s, float(_cycle_scores(near, whole).max()))


def _fit_sigma(off_s: FloatArray, step_s: float) -> tuple[float, FloatArray]:
    """(sigma_s, density of each strike at its distance over chance), the error fitted by expectation-maximisation."""
    most_s = min(MOST_SIGMA_S, 0.28 * step_s)
    sigma_s = min(0.015, step_s / 6)
    share = 1.0 - STRAYS
    square = -0.5 * off_s**2
    chance = step_s / np.sqrt(2 * np.pi)
    for _ in range(12):
        belongs = np.exp(square / sigma_s**2)
        belongs *= share * chance / sigma_s
        belongs /= belongs + (1 - share)
        total = float(belongs.sum())
        share = min(max(total / len(off_s), 0.3), 0.995)
        spread = float(np.sqrt(-2.0 * float(belongs @ square) / max(total, 1e-9)))
        before, sigma_s = sigma_s, min(max(spread, LEAST_SIGMA_S), most_s)
        if abs(sigma_s - before) < 1e-5:
            break
    return sigma_s, np.exp(square / sigma_s**2) * (chance / sigma_s)


_CYCLE = np.array(CYCLES)
_FIRST = np.r_[0, np.cumsum(_CYCLE)[:-1]]  # where each cycle's shares begin in one row of them all; by definition
_SIZE = np.repeat(_CYCLE, _CYCLE).astype(float)


def _cycle_scores(near: FloatArray, whole: npt.NDArray[np.int64]) -> FloatArray:
    """Log-likelihood over chance when each place modulo a cycle has its own share, for all of CYCLES at once."""
    count = len(near)
    which = whole[None, :] % _CYCLE[:, None] + _FIRST[:, None]
    flat = which.ravel()
    lifted = _CYCLE[:, None] * near[None, :]
    share = (1.0 - STRAYS) / _SIZE
    for _ in range(10):
        belongs = share[which]
        belongs *= lifted
        belongs /= belongs + STRAYS
        share = np.bincount(flat, belongs.ravel(), len(_SIZE)) / count
        np.maximum(share, 1e-4, out=share)
        share *= np.repeat((1.0 - STRAYS) / np.add.reduceat(share, _FIRST), _CYCLE)
    total = np.log(share[which] * lifted + STRAYS).sum(1)
    return np.asarray(total - 0.5 * _CYCLE * np.log(count), dtype=float)
