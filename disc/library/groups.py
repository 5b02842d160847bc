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

GROUPS_OF_A_STRIKE = 16  # 8 and 32 did as well on practice discs; 220 (no limit) lost long discs
LEAST_LIKELY, LEAST_KEPT = 0.3, 40  # on mild discs by rank (seed 900) 5 of 50 lost their tune without, 3 with
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
    ((1, 1, 1), (1, 1, 2), (1, 2, 1), (2, 1, 1), (1, 2, 2), (2, 1, 2), (2, 2, 1), (2, 2, 2), (1, 1, 3), (1, 3, 1), (3,
    1, 1)), 12,
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
    kept = _likely(weight)
    whole, place, pitch, weight = kept, place[kept], pitch[kept], weight[kept]
    chosen = np.array(list(combinations(range(1, shape.reach + 1), shape.notes - 1)))
    n = place.size
    columns = np.arange(n)[:, None, None] + np.concatenate([np.zeros((len(chosen), 1), dtype=np.int64), chosen], axis=1)
    safe = np.minimum(columns, n - 1)
    steps = np.diff(place[safe], axis=2)
    good = (columns[:, :, -1] < n) & (steps > 0).all(axis=2)
    total = np.where(good, weight[safe].sum(axis=2), -np.inf)
    if most < n * len(chosen):
        # Every strike opens some groups, so that no part of the turn is left out; the best of all of them are used.
        each = min(len(chosen), max(GROUPS_OF_A_STRIKE, most // n))
        part = np.argpartition(-total, each - 1, axis=1)[:, :each]
        rows = np.repeat(np.arange(n), each)
        part = part.ravel()
        values = total[rows, part]
        if values.size > most:
            best = np.argpartition(-values, most)[:most]
            rows, part, values = rows[best], part[best], values[best]
        keep = np.isfinite(values)
        members = columns[rows[keep], part[keep]]
    else:
        members = columns[good]
    found = _keyed(shape, place, pitch, list(members.T))
    return Groups(found.key, whole[found.first], found.span)


def _likely(weight: FloatArray) -> IntArray:
    """Strikes worth grouping: those likely of the melody, and never fewer than LEAST_KEPT of all.

    A quick accompaniment puts four strikes and more between two notes of melody, and the next would be beyond reach.
    """
    enough = np.sort(weight)[::-1][min(LEAST_KEPT, weight.size) - 1]
    return np.flatnonzero(weight >= min(np.log(LEAST_LIKELY), enough))


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
