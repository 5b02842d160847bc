"""Groups of neighbouring notes: what the index stores of a printed tune, and what is asked of it for a disc.

A few notes in order of time, each at another time, have a shape that no transposition changes: the intervals between
them and the times from each to the next. A printed tune gives groups of neighbours, some notes left out, since a pin
may be gone; a disc gives groups of strikes with others between them, since melody and accompaniment share the turn.
Times are whole units of a printed quarter on both sides, once the disc's grid (grid.py) and a trial tempo are known, so
that a shape is one whole number, the key, and equal keys are equal shapes. Three notes where pitches are known; four
where only the order of the teeth is, since steps of rank say less.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import combinations, product

import numpy as np
import numpy.typing as npt

from disc.library.records import FloatArray, IntArray
from disc.tune.score.records import TICKS_PER_QUARTER

Keys = npt.NDArray[np.uint32]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Shape:
    """A kind of group. widest: largest interval between neighbours that gets a key. unit: parts of a quarter.

    longest: most units between neighbours. steps: notes moved on, each time. reach: strikes after the first among
    which the others are sought on a disc.
    """

    name: str
    notes: int
    widest: int
    unit: int
    longest: int
    steps: tuple[tuple[int, ...], ...]
    reach: int

    def units_of(self, quarter: FloatArray) -> IntArray:
        """Quarters in whole units; halves go up, on both sides alike."""
        return np.floor(quarter * self.unit + 0.5).astype(np.int64)


# Neighbours and up to three notes left out: with the first six alone 72 % of severe practice discs (seed 103) had their
# tune among the first 500 placements, with these ten 79 %. Wider leaps than an octave are too rare to be worth keys.
BY_PITCH = Shape(
    "pitch", 3, 13, 24, 127,
    ((1, 1), (1, 2), (2, 1), (2, 2), (1, 3), (3, 1), (2, 3), (3, 2), (1, 4), (4, 1)), 12,
)  # fmt: skip
# Widest 4, 5 and 7, reach 8, 9 and 12 tried (seed 102): these kept most tunes among the first 1,000 placements.
BY_RANK = Shape("rank", 4, 5, 12, 63, tuple(product((1, 2), repeat=3)), 12)


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """Groups of a disc, shape (n,) or (n, notes - 1) each.

    first: index of the first strike. steps: intervals. gaps: grid steps from strike to strike. weight: sum of the
    logarithms of the strikes' probabilities to be of the melody.
    """

    first: IntArray
    steps: IntArray
    gaps: IntArray
    weight: FloatArray


def keys_of(shape: Shape, steps: IntArray, gaps: IntArray) -> tuple[Keys, BoolArray]:
    """(keys, whether there is one). steps: intervals, gaps: units of time, both of shape (n, notes - 1)."""
    fits = (np.abs(steps) <= shape.widest) & (gaps > 0) & (gaps <= shape.longest)
    good = np.asarray(fits.all(axis=1), dtype=np.bool_)
    key = np.zeros(len(steps), dtype=np.int64)
    for column in range(shape.notes - 1):
        key = key * (2 * shape.widest + 1) + steps[:, column] + shape.widest
    for column in range(shape.notes - 1):
        key = key * (shape.longest + 1) + gaps[:, column]
    return np.where(good, key, 0).astype(np.uint32), good


def printed_groups(
    shape: Shape, onset_tick: IntArray, scales: list[IntArray], tune: IntArray
) -> Iterator[tuple[Keys, IntArray]]:
    """(keys, index of the first note) of printed melodies, all tunes at once, a part for each pattern and scale.

    Within a tune onsets rise strictly; tunes follow each other. scales: what intervals are taken of (pitches, ranks,
    degrees), shape (n,) each; a group alike in several is given once.
    """
    onset = shape.units_of(onset_tick / TICKS_PER_QUARTER)
    for pattern in shape.steps:
        reach = sum(pattern)
        count = max(0, onset.size - reach)
        first = np.flatnonzero(tune[:count] == tune[reach:])
        columns = first[:, None] + np.concatenate([[0], np.cumsum(pattern)])
        gaps = np.diff(onset[columns], axis=1)
        given: list[tuple[Keys, BoolArray]] = []
        for scale in scales:
            key, good = keys_of(shape, np.diff(scale[columns], axis=1), gaps)
            new = good.copy()
            for earlier, was_good in given:
                new &= (earlier != key) | ~was_good
            given.append((key, good))
            yield key[new], first[new]


def disc_groups(shape: Shape, place: IntArray, pitch: IntArray, weight: FloatArray, most: int, span: float) -> Groups:
    """Groups of strikes that span at most `span` grid steps; of more than `most` those likeliest of the melody.

    place: whole grid steps, ascending. weight: logarithm of the probability that a strike is of the melody.
    """
    n, chosen = place.size, _combinations(shape.reach, shape.notes - 1)
    columns = np.arange(n)[:, None, None] + chosen
    there = columns[:, :, -1] < n
    row, which = np.nonzero(there & (place[np.minimum(columns[:, :, -1], n - 1)] - place[:, None] <= span))
    members = row[:, None] + chosen[which]
    gaps = np.diff(place[members], axis=1)
    steps = np.diff(pitch[members], axis=1)
    good = (gaps > 0).all(1) & (np.abs(steps) <= shape.widest).all(1)
    row, members, gaps, steps = row[good], members[good], gaps[good], steps[good]
    total = weight[members].sum(axis=1)
    if total.size > most:
        best = np.sort(np.argpartition(-total, most)[:most])
        row, gaps, steps, total = row[best], gaps[best], steps[best], total[best]
    return Groups(row, steps, gaps, total)


@cache
def _combinations(reach: int, others: int) -> IntArray:
    """0 and `others` of the strikes that follow, shape (combinations, others + 1)."""
    return np.array([(0, *rest) for rest in combinations(range(1, reach + 1), others)])
