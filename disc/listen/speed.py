"""The disc's motion over the recording, from the strikes' onsets.

The time at which the disc stands at a position is a steady turn plus what its changes of speed add up to. Those changes
are taken as a smooth random course (Gaussian process): a slow part for the mainspring and a quicker one, whose size and
pace are those under which the onsets are likeliest; so is how much the pitches differ in lateness. Strikes that stand
off the course are early or late pins and are left out.
Source: Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), equations 2.25 and 2.30.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from disc.listen.audio import FloatArray

GRID_S = 0.1
# The mainspring: changes of about 4 % over some 15 s. Development recordings have 5 % over the turn; so do reports of
# movements without a remontoire (common practice, no source). The quicker part's size and pace are fitted.
SLOW_SHARE, SLOW_S = 0.04, 15.0
QUICK_SHARES, QUICK_S = (0.001, 0.003, 0.008), (1.5, 3.0, 6.0)
ONSET_SPREADS_S = (0.001, 0.002, 0.004, 0.008)
# All strikes of a pitch may be late alike: a low tooth speaks late, a tip stands a little off its place.
PITCH_SPREADS_S = (0.0005, 0.002, 0.006, 0.02)
OFF_SPREADS, LEAST_OFF_S = 4.0, 0.010  # a strike farther off the course than this is early or late


@dataclass(frozen=True)
class Motion:
    """Position of the disc in turns at knots_s (s); both shape (n,). spread_s: of the onsets about it. late_s: by index
    of the pitch, how late its strikes are as a rule."""

    knots_s: FloatArray
    turns: FloatArray
    spread_s: float = 0.0
    late_s: dict[int, float] = field(default_factory=dict)

    def position(self, times_s: FloatArray) -> FloatArray:
        """Turns at these times; beyond the ends at the ends' speed."""
        return _line_beyond(times_s, self.knots_s, self.turns)

    def time(self, turns: FloatArray) -> FloatArray:
        """Times at which the disc stands there: the inverse of position."""
        return _line_beyond(turns, self.turns, self.knots_s)

    def speed(self, times_s: FloatArray) -> FloatArray:
        """Turns a second at these times."""
        return np.interp(times_s, self.knots_s, np.gradient(self.turns, self.knots_s))


def _line_beyond(x: FloatArray, places: FloatArray, values: FloatArray) -> FloatArray:
    first = (values[5] - values[0]) / (places[5] - places[0])
    last = (values[-1] - values[-6]) / (places[-1] - places[-6])
    inside = np.interp(x, places, values)
    inside = np.where(x < places[0], values[0] + (x - places[0]) * first, inside)
    return np.where(x > places[-1], values[-1] + (x - places[-1]) * last, inside)


def motion_from(
    times_s: FloatArray, turns: FloatArray, pitches: Sequence[int] | None = None, margin_turns: float = 0.04
) -> Motion:
    """The smooth motion through strikes at times_s with positions turns; shape (n,) each, at least six of them.

    pitches: index of the pitch of each: strikes of one pitch may be late alike (how it speaks, where its tip stands).
    """
    slope, start = np.polyfit(turns, times_s, 1)
    grid = np.arange(turns.min() - margin_turns, turns.max() + margin_turns, GRID_S / slope)
    residual = times_s - (start + slope * turns)
    sums = _summing(turns, grid, slope)
    courses = _courses(grid * slope)
    of_pitch = np.arange(len(turns)) if pitches is None else np.asarray(pitches)
    alike = (of_pitch[:, None] == of_pitch[None, :]).astype(float) if pitches is not None else None
    keep = np.ones(len(turns), dtype=bool)
    fitted = Course(courses[4], ONSET_SPREADS_S[1], 0.0)
    change, lateness = np.zeros(len(grid)), np.zeros(len(turns))
    for again in range(5):
        some = None if alike is None else alike[np.ix_(keep, keep)]
        if again < 2:  # few strikes more or less do not change it
            fitted = _likeliest(residual[keep], turns[keep], sums[keep], courses, some, fitted)
        total = _covariance(fitted, turns[keep], sums[keep], some)
        weights = np.linalg.solve(total, residual[keep])
        line = (float(weights.sum()), float(weights @ turns[keep]))
        change = fitted.course @ (sums[keep].T @ weights)
        if alike is not None:
            lateness = fitted.pitch_spread_s**2 * (alike[:, keep] @ weights)
        off = residual - line[0] - line[1] * turns - sums @ change - lateness
        limit = max(LEAST_OFF_S, OFF_SPREADS * 1.4826 * float(np.median(np.abs(off[keep]))))
        again = np.abs(off) < limit
        if np.array_equal(again, keep) or again.sum() < 6:
            break
        keep = again
    steps = np.r_[0.0, np.cumsum(0.5 * (change[1:] + change[:-1]) * GRID_S)]
    # The sums start at the grid's first place, as _summing does.
    times = start + slope * grid + line[0] + line[1] * grid + steps
    late = {int(p): float(lateness[of_pitch == p][0]) for p in set(of_pitch.tolist())} if pitches is not None else {}
    return Motion(np.maximum.accumulate(times + 1e-9 * np.arange(len(times))), grid, fitted.spread_s, late)


def _summing(turns: FloatArray, grid: FloatArray, slope: float) -> FloatArray:
    """Matrix that adds up a change of pace (s per s) from the grid's start to each strike; shape (strikes, grid)."""
    places = (turns - grid[0]) * slope / GRID_S
    whole = np.clip(places.astype(int), 0, len(grid) - 2)
    part = places - whole
    matrix = np.zeros((len(turns), len(grid)))
    for row, (k, rest) in enumerate(zip(whole, part, strict=True)):
        matrix[row, : k + 1] = GRID_S
        matrix[row, 0] *= 0.5
        matrix[row, k] -= 0.5 * GRID_S if k else 0.0
        matrix[row, k] += GRID_S * (rest - 0.5 * rest**2)
        matrix[row, k + 1] += GRID_S * 0.5 * rest**2
    return matrix


def _courses(seconds: FloatArray) -> list[FloatArray]:
    """Covariances of the change of pace on the grid, one for each size and pace of the quicker part."""
    gap = seconds[:, None] - seconds[None, :]
    slow = SLOW_SHARE**2 * np.exp(-0.5 * (gap / SLOW_S) ** 2)
    return [slow + q**2 * np.exp(-0.5 * (gap / s) ** 2) for q in QUICK_SHARES for s in QUICK_S]


@dataclass(frozen=True)
class Course:
    """A guess at what moves the onsets: covariance of the change of pace on the grid, spread of single onsets, spread
    of the pitches' own lateness, s."""

    course: FloatArray
    spread_s: float
    pitch_spread_s: float


def _likeliest(
    residual: FloatArray, turns: FloatArray, sums: FloatArray, courses: list[FloatArray], alike: FloatArray | None,
    before: Course,
) -> Course:  # fmt: skip
    """The guess under which the onsets are likeliest, by turns: spreads, course, spreads, course."""
    moved = [sums @ course @ sums.T for course in courses]
    best = before
    # First the spreads for the course as it was, then the course for these spreads, then the spreads again.
    for _ in range(2):
        known = next(m for c, m in zip(courses, moved, strict=True) if c is best.course)
        wider = [
            Course(best.course, s, p)
            for s in ONSET_SPREADS_S
            for p in (PITCH_SPREADS_S if alike is not None else (0.0,))
        ]
        best = min(wider, key=lambda g: _cost(g, residual, turns, known, alike))
        costs = [
            _cost(Course(c, best.spread_s, best.pitch_spread_s), residual, turns, m, alike)
            for c, m in zip(courses, moved, strict=True)
        ]
        best = Course(courses[int(np.argmin(costs))], best.spread_s, best.pitch_spread_s)
    return best


def _cost(guess: Course, residual: FloatArray, turns: FloatArray, moved: FloatArray, alike: FloatArray | None) -> float:
    """Negative log-likelihood of the onsets, less a constant."""
    total = moved + 1.0 + np.outer(turns, turns) + guess.spread_s**2 * np.eye(len(turns))
    if alike is not None:
        total += guess.pitch_spread_s**2 * alike
    factor, _ = cho_factor(total, lower=True, overwrite_a=True, check_finite=False)
    weights = cho_solve((factor, True), residual, check_finite=False)
    return 0.5 * float(residual @ weights) + float(np.sum(np.log(np.diag(factor))))


def _covariance(guess: Course, turns: FloatArray, sums: FloatArray, alike: FloatArray | None) -> FloatArray:
    total = sums @ guess.course @ sums.T + 1.0 + np.outer(turns, turns) + guess.spread_s**2 * np.eye(len(turns))
    return total if alike is None else total + guess.pitch_spread_s**2 * alike
