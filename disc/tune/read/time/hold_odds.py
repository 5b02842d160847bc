"""What speaks for a note being held, beside the grid and the bar lines that the hold puts right.

Comes in: the strikes in order, a gap and how much of it may be too much. Goes out: named features (FEATURES), weighed
by weights fitted on turns steady and bent (model.json, tests/bench/fit/fit_holds.py). A held note is a long one as
written already; where the same figure comes again in the tune, its gap there tells how long it is written.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray

FEATURES = ("grid", "grid at first", "metre", "rank", "share", "as written elsewhere", "as held elsewhere", "constant")
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
LIKE_S, LIKE_SHARE = 0.05, 0.1  # two gaps are alike within four errors of a strike, and this share of drift
FIRST_NATS = 20.0  # of the grid's gain, which drifts and slowing ends give as well; chosen by hand
MOST_ALIKE = 6  # notes of a figure that are counted on either side
FEWEST_ALIKE = 3  # notes of a figure, both sides together, or any two notes are one


def hold_features(
    onset_s: FloatArray,
    pitch: FloatArray,
    is_melody: npt.NDArray[np.bool_],
    gap: int,
    extra_s: float,
    grid_gain: float,
    metre_gain: float,
) -> list[float]:
    """FEATURES of a hold. gap: by the strike before it; extra_s: of it too much; gains: nats over no hold."""
    gaps_s = np.diff(onset_s)
    left_s = float(gaps_s[gap]) - extra_s
    real = gaps_s[gaps_s > LIKE_S]
    rank = float((real < left_s - LIKE_S / 2).mean()) if len(real) else 0.0
    written, held = figure_elsewhere(onset_s, pitch, is_melody, gap, extra_s)
    return [grid_gain, min(grid_gain, FIRST_NATS), metre_gain, rank, extra_s / left_s, written, held, 1.0]


def figure_elsewhere(
    onset_s: FloatArray, pitch: FloatArray, is_melody: npt.NDArray[np.bool_], gap: int, extra_s: float
) -> tuple[float, float]:
    """How much of the figure around a gap comes again with the gap as without the hold, and as with it; 0 to 1."""
    line, heights = upper_line(onset_s, pitch, is_melody)
    at = int(np.searchsorted(line, onset_s[gap] + LIKE_S / 2)) - 1  # the melody's note that is held
    if not 0 <= at < len(line) - 1:
        return 0.0, 0.0
    gaps_s = np.diff(line)
    steps = np.diff(heights)
    alike = _alike(steps, at)
    found = []
    for long_s in (float(gaps_s[at]) - extra_s, float(gaps_s[at])):
        same = np.abs(gaps_s - long_s) < LIKE_S + LIKE_SHARE * long_s
        # nearer to this length than to the other
        other_s = 2.0 * float(gaps_s[at]) - extra_s - long_s
        same &= np.abs(gaps_s - long_s) < np.abs(gaps_s - other_s)
        best = int(np.where(same, alike, 0).max()) if len(alike) else 0
        found.append((best - FEWEST_ALIKE + 1) / (2.0 * MOST_ALIKE) if best >= FEWEST_ALIKE else 0.0)
    return found[0], found[1]


def _alike(steps: FloatArray, at: int) -> npt.NDArray[np.int64]:
    """How many steps of the line around each gap are as those around the gap `at`, both sides and its own, in a row."""
    count = len(steps)
    made = np.zeros(count, dtype=np.int64)
    same = steps == steps[at]
    same[at] = False
    for direction in (-1, 1):
        going = same.copy()
        for reach in range(1, MOST_ALIKE + 1):
            here = at + direction * reach
            if not 0 <= here < count:
                break
            there = np.arange(count) + direction * reach
            inside = (there >= 0) & (there < count)
            going &= inside & (steps[np.clip(there, 0, count - 1)] == steps[here])
            made += going
    return made + same


def upper_line(
    onset_s: FloatArray, pitch: FloatArray, is_melody: npt.NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """(onsets, pitches) of the melody, the top of what is struck together; of all strikes where none is melody."""
    which = np.flatnonzero(is_melody) if is_melody.any() else np.arange(len(onset_s))
    times, heights = onset_s[which], pitch[which]
    new = np.r_[True, np.diff(times) > LIKE_S]
    group = np.cumsum(new) - 1
    tops = np.full(int(group[-1]) + 1, -np.inf)
    np.maximum.at(tops, group, heights)
    return times[new], tops
