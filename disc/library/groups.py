"""Groups of neighbouring notes: what the index stores of a printed tune, and what is asked of it for a disc.

Notes in order of time, each at another time, have a shape that neither transposition nor tempo changes: the intervals
between them and the shares of their span. A printed tune gives groups of neighbours, some notes left out, since a pin
may be gone; a disc gives groups of strikes with others between them, since melody and accompaniment share the turn.
On the disc's grid (grid.py) the shares are exact, so a shape is one whole number, the key, and equal keys are equal
shapes. Four notes where pitches are known; five where only the order of the teeth is, since steps of rank say less.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
import numpy.typing as npt

from disc.library.records import FloatArray, IntArray

Keys = npt.NDArray[np.uint32]

SHARES = 24  # steps of each share: halves, thirds, quarters, sixths and eighths of a span stay apart


@dataclass(frozen=True, slots=True)
class Shape:
    """A kind of group. widest: largest interval between neighbours that gets a key. steps: notes moved on, each time.

    reach: strikes after the first among which the others are sought on a disc.
    """

    name: str
    notes: int
    widest: int
    steps: tuple[tuple[int, ...], ...]
    reach: int


# Neighbours; one or two notes left out; three in one place. Wider leaps than an octave are too rare to be worth keys.
BY_PITCH = Shape(
    "pitch", 4, 13,
    ((1, 1, 1), (1, 1, 2), (1, 2, 1), (2, 1, 1), (1, 2, 2), (2, 1, 2), (2, 2, 1), (2, 2, 2), (1, 1, 3), (1, 3, 1), (3, 1, 1)),
    12,
)  # fmt: skip
BY_RANK = Shape(
    "rank", 5, 7, ((1, 1, 1, 1), (1, 1, 1, 2), (1, 1, 2, 1), (1, 2, 1, 1), (2, 1, 1, 1), (1, 2, 1, 2), (2, 1, 2, 1)), 11
)


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """Groups of tunes or of a disc, shape (n,) each. span: ticks or grid steps. first: index of the first note."""

    key: Keys
    first: IntArray
    span: IntArray


def printed_groups(shape: Shape, onset: IntArray, pitch: IntArray, tune: IntArray) -> Groups:
    """Groups of printed melodies, all tunes at once. Within a tune onsets rise strictly; tunes follow each other."""
    parts = []
    for steps in shape.steps:
        reach = sum(steps)
        count = max(0, onset.size - reach)
        first = np.flatnonzero(tune[:count] == tune[reach:])
        places = np.concatenate([[0], np.cumsum(steps)])
        parts.append(_keyed(shape, onset, pitch, [first + place for place in places]))
    return _joined(parts)


def disc_groups(shape: Shape, place: IntArray, pitch: IntArray, weight: FloatArray, most: int) -> Groups:
    """Groups of a disc's strikes, at most `most`, those with the highest sum of weights.

    place: whole grid steps, ascending. weight: logarithm of the probability that a strike is of the melody.
    """
    chosen = np.array(list(combinations(range(1, shape.reach + 1), shape.notes - 1)))
    n = place.size
    others = np.arange(n)[:, None, None] + chosen[None]
    inside = others[:, :, -1] < n
    columns = [np.broadcast_to(np.arange(n)[:, None], inside.shape)[inside], *others[inside].T]
    rising = np.logical_and.reduce([place[b] > place[a] for a, b in pairwise(columns)])
    columns = [column[rising] for column in columns]
    total = sum(weight[column] for column in columns)
    if columns[0].size > most:
        best = np.argpartition(-np.asarray(total), most)[:most]
        columns = [column[best] for column in columns]
    return _keyed(shape, place, pitch, columns)


def _keyed(shape: Shape, onset: IntArray, pitch: IntArray, columns: list[IntArray]) -> Groups:
    levels = 2 * shape.widest + 1
    span = onset[columns[-1]] - onset[columns[0]]
    key = np.zeros(span.size, dtype=np.int64)
    good = span > 0
    for a, b in pairwise(columns):
        step = pitch[b] - pitch[a]
        good &= np.abs(step) <= shape.widest
        key = key * levels + step + shape.widest
    for column in columns[1:-1]:
        key = key * SHARES + (onset[column] - onset[columns[0]]) * SHARES // np.maximum(span, 1)
    return Groups(key[good].astype(np.uint32), columns[0][good], span[good])


def _joined(parts: list[Groups]) -> Groups:
    return Groups(
        np.concatenate([part.key for part in parts]),
        np.concatenate([part.first for part in parts]),
        np.concatenate([part.span for part in parts]),
    )
