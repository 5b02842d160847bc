"""Groups of four: what the index stores of a printed tune, and what is asked of it for a disc.

Four notes, in order of time and each at another time, have a shape that neither transposition nor tempo changes: three
intervals and two shares of their span. A printed tune gives groups of neighbouring notes, some notes left out, since a
pin may be gone; a disc gives groups of strikes with others between them, since melody and accompaniment share the turn.
A shape is one whole number, the key; what else a group tells (where, which pitch, how long) is packed beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from disc.library.records import FloatArray, IntArray

Keys = npt.NDArray[np.uint32]

WIDEST_INTERVAL = 13  # semitones between neighbours of a group; wider ones are too rare in melodies to be worth keys
INTERVALS = 2 * WIDEST_INTERVAL + 1
SHARES = 10  # steps of each share of the span
KEY_COUNT = INTERVALS**3 * SHARES**2
# Steps from note to note within a printed group: neighbours, up to two notes left out in all, three in one place.
STEPS = (
    (1, 1, 1),
    (1, 1, 2),
    (1, 2, 1),
    (2, 1, 1),
    (1, 2, 2),
    (2, 1, 2),
    (2, 2, 1),
    (2, 2, 2),
    (1, 1, 3),
    (1, 3, 1),
    (3, 1, 1),
)
SPAN_STEPS = 24  # steps of a doubling, in which a group's span is kept
SPAN_OFFSET = 96  # the step of a span of one quarter
REACH = 12  # strikes after the first among which the other three of a group are sought
LEAST_GAP_S = 0.05  # two strikes nearer than this sound together; with two at 25 ms each this is within two sigma


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """Groups of one disc or of one tune, shape (n,) each. span in seconds or quarters. first: index of the first note."""

    key: Keys
    first: IntArray
    last: IntArray
    span: FloatArray


def printed_groups(onset: FloatArray, pitch: IntArray, tune: IntArray) -> Groups:
    """Groups of printed melodies, all tunes at once.

    onset: quarters. pitch: semitones, or steps of a scale. tune: ascending number of the tune each note belongs to.
    Within a tune no two notes share an onset.
    """
    parts = [_printed(onset, pitch, tune, steps) for steps in STEPS]
    key, first, last, span = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Groups(key, first, last, span)


def _printed(
    onset: FloatArray, pitch: IntArray, tune: IntArray, steps: tuple[int, int, int]
) -> tuple[Keys, IntArray, IntArray, FloatArray]:
    reach = sum(steps)
    count = onset.size - reach
    if count <= 0:
        return np.empty(0, np.uint32), np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0)
    b, c = steps[0], steps[0] + steps[1]
    first = np.flatnonzero(tune[:count] == tune[reach:])
    index = (first, first + b, first + c, first + reach)
    span = onset[index[3]] - onset[index[0]]
    share1 = (onset[index[1]] - onset[index[0]]) / span
    share2 = (onset[index[2]] - onset[index[0]]) / span
    key, good = _key(pitch, index, share1, share2)
    good &= span > 0
    return key[good], first[good], index[3][good], span[good]


def _key(
    pitch: IntArray, index: tuple[IntArray, ...], share1: FloatArray, share2: FloatArray
) -> tuple[Keys, npt.NDArray[np.bool_]]:
    steps = [pitch[b] - pitch[a] for a, b in zip(index, index[1:], strict=False)]
    good = (
        (np.abs(steps[0]) <= WIDEST_INTERVAL)
        & (np.abs(steps[1]) <= WIDEST_INTERVAL)
        & (np.abs(steps[2]) <= WIDEST_INTERVAL)
    )
    shape = (
        (steps[0] + WIDEST_INTERVAL) * INTERVALS**2
        + (steps[1] + WIDEST_INTERVAL) * INTERVALS
        + steps[2]
        + WIDEST_INTERVAL
    )
    # A printed share such as 2/5 must not fall below its step by rounding.
    cell1 = np.clip((share1 * SHARES + 1e-6).astype(np.int64), 0, SHARES - 1)
    cell2 = np.clip((share2 * SHARES + 1e-6).astype(np.int64), 0, SHARES - 1)
    return ((shape * SHARES + cell1) * SHARES + cell2).astype(np.uint32), good


def span_step(span: FloatArray) -> FloatArray:
    """Spans on a scale of SPAN_STEPS to a doubling."""
    return SPAN_STEPS * np.log2(span)


# ---- the disc's side

COMBINATIONS = np.array(list(combinations(range(1, REACH + 1), 3)), dtype=np.int64)


def disc_groups(
    onset_s: FloatArray, pitch: IntArray, is_melody: FloatArray, most: int, longest_s: float = 5.0
) -> Groups:
    """Groups of a disc's strikes, each with every key its shape may have; the likeliest to be all melody first.

    onset_s: ascending. is_melody: probability of each strike to belong to the melody. most: how many groups to use.
    """
    n = onset_s.size
    base = np.arange(n)[:, None]
    index = np.broadcast_to(base, (n, len(COMBINATIONS)))
    others = base[:, :, None] + COMBINATIONS[None]
    inside = others[:, :, 2] < n
    i = index[inside]
    j, k, m = others[inside].T
    t = onset_s
    good = (
        (t[j] - t[i] > LEAST_GAP_S)
        & (t[k] - t[j] > LEAST_GAP_S)
        & (t[m] - t[k] > LEAST_GAP_S)
        & (t[m] - t[i] < longest_s)
    )
    i, j, k, m = i[good], j[good], k[good], m[good]
    weight = np.log(is_melody)
    weight = weight[i] + weight[j] + weight[k] + weight[m]
    if i.size > most:
        best = np.argpartition(-weight, most)[:most]
        i, j, k, m = i[best], j[best], k[best], m[best]
    span = t[m] - t[i]
    share1, share2 = (t[j] - t[i]) / span * SHARES, (t[k] - t[i]) / span * SHARES
    parts = []
    # The printed share lies within half a step of the disc's for nearly all: both steps it may fall into are asked for.
    for low1 in (-0.5, 0.5):
        for low2 in (-0.5, 0.5):
            key, good = _key(pitch, (i, j, k, m), np.floor(share1 + low1) / SHARES, np.floor(share2 + low2) / SHARES)
            parts.append((key[good], i[good], m[good], span[good]))
    key, first, last, spans = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Groups(key, first, last, spans)
