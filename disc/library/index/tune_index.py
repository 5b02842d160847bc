"""The index: all tunes as flat arrays, and for every shape of a group the places where it is printed.

Arrays lie in one folder as .npy files and are opened memory-mapped: opening costs milliseconds whatever their size, and
only the pages a search touches are read. They are written block by block of tunes (postings.py), in memory that does
not grow with the library.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from disc.library.index.arrays import GrowingArray, RowsWriter, WrittenRows
from disc.library.index.grams import NAME as BY_GRAM
from disc.library.index.grams import gram_keys
from disc.library.index.groups import BY_PITCH, BY_RANK, Keys, printed_groups
from disc.library.index.postings import (
    MOST_NOTE,
    MOST_ONSET,
    MOST_TUNES,
    ONSET_SHIFT,
    ONSET_UNIT,
    PITCH_SHIFT,
    TUNE_SHIFT,
    Packed,
    Postings,
    PostingsWriter,
    open_postings,
)
from disc.library.read.versions import opening_keys, title_keys
from disc.library.records import IntArray, ReferenceTune, TuneKey
from disc.tune.score.records import TICKS_PER_QUARTER

Array = npt.NDArray[np.generic]

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
WARMED_BYTES = 1_000_000_000  # of larger libraries only what a search touches is read
PAGE_BYTES = 4096  # of memory as systems map it (common practice, no source); only warms, changes no result
TUNES_OF_A_BLOCK = 10_000  # held in memory at once while building; chosen, the result does not depend on it
KINDS = {"onset": np.int32, "duration": np.int32, "pitch": np.uint8, "bar": np.int16}
SCALES = {"pitch": ("pitch",), "rank": ("rank", "degree")}  # what intervals are taken of, by shape


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Some tunes as flat columns. start: first note of each, shape (tunes + 1,), from 0. group: shape (tunes,).

    rows: file, number, title, collection, beats, unit (0, 0: no metre), fifths, composer.
    """

    onset: Array
    duration: Array
    pitch: Array
    bar: Array
    start: IntArray
    group: IntArray
    rows: Sequence[Sequence[object]]


@dataclass(frozen=True, slots=True, eq=False)
class Index:
    """A library ready for search.

    start: first note of each tune, shape (tunes + 1,). rows: file, number, title, collection, metre, fifths, composer.
    collection_of: number of each tune's collection, shape (tunes,). title_key, opening_key: what versions are grouped
    by (read/versions.py), shape (tunes,). stretch: printed quarters that count as one (stretches()), shape (tunes,).
    """

    onset: npt.NDArray[np.int32]
    duration: npt.NDArray[np.int32]
    pitch: npt.NDArray[np.uint8]
    bar: npt.NDArray[np.int16]
    start: npt.NDArray[np.int64]
    group: npt.NDArray[np.int32]
    title_key: npt.NDArray[np.int64]
    opening_key: npt.NDArray[np.int64]
    stretch: npt.NDArray[np.uint8]
    by_pitch: Postings
    by_rank: Postings
    by_gram: Postings
    rows: WrittenRows
    collections: Sequence[str]
    collection_of: npt.NDArray[np.uint16]

    @property
    def size(self) -> int:
        """How many tunes."""
        return self.start.size - 1

    def key(self, tune: int) -> TuneKey:
        """The tune's key."""
        row = self.rows[tune]
        return TuneKey(str(row[0]), int(str(row[1])))

    def tune_of(self, key: TuneKey) -> int | None:
        """The tune of this key; None: the library has none."""
        return self.rows.place_of((key.file, key.number))

    def title(self, tune: int) -> str:
        """The tune's title."""
        return str(self.rows[tune][2])

    def collection(self, tune: int) -> str:
        """The tune's collection."""
        return str(self.collections[int(self.collection_of[tune])])

    def reference(self, tune: int) -> ReferenceTune:
        """The tune as printed."""
        part = slice(int(self.start[tune]), int(self.start[tune + 1]))
        row = self.rows[tune]
        beats, unit, fifths = (int(str(value)) for value in row[4:7])
        return ReferenceTune(
            self.key(tune), self.title(tune), self.collection(tune),
            self.onset[part].astype(np.int64), self.duration[part].astype(np.int64), self.pitch[part].astype(np.int64),
            self.bar[part].astype(np.int64), (beats, unit) if beats else None, fifths, composer=str(row[7]),
        )  # fmt: skip


def write_index(folder: Path, tunes: Sequence[ReferenceTune], groups: IntArray) -> None:
    """Write the arrays of these tunes into a folder. groups: number of the versions each tune belongs to."""
    write_blocks(
        folder,
        (
            block_of(tunes[at : at + TUNES_OF_A_BLOCK], groups[at : at + TUNES_OF_A_BLOCK])
            for at in range(0, len(tunes), TUNES_OF_A_BLOCK)
        ),
    )


def block_of(tunes: Sequence[ReferenceTune], groups: IntArray) -> Block:
    """Tunes as one block."""
    return Block(
        _flat([tune.onset_tick for tune in tunes], np.int32),
        _flat([tune.duration_tick for tune in tunes], np.int32),
        _flat([np.clip(tune.pitch, 0, 127) for tune in tunes], np.uint8),
        _flat([np.minimum(tune.bar, 32767) for tune in tunes], np.int16),
        np.concatenate([[0], np.cumsum([tune.pitch.size for tune in tunes])]).astype(np.int64),
        groups,
        [(t.key.file, t.key.number, t.title, t.collection, *(t.metre or (0, 0)), t.fifths, t.composer) for t in tunes],
    )


def write_blocks(folder: Path, blocks: Iterable[Block]) -> None:
    """Write an index from blocks of tunes, of which only one at a time is in memory."""
    folder.mkdir(parents=True, exist_ok=True)
    writer = IndexWriter(folder)
    grams = PostingsWriter(folder, BY_GRAM)
    postings = {shape.name: PostingsWriter(folder, shape.name) for shape in (BY_PITCH, BY_RANK)} | {BY_GRAM: grams}
    for block in blocks:
        for name, key, packed in postings_of(block, writer.tunes):
            postings[name].add(key, packed)
        writer.append(block)
        writer.group.append(block.group)
    writer.close()
    for one in postings.values():
        one.close()


def postings_of(block: Block, before: int) -> Iterator[tuple[str, Keys, Packed]]:
    """(name of the postings, keys, postings) of a block, part by part. before: tunes of the blocks before it."""
    if before + block.group.size >= MOST_TUNES:
        raise ValueError(f"an index holds fewer than {MOST_TUNES} tunes; use shards")
    melody = _top_line(block)
    for shape in (BY_PITCH, BY_RANK):
        scales = [melody[name] for name in SCALES[shape.name]]
        for key, first in printed_groups(shape, melody["onset"], scales, melody["tune"]):
            yield shape.name, *_packed(key, first, melody, before)
    key, tune = gram_keys(melody["pitch"], melody["tune"])
    yield BY_GRAM, key, (tune + before).astype(np.uint64)


class IndexWriter:
    """Writes all of an index but its postings, block after block. group is left to the caller."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.flat = {name: GrowingArray(folder / f"{name}.npy", kind) for name, kind in KINDS.items()}
        self.start, self.group = (
            GrowingArray(folder / "start.npy", np.int64), GrowingArray(folder / "group.npy", np.int32)
        )  # fmt: skip
        self.keys = {name: GrowingArray(folder / f"{name}.npy", np.int64) for name in ("title_key", "opening_key")}
        self.stretch = GrowingArray(folder / "stretch.npy", np.uint8)
        self.within = GrowingArray(folder / "collection.npy", np.uint16)
        self.rows = RowsWriter(folder, "tunes")
        self.names: dict[str, int] = {}
        self.tunes = 0
        self.start.append(np.zeros(1, dtype=np.int64))

    def append(self, block: Block) -> None:
        """Add a block's columns."""
        self.start.append(block.start[1:] + self.flat["pitch"].size)
        for name, array in self.flat.items():
            array.append(getattr(block, name))
        pitch = np.asarray(block.pitch, dtype=np.int64)
        pitches = [pitch[a:b] for a, b in pairwise(block.start.tolist())]
        self.keys["title_key"].append(title_keys([str(row[2]) for row in block.rows]))
        self.keys["opening_key"].append(opening_keys(pitches))
        self.stretch.append(stretches(block.onset, block.start))
        self.within.append(
            np.array([self.names.setdefault(str(row[3]), len(self.names)) for row in block.rows], dtype=np.uint16)
        )
        self.rows.append(block.rows)
        self.tunes += len(block.rows)

    def copy(self, index: Index, keep: npt.NDArray[np.bool_]) -> None:
        """Add the tunes of an index that are to be kept, shape (tunes,), as they are."""
        notes = np.repeat(keep, np.diff(index.start))
        for name, array in self.flat.items():
            array.append(getattr(index, name)[notes])
        self.start.append(np.cumsum(np.diff(index.start)[keep]))
        for name, array in self.keys.items():
            array.append(getattr(index, name)[keep])
        self.stretch.append(index.stretch[keep])
        used, number = np.unique(index.collection_of[keep], return_inverse=True)
        self.names = {index.collections[old]: new for new, old in enumerate(used.tolist())}
        self.within.append(number)
        self.rows.copy(index.rows, keep)
        self.tunes += int(np.count_nonzero(keep))

    def close(self) -> None:
        """Finish the files."""
        for array in (*self.flat.values(), self.start, self.group, *self.keys.values(), self.stretch, self.within):
            array.close()
        self.rows.close()
        content = json.dumps(list(self.names), ensure_ascii=False)
        (self._folder / "collections.json").write_text(content, encoding="utf-8")


def open_index(folder: Path) -> Index:
    """Open an index memory-mapped. Raises ValueError or OSError where it is damaged (the caller builds it anew)."""
    names = (*KINDS, "start", "group", "title_key", "opening_key", "stretch")
    # Plain views of the maps: numpy's own class for maps makes every look-up slower.
    columns = {name: np.asarray(np.load(folder / f"{name}.npy", mmap_mode="r")) for name in names}
    collections = json.loads((folder / "collections.json").read_text(encoding="utf-8"))
    within = np.load(folder / "collection.npy", mmap_mode="r")
    index = Index(
        **columns, by_pitch=open_postings(folder, "pitch"), by_rank=open_postings(folder, "rank"),
        by_gram=open_postings(folder, BY_GRAM),
        rows=WrittenRows(folder, "tunes"), collections=collections, collection_of=within,
    )  # fmt: skip
    notes = int(index.start[-1])
    if not len(index.rows) == within.size == index.group.size == index.size:
        raise ValueError("the lists of the library do not fit each other")
    if not index.title_key.size == index.opening_key.size == index.stretch.size == index.size:
        raise ValueError("the groups of the library do not fit its list")
    if any(columns[name].size != notes for name in KINDS):
        raise ValueError("the arrays of the library do not fit each other")
    return index


def warm_up(index: Index) -> None:
    """Touch every page of an index that fits in memory, so that the first search does not wait for the disk."""
    arrays: list[npt.NDArray[Any]] = [index.onset, index.pitch, index.start]
    arrays += [
        getattr(p, name) for p in (index.by_pitch, index.by_rank, index.by_gram) for name in ("key", "start", "packed")
    ]
    if sum(array.nbytes for array in arrays) <= WARMED_BYTES:
        for array in arrays:
            np.asarray(array)[:: max(1, PAGE_BYTES // array.itemsize)].max(initial=0)


def _flat(parts: list[IntArray], kind: type) -> Array:
    return np.concatenate(parts).astype(kind) if parts else np.empty(0, kind)


LONG_NOTES = 1.5  # quarters: a tune of which the middling note is longer is written in long values
WIDEST_STRETCH = 3  # octaves: up to a tune in breves


def stretches(onset_tick: Array, start: IntArray) -> npt.NDArray[np.uint8]:
    """How many printed quarters count as one in each tune, shape (tunes,): 1, but 2, 4 or 8 where it has long notes.

    Old prints write in halves and breves what others write in eighths, and discs play both alike. One in 23 tunes of
    the corpus has a middling note of a half or longer; at their own pace they are found as others are.
    """
    out = np.ones(start.size - 1, dtype=np.uint8)
    onset = np.asarray(onset_tick, dtype=np.int64)
    for tune, (first, last) in enumerate(pairwise(start.tolist())):
        gaps = np.diff(onset[first:last])
        gaps = gaps[gaps > 0]
        middling = float(np.median(gaps)) / TICKS_PER_QUARTER if gaps.size else 0.0
        if middling > LONG_NOTES:
            out[tune] = 1 << min(round(float(np.log2(middling))), WIDEST_STRETCH)
    return out


def _top_line(block: Block) -> dict[str, IntArray]:
    """The highest note of each onset of each tune: onset, pitch, tune, place in the tune, and what ranks it may have.

    onset: in ticks of the tune's own pace (stretches()). rank: among the pitches of its tune. degree: step of its key's
    scale.
    """
    tune = np.repeat(np.arange(block.start.size - 1), np.diff(block.start))
    onset, pitch = np.asarray(block.onset, dtype=np.int64), np.asarray(block.pitch, dtype=np.int64)
    onset = onset // stretches(block.onset, block.start)[tune]
    # Notes are sorted by onset, then pitch: the last of each onset is the highest.
    top = np.ones(onset.size, dtype=bool)
    top[:-1] = (onset[1:] != onset[:-1]) | (tune[1:] != tune[:-1])
    place = (np.arange(onset.size) - block.start[tune])[top]
    onset, pitch, tune = onset[top], pitch[top], tune[top]
    used, inverse = np.unique(tune * 128 + pitch, return_inverse=True)
    fifths = np.array([int(str(row[6])) for row in block.rows], dtype=np.int64)
    return {
        "onset": onset, "pitch": pitch, "tune": tune, "place": place,
        "rank": inverse - np.searchsorted(used, tune * 128), "degree": scale_degree(pitch, fifths[tune]),
    }  # fmt: skip


def _packed(key: Keys, first: IntArray, melody: dict[str, IntArray], before: int) -> tuple[Keys, Packed]:
    """Keys and postings of groups that begin early enough to be numbered. before: tunes of the blocks before."""
    onset = np.floor(melody["onset"][first] * (ONSET_UNIT / TICKS_PER_QUARTER) + 0.5).astype(np.int64)
    good = (onset < MOST_ONSET) & (melody["place"][first] < MOST_NOTE)
    key, first, onset = key[good], first[good], onset[good]
    packed = (
        ((melody["tune"][first] + before).astype(np.uint64) << TUNE_SHIFT)
        | (melody["pitch"][first].astype(np.uint64) << PITCH_SHIFT)
        | (onset.astype(np.uint64) << ONSET_SHIFT)
        | melody["place"][first].astype(np.uint64)
    )
    return key, packed


# Steps of the major scale that the twelve semitones above its tonic fall on; a raised step counts as the step.
DEGREES = np.array([0, 0, 1, 1, 2, 3, 3, 4, 4, 5, 5, 6])


def scale_degree(pitch: IntArray, fifths: IntArray) -> IntArray:
    """Steps of the key's scale from an arbitrary zero: the rank of a tooth on a comb that has the whole scale."""
    above = pitch - (7 * fifths) % 12
    return DEGREES[above % 12] + 7 * (above // 12)
