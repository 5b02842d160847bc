"""An index with some tunes taken out and others added, without working anything out anew of those that stay.

What stays is copied, its postings renumbered where tunes before them are gone; what is new is indexed by itself and put
behind. Adding one tune to the installed corpus takes about a second so, against a quarter of a minute anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt

from disc.library.index.arrays import GrowingArray
from disc.library.index.grams import NAME as BY_GRAM
from disc.library.index.groups import BY_PITCH, BY_RANK, Keys
from disc.library.index.postings import SPILL, TUNE_SHIFT, Packed, Postings, order_of, write_keys
from disc.library.index.tune_index import Index, IndexWriter, block_of, postings_of
from disc.library.read.versions import groups_of, opening_keys, title_keys
from disc.library.records import IntArray, ReferenceTune

BoolArray = npt.NDArray[np.bool_]
# Where the tune's number stands, by definition.
SHIFTS = {BY_PITCH.name: TUNE_SHIFT, BY_RANK.name: TUNE_SHIFT, BY_GRAM: np.uint64(0)}


def can_be_changed(index: Index) -> bool:
    """Whether its postings fit in memory, as changing them takes."""
    return max(index.by_pitch.packed.size, index.by_rank.packed.size) <= SPILL


def change_index(index: Index, folder: Path, keep: BoolArray, added: Sequence[ReferenceTune]) -> None:
    """Write into a folder the index without the tunes that are not to be kept, shape (tunes,), and with those added."""
    folder.mkdir(parents=True, exist_ok=True)
    block = block_of(added, np.zeros(len(added), dtype=np.int64))
    writer = IndexWriter(folder)
    writer.copy(index, keep)
    new: dict[str, list[tuple[Keys, Packed]]] = {name: [] for name in SHIFTS}
    for name, key, packed in postings_of(block, writer.tunes):
        new[name].append((key, packed))
    keys = [
        np.concatenate([np.asarray(old)[keep], fresh])
        for old, fresh in (
            (index.title_key, title_keys([tune.title for tune in added])),
            (index.opening_key, opening_keys([tune.pitch for tune in added])),
        )
    ]
    writer.append(block)
    writer.group.append(groups_of(*keys))
    writer.close()
    number = np.where(keep, np.cumsum(keep) - 1, -1)
    for name, old in ((BY_PITCH.name, index.by_pitch), (BY_RANK.name, index.by_rank), (BY_GRAM, index.by_gram)):
        kept = old if keep.all() else _renumbered(old, number, SHIFTS[name])
        _write_joined(folder, name, kept, new[name])


def _renumbered(old: Postings, number: IntArray, shift: np.uint64) -> Postings:
    """The postings of the tunes that stay, by their new numbers. number: shape (tunes,), -1 where a tune is gone.

    Up to the first tune that is gone all stay as they are: a person's own tunes stand behind the corpus.
    """
    first = int(np.argmax(number < 0))
    changed = np.flatnonzero(old.packed >= (np.uint64(first) << shift))
    tune = number[(old.packed[changed] >> shift).astype(np.int64)]
    gone = changed[tune < 0]
    packed = np.array(old.packed)
    below = packed[changed] & ((np.uint64(1) << shift) - np.uint64(1))
    packed[changed] = (np.maximum(tune, 0).astype(np.uint64) << shift) | below
    counts = np.diff(old.start) - np.bincount(np.searchsorted(old.start, gone, "right") - 1, minlength=old.key.size)
    filled = counts > 0
    return Postings(old.key[filled], np.concatenate([[0], np.cumsum(counts[filled])]), np.delete(packed, gone))


def _write_joined(folder: Path, name: str, old: Postings, new: Sequence[tuple[Keys, Packed]]) -> None:
    """Write postings with others behind those of the same key: what stays goes to disk as it lies, uncopied."""
    key = np.concatenate([np.empty(0, np.uint32), *(key for key, _ in new)])
    packed = np.concatenate([np.empty(0, np.uint64), *(packed for _, packed in new)])
    order = order_of(key)
    key, packed = key[order], packed[order]
    every = _with_keys(old.key, key[np.flatnonzero(np.diff(key, prepend=key[:1] + 1))])
    counts = np.zeros(every.size, dtype=np.int64)
    counts[np.searchsorted(every, old.key)] = np.diff(old.start)
    counts += np.bincount(np.searchsorted(every, key), minlength=every.size)
    place = old.start[np.searchsorted(old.key, key, side="right")]  # behind all postings of keys up to this one
    begins = np.flatnonzero(np.diff(place, prepend=-1))
    with GrowingArray(folder / f"{name}-packed.npy", np.uint64) as out:
        before = 0
        for begin, end in pairwise([*begins.tolist(), key.size]):
            out.append(old.packed[before : place[begin]])
            out.append(packed[begin:end])
            before = int(place[begin])
        out.append(old.packed[before:])
    write_keys(folder, name, every, np.concatenate([[0], np.cumsum(counts)]))


def _with_keys(old: Keys, new: Keys) -> Keys:
    """Both, ascending. Each is ascending and has a key once."""
    place = np.searchsorted(old, new)
    missing = (place == old.size) | (old[np.minimum(place, max(old.size - 1, 0))] != new) if old.size else place == 0
    return np.insert(old, place[missing], new[missing])
