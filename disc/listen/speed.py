"""The disc's motion over the recording, from the strikes' onsets.

The time at which the disc stands at a position is a steady turn plus what its changes of speed add up to. Those changes
are taken as a smooth random course (Gaussian process): a slow part for the mainspring and a quicker one, whose size and
pace are those under which the onsets are likeliest. Strikes that stand off the course are early or late pins and are
left out. Source: Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), equations 2.25 and 2.30.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.listen.audio import FloatArray

GRID_S = 0.1
# The mainspring: changes of about 4 % over some 15 s. Development recordings have 5 % over the turn; so do reports of
# movements without a remontoire (common practice, no source). The quicker part's size and pace are fitted.
SLOW_SHARE, SLOW_S = 0.04, 15.0
QUICK_SHARES, QUICK_S = (0.001, 0.003, 0.008), (1.5, 3.0, 6.0)
ONSET_SPREADS_S = (0.001, 0.002, 0.004, 0.008)
OFF_SPREADS, LEAST_OFF_S = 4.0, 0.010  # a strike farther off the course than this is early or late


@dataclass(frozen=True)
class Motion:
    """Position of the disc in turns at knots_s (s); both shape (n,). spread_s: of the onsets about it."""

    knots_s: FloatArray
    turns: FloatArray
    spread_s: float = 0.0

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


def motion_from(times_s: FloatArray, turns: FloatArray, margin_turns: float = 0.04) -> Motion:
    """The smooth motion through strikes at times_s with positions turns; shape (n,) each, at least six of them."""
    slope, start = np.polyfit(turns, times_s, 1)
    grid = np.arange(turns.min() - margin_turns, turns.max() + margin_turns, GRID_S / slope)
    residual = times_s - (start + slope * turns)
    sums = _summing(turns, grid, slope)
    courses = _courses(grid * slope)
    keep = np.ones(len(turns), dtype=bool)
    shares, spread = courses[0], ONSET_SPREADS_S[1]
    change = np.zeros(len(grid))
    for _ in range(5):
        shares, spread = _likeliest(residual[keep], turns[keep], sums[keep], courses)
        offset, change = _course(residual[keep], turns[keep], sums[keep], shares, spread)
        off = residual - offset[0] - offset[1] * turns - sums @ change
        limit = max(LEAST_OFF_S, OFF_SPREADS * 1.4826 * float(np.median(np.abs(off[keep]))))
        again = np.abs(off) < limit
        if np.array_equal(again, keep) or again.sum() < 6:
            break
        keep = again
    steps = np.r_[0.0, np.cumsum(0.5 * (change[1:] + change[:-1]) * GRID_S)]
    # The sums start at the grid's first place, as _summing does.
    times = start + slope * grid + offset[0] + offset[1] * grid + steps
    return Motion(np.maximum.accumulate(times + 1e-9 * np.arange(len(times))), grid, spread)


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


def _likeliest(
    residual: FloatArray, turns: FloatArray, sums: FloatArray, courses: list[FloatArray]
) -> tuple[FloatArray, float]:
    best: tuple[float, FloatArray, float] | None = None
    for course in courses:
        known = _with_line(sums @ course @ sums.T, turns)
        for spread in ONSET_SPREADS_S:
            factor = np.linalg.cholesky(known + spread**2 * np.eye(len(residual)))
            half = np.linalg.solve(factor, residual)
            cost = 0.5 * float(half @ half) + float(np.sum(np.log(np.diag(factor))))
            if best is None or cost < best[0]:
                best = (cost, course, spread)
    assert best is not None
    return best[1], best[2]


def _with_line(covariance: FloatArray, turns: FloatArray) -> FloatArray:
    return covariance + 1.0 + np.outer(turns, turns)


def _course(
    residual: FloatArray, turns: FloatArray, sums: FloatArray, course: FloatArray, spread: float
) -> tuple[tuple[float, float], FloatArray]:
    """((offset, slope), change of pace on the grid): the likeliest, given the onsets."""
    total = _with_line(sums @ course @ sums.T, turns) + spread**2 * np.eye(len(residual))
    weights = np.linalg.solve(total, residual)
    return (float(weights.sum()), float(weights @ turns)), course @ (sums.T @ weights)
