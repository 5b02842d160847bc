"""The disc's motion over the recording, from the strikes' onsets.

The time at which the disc stands at a position is a steady turn plus what its changes of speed add up to. Those changes
are taken as a smooth random course (Gaussian process): a slow part for the mainspring and a quicker one, whose size and
pace are those under which the onsets are likeliest; so is how much the pitches differ in lateness, and how much the
pins, where laps come round again. A wheel that is not quite round swings the speed to and fro once in each of its own
turns: such a swing is sought and taken where the onsets are clearly likelier with it (swing.py). Strikes that stand off
the course are early or late pins and are left out.
Source: Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), equations 2.25 and 2.30.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.place.mean_course import CourseGuess, mean_course
from disc.listen.turn.place.onset_likelihood import (
    ONSET_SPREADS_S,
    PITCH_SPREADS_S,
    Guess,
    Onsets,
    covariance,
    likeliest,
)
from disc.listen.turn.place.swing import likeliest_swings, swings_of

GRID_S = 0.1  # of the motion; flutter quicker than 5 Hz is the whirr's to tell (whirr.py). Chosen
# The mainspring: changes of about 4 % over some 15 s, or over the turn. Development recordings have 5 % over the turn;
# so do reports of movements without a remontoire (common practice, no source). The quicker part is fitted.
SLOW_SHARE, SLOW_S = 0.04, (15.0, 40.0)
# Tried in each recording for the quicker part; the grid was chosen by hand.
QUICK_SHARES, QUICK_S = (0.001, 0.003, 0.008), (1.5, 3.0, 6.0)
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
OFF_SPREADS, LEAST_OFF_S = 4.0, 0.010  # a strike farther off the course than this is early or late
BESIDE_S = 1.5  # strikes so near draw the course together
# The spreads and the pace are learned again as strikes that stand off lose their weight.
ROUNDS, LEARNING_ROUNDS, FEWEST = 8, 3, 6
# Onsets stray like Student's t with so many degrees of freedom: one some spreads off counts for less (Lange, Little and
# Taylor, Robust statistical modeling using the t distribution, 1989).
TAIL = 4.0


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
    times_s: FloatArray, turns: FloatArray, pitches: Sequence[int] | None = None, pins: Sequence[int] | None = None,
    margin_turns: float = 0.04, is_mean: bool = True,
) -> Motion:  # fmt: skip
    """The smooth motion through strikes at times_s with positions turns; shape (n,) each, at least six of them.

    pitches: index of the pitch of each: strikes of one pitch may be late alike (how it speaks, where its tip stands).
    pins: index of the pin of each: in every lap it stands as far beside where it was read. is_mean: take the mean of
    all courses that may be (mean_course.py), which costs more than the likeliest alone.
    """
    slope, start = np.polyfit(turns, times_s, 1)
    grid = np.arange(turns.min() - margin_turns, turns.max() + margin_turns, GRID_S / slope)
    courses = _courses(grid * slope)
    of_pitch = np.arange(len(turns)) if pitches is None else np.asarray(pitches)
    alike = _alike(of_pitch) if pitches is not None else None
    again = _alike(np.asarray(pins)) if pins is not None and len(set(pins)) < len(pins) else None
    sums = _summing(turns, grid, slope)
    moved = np.array([sums @ course @ sums.T for course in courses])
    swings = swings_of(grid * slope)
    swung = sums @ swings
    every = Onsets(times_s - (start + slope * turns), turns, moved, swung, alike, again, np.ones(len(turns)))
    keep = np.ones(len(turns), dtype=bool)
    fitted = Guess(len(courses) // 2, ONSET_SPREADS_S[1], PITCH_SPREADS_S[1] if pitches is not None else 0.0)
    change, lateness = np.zeros(len(grid)), np.zeros(len(turns))
    for round_ in range(ROUNDS):
        some = every.only(keep)
        if round_ < LEARNING_ROUNDS:
            fitted = likeliest(some, fitted)
        inverse = np.linalg.inv(covariance(fitted, some))
        weights = inverse @ some.residual_s
        line = (float(weights.sum()), float(weights @ some.turns))
        change = courses[fitted.course] @ (sums[keep].T @ weights)
        for swing in fitted.swings:
            change += swing.share**2 * (swings[swing.index] @ (swung[swing.index][keep].T @ weights))
        if alike is not None:
            lateness = fitted.pitch_spread_s**2 * (alike[:, keep] @ weights)
        off = every.residual_s - line[0] - line[1] * turns - sums @ change - lateness
        doubt = (TAIL + (off / np.hypot(fitted.spread_s, fitted.pin_spread_s)) ** 2) / (TAIL + 1.0)
        every = replace(every, doubt=np.maximum(doubt, 1.0))
        before, keep = keep, _on_course(off, keep, weights, np.diag(inverse), turns * slope)
        if (round_ >= LEARNING_ROUNDS and np.array_equal(before, keep)) or keep.sum() < FEWEST:
            break
    if is_mean:
        change, line = _mean(every.only(keep), fitted, courses, sums[keep], swings)
    steps = np.r_[0.0, np.cumsum(0.5 * (change[1:] + change[:-1]) * GRID_S)]
    # The sums start at the grid's first place, as _summing does.
    times = start + slope * grid + line[0] + line[1] * grid + steps
    late = {int(p): float(lateness[of_pitch == p][0]) for p in set(of_pitch.tolist())} if pitches is not None else {}
    spread_s = float(np.hypot(fitted.spread_s, fitted.pin_spread_s))
    return Motion(np.maximum.accumulate(times + 1e-9 * np.arange(len(times))), grid, spread_s, late)


def _mean(
    some: Onsets, fitted: Guess, courses: Sequence[FloatArray], sums: FloatArray, swings: FloatArray
) -> tuple[FloatArray, tuple[float, float]]:
    """(change of pace on the grid, (s at 0, s a turn) of the line): the mean of all courses that may be."""
    may_be = []
    for k, pace in enumerate(courses):
        plain = replace(fitted, course=k, swings=())
        clear, _ = likeliest_swings(covariance(plain, some), some.residual_s, some.swung)
        held = clear[:-1]
        may_be.append(CourseGuess(covariance(replace(plain, swings=held), some), pace, held))
    change, weights = mean_course(may_be, some.residual_s, sums, swings)
    return change, (float(weights.sum()), float(weights @ some.turns))


def _alike(which: npt.NDArray[np.int_]) -> FloatArray:
    return np.asarray((which[:, None] == which[None, :]).astype(float))


def _on_course(
    off_s: FloatArray, keep: npt.NDArray[np.bool_], weights: FloatArray, precision: FloatArray, at_s: FloatArray
) -> npt.NDArray[np.bool_]:
    """Which strikes to follow next, shape (n,). off_s, at_s: how far each strike is off the course, and where it
    stands; shape (n,). weights, precision: of those followed so far, the inverse covariance times their residuals, and
    its diagonal.

    A strike at either end, or a lone one, draws the course to itself: one that was followed is judged by the course
    that the others alone would have taken (Rasmussen and Williams, equation 5.12). Of several together that stand off
    only the worst is left out at a time, since it makes its neighbours look wrong.
    """
    limit = max(LEAST_OFF_S, OFF_SPREADS * 1.4826 * float(np.median(np.abs(off_s[keep]))))
    alone_s, spreads = weights / precision, np.abs(weights) / np.sqrt(precision)
    usual = max(1.0, 1.4826 * float(np.median(spreads)))
    wrong = np.where((np.abs(alone_s) > LEAST_OFF_S) & (spreads > OFF_SPREADS * usual), spreads, 0.0)
    at = at_s[keep]
    worst = np.array([w > 0.0 and w == wrong[np.abs(at - t) < BESIDE_S].max() for w, t in zip(wrong, at, strict=True)])
    following = np.abs(off_s) < limit
    following[keep] = ~worst
    return following


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
    """Covariances of the change of pace on the grid, one for each pace of the mainspring's part and each size and pace
    of the quicker part."""
    gap = seconds[:, None] - seconds[None, :]
    slow = [SLOW_SHARE**2 * np.exp(-0.5 * (gap / s) ** 2) for s in SLOW_S]
    return [part + q**2 * np.exp(-0.5 * (gap / s) ** 2) for part in slow for q in QUICK_SHARES for s in QUICK_S]
