"""Five notes by their four intervals, whatever their rhythm: what another version of a tune still shares with a disc.

Groups (groups.py) hold pitch and time exactly, and find the print itself. A version has other note values, another
metre, a note more or less; five notes in a row, one of them perhaps left out, mostly stay. Each shape is kept once a
tune, and only the tune is kept: where it lies is told by laying the melodies side by side (search/chains/chain.py).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from disc.library.index.groups import Keys
from disc.library.index.postings import Postings
from disc.library.records import FloatArray, IntArray

NAME = "gram"
# Neighbours, and one note left out after any but the last. Of 60 discs with another version of their tune in the
# library 56 had one among the first 200 tunes by these shapes, on both sides; four notes instead of five, 51.
# The measured ones, by steps from note to note (one, or one skipped):
PATTERNS = ((1, 1, 1, 1), (2, 1, 1, 1), (1, 2, 1, 1), (1, 1, 2, 1), (1, 1, 1, 2))
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
WIDEST = 12  # semitones of one interval; wider ones are too rare to be worth keys
MIDDLING = 30.0  # notes: by the root of its length beyond this a longer tune has more shapes in common by chance
COMMON = 0.5  # nats: a shape that stands in more than six tunes of ten says nothing


def gram_keys(pitch: IntArray, tune: IntArray) -> tuple[Keys, IntArray]:
    """(keys, tunes) of the shapes of melodies, end to end, each shape once a tune. tune: ascending, shape (notes,)."""
    joined = []
    for pattern in PATTERNS:
        offsets = np.concatenate([[0], np.cumsum(pattern)])
        count = max(0, pitch.size - int(offsets[-1]))
        first = np.flatnonzero(tune[:count] == tune[offsets[-1] : offsets[-1] + count])
        steps = np.diff(pitch[first[:, None] + offsets], axis=1)
        good = (np.abs(steps) <= WIDEST).all(axis=1)
        key = np.zeros(first.size, dtype=np.int64)
        for column in range(steps.shape[1]):
            key = key * (2 * WIDEST + 1) + steps[:, column] + WIDEST
        joined.append((tune[first[good]].astype(np.int64) << 32) | key[good])
    once = np.unique(np.concatenate(joined))
    return (once & 0xFFFFFFFF).astype(np.uint32), once >> 32


def gram_votes(postings: Postings, pitch: IntArray, notes: IntArray) -> FloatArray:
    """How much each tune shares with a melody, by the rarity of what they share, shape (tunes,). notes: of each."""
    key, _ = gram_keys(pitch, np.zeros(pitch.size, dtype=np.int64))
    if not postings.key.size or not key.size:
        return np.zeros(notes.size)
    place = np.minimum(np.searchsorted(postings.key, key), postings.key.size - 1)
    known = place[postings.key[place] == key]
    begin = postings.start[known]
    count = postings.start[known + 1] - begin
    worth = np.maximum(np.log(notes.size / count) - COMMON, 0.0)
    ends = np.cumsum(count)
    total = int(ends[-1]) if ends.size else 0
    where = np.arange(total) + np.repeat(begin - (ends - count), count)
    tunes: npt.NDArray[np.int64] = postings.packed[where].astype(np.int64)
    votes = np.bincount(tunes, weights=np.repeat(worth, count), minlength=notes.size)
    return np.asarray(votes / np.sqrt(MIDDLING + notes))
