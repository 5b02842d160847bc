"""Which attacks are plucks, and of which tooth: one best path through all attacks.

The path counts teeth and plucks of each tooth. What draws it: an attack with a new tone is almost surely a pluck; a
click may be a dead tooth's; two plucks of one tooth have one pitch and similar clicks; a hand plucks at its own pace,
so a gap long enough for another tooth had one, heard or not. Ticks and knocks fall out because nothing of this speaks
for them. So a dead tooth keeps its number.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.listen.comb.plucks.pace import PluckingPace, gap_score, step_score
from disc.listen.comb.plucks.pluck_start import (
    LIVE_SCORE,
    LONGEST_GAP_S,
    SAME_PITCH_SEMITONES,
    SHORTEST_GAP_S,
    PluckStart,
)
from disc.listen.sound.audio import FloatArray

# Unless said otherwise: log-odds in nats, chosen by hand on the development and second sets, not fitted.
PASSED_OVER = -8.0  # a tone that begins and is not taken as a pluck; chosen likewise
SAME_PITCH, OTHER_PITCH = 3.0, -12.0  # of two plucks said to be of one tooth; chosen likewise
HALF_DEAD = -9.0  # one pluck rings, the other does not; chosen likewise
UNHEARD = -5.0  # a tooth or a pluck of which nothing is heard; chosen likewise
LEFT_OUT = -3.0  # and for which the hand left no time; chosen likewise
MOST_UNHEARD = 3  # teeth in a row; chosen likewise


@dataclass(frozen=True)
class Ways:
    """Every way through the attacks. plucks: of each tooth. start, end: what it counts to begin or to stop with a
    candidate in a state, shape (candidates, states), states counting plucks tooth by tooth. onward(i): for each kind of
    step to candidate i (candidates before, pluck before, states onward, gain by candidate before)."""

    plucks: int
    start: FloatArray
    end: FloatArray
    onward: Callable[[int], Iterator[tuple[npt.NDArray[np.int_], int, int, FloatArray]]]


def ways_through(candidates: Sequence[PluckStart], teeth: int | None, plucks: int, pace: PluckingPace) -> Ways:
    """What each step through the attacks counts. teeth: None if not known."""
    count = len(candidates)
    most = teeth or sum(1 for c in candidates if c.tone) // plucks * 2 + 4
    times = np.array([c.time_s for c in candidates])
    base = np.array([c.score for c in candidates])
    weight = np.array([min(1.0, c.score / LIVE_SCORE) if c.tone else 0.0 for c in candidates])
    passed = np.r_[0.0, np.cumsum(weight)]
    links = _links(candidates, plucks, pace, teeth is not None)
    states = np.arange(most * plucks)
    start = np.full((count, len(states)), -np.inf)
    # Of how many there are not known, the first that is heard is the first.
    for k in range(min(most, MOST_UNHEARD + 1) if teeth else 1):
        start[:, k * plucks] = base + PASSED_OVER * passed[:-1] + k * UNHEARD
    missing = (most - 1 - states // plucks if teeth else 0) + (plucks - 1 - states % plucks > 0)
    end = PASSED_OVER * (passed[-1] - passed[1:])[:, None] + UNHEARD * missing[None, :]

    def onward(i: int) -> Iterator[tuple[npt.NDArray[np.int_], int, int, FloatArray]]:
        near = np.flatnonzero((times[i] - times[:i] > SHORTEST_GAP_S) & (times[i] - times[:i] < LONGEST_GAP_S))
        over = base[i] + PASSED_OVER * np.maximum(0, passed[i] - passed[near + 1])
        if len(near):
            for first, step, gain in links(i, near):
                yield near, first, step, over + gain

    return Ways(plucks, start, end, onward)


def best_path(ways: Ways) -> list[tuple[int, int, int]]:
    """(candidate, tooth, pluck) along the best path; teeth and plucks count from 1."""
    best = ways.start.copy()
    back = np.full((*best.shape, 2), -1, dtype=int)
    for i in range(len(best)):
        for near, first, step, gain in ways.onward(i):
            _advance(best, back, i, near, first, step, gain, ways.plucks)
    final = best + ways.end
    i, state = (int(v) for v in np.unravel_index(int(np.argmax(final)), final.shape))
    path = []
    while i >= 0:
        path.append((int(i), int(state) // ways.plucks + 1, int(state) % ways.plucks + 1))
        i, state = (int(v) for v in back[i, state])
    return path[::-1]


def _advance(
    best: FloatArray, back: npt.NDArray[np.int_], i: int, near: npt.NDArray[np.int_], first: int, step: int,
    gain: FloatArray, plucks: int,
) -> None:  # fmt: skip
    """From every state whose pluck is `first` go `step` states on, where that is better."""
    states = best.shape[1]
    sources = np.arange(first, states - step, plucks)
    if not len(sources):
        return
    values = best[np.ix_(near, sources)] + gain[:, None]
    top = np.argmax(values, axis=0)
    value = values[top, np.arange(len(sources))]
    targets = sources + step
    better = value > best[i, targets]
    best[i, targets[better]] = value[better]
    back[i, targets[better], 0] = near[top[better]]
    back[i, targets[better], 1] = sources[better]


def _links(candidates: Sequence[PluckStart], plucks: int, pace: PluckingPace, counted: bool):  # type: ignore[no-untyped-def]
    """links(i, near): (pluck before, states onward, gain by candidate before) for every way to reach candidate i.

    counted: whether the number of teeth is known: then one may have been left out.
    """
    times = np.array([c.time_s for c in candidates])
    pitches = np.array([c.pitch if c.pitch is not None else np.nan for c in candidates])
    levels = np.array([c.attack.levels_db for c in candidates])

    def pair(i: int, near: npt.NDArray[np.int_]) -> FloatArray:
        difference = np.abs(pitches[near] - pitches[i])
        alike = -np.mean(((levels[near] - levels[i]) / 12.0) ** 2, axis=1).clip(-4.0, 0.0)
        both = np.where(difference < SAME_PITCH_SEMITONES, SAME_PITCH, OTHER_PITCH)
        neither = np.isnan(pitches[near]) & np.isnan(pitches[i])
        return np.where(neither, alike, np.where(np.isnan(difference), HALF_DEAD, both))

    def links(i: int, near: npt.NDArray[np.int_]):  # type: ignore[no-untyped-def]
        gap = times[i] - times[near]
        for j in range(plucks - 1):
            yield j, 1, gap_score(gap, pace.within_s, pace.spread) + pair(i, near)
        round_s = pace.between_s + (plucks - 1) * pace.within_s
        for j in range(plucks):
            lost = plucks - 1 - j  # plucks of the tooth before that were not heard
            for unheard in range(MOST_UNHEARD + 1):
                alone = pace.between_s + lost * pace.within_s
                usual = alone + unheard * round_s
                spread = pace.spread * (1.0 + 0.3 * (unheard + lost))
                rings = np.isfinite(pitches[near])  # a tooth that rings once is heard the next time too
                paced = gap_score(gap, usual, spread)
                if unheard and counted:  # or left out by the hand, whose pace leaves no time for them
                    paced = np.maximum(paced, gap_score(gap, alone, spread) + LEFT_OUT * unheard)
                gain = paced + UNHEARD * (unheard + lost * (1 + rings))
                gain = gain + step_score(pitches[i] - pitches[near], unheard + 1, pace)
                yield j, plucks - j + unheard * plucks, gain

    return links
