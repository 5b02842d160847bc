"""The index: all tunes as flat arrays, and for every shape of a group the places where it is printed.

Arrays lie in one folder as .npy files and are opened memory-mapped: opening costs milliseconds whatever their size, and
only the pages a search touches are read. A posting packs tune (24 bits), pitch (8), span (8) and onset (16) into one
number, so that a vote needs no other array.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from disc.library.groups import BY_PITCH, BY_RANK, Shape, printed_groups
from disc.library.records import TICKS_PER_QUARTER, IntArray, ReferenceTune, TuneKey

Array = npt.NDArray[np.generic]

SPAN_STEPS = 24  # steps of a doubling in which spans are kept: simple ratios stay apart
SPAN_ZERO = 96  # the step of a span of one quarter
ONSET_STEP = TICKS_PER_QUARTER // 16  # onsets in postings: sixteenths of a quarter
MOST_TUNES = 1 << 24
WARMED_BYTES = 1_000_000_000  # of larger libraries only what a search touches is read
PAGE_BYTES = 4096
NAMES = ("onset", "duration", "pitch", "bar", "start", "group")


@dataclass(frozen=True, slots=True, eq=False)
class Postings:
    """Where each shape is printed: key ascending, shape (k,); start, shape (k + 1,); packed, shape (p,)."""

    key: npt.NDArray[np.uint32]
    start: npt.NDArray[np.uint32]
    packed: npt.NDArray[np.uint64]


@dataclass(frozen=True, slots=True, eq=False)
class Index:
    """A library ready for search.

    start: first note of each tune, shape (tunes + 1,). rows: file, number, title, collection, metre, fifths.
    """

    onset: npt.NDArray[np.int32]
    duration: npt.NDArray[np.int32]
    pitch: npt.NDArray[np.uint8]
    bar: npt.NDArray[np.int16]
    start: npt.NDArray[np.int64]
    group: npt.NDArray[np.int32]
    by_pitch: Postings
    by_rank: Postings
    rows: Sequence[Sequence[object]]

    @property
    def size(self) -> int:
        """How many tunes."""
        return self.start.size - 1

    def key(self, tune: int) -> TuneKey:
        """The tune's key."""
        row = self.rows[tune]
        return TuneKey(str(row[0]), int(str(row[1])))

    def title(self, tune: int) -> str:
        """The tune's title."""
        return str(self.rows[tune][2])

    def collection(self, tune: int) -> str:
        """The tune's collection."""
        return str(self.rows[tune][3])

    def reference(self, tune: int) -> ReferenceTune:
        """The tune as printed."""
        part = slice(int(self.start[tune]), int(self.start[tune + 1]))
        row = self.rows[tune]
        beats, unit, fifths = (int(str(value)) for value in row[4:7])
        return ReferenceTune(
            self.key(tune), self.title(tune), self.collection(tune),
            self.onset[part].astype(np.int64), self.duration[part].astype(np.int64), self.pitch[part].astype(np.int64),
            self.bar[part].astype(np.int64), (beats, unit) if beats else None, fifths,
        )  # fmt: skip


def write_index(folder: Path, tunes: Sequence[ReferenceTune], groups: IntArray) -> None:
    """Write the arrays of these tunes into a folder. groups: number of the versions each tune belongs to."""
    if len(tunes) >= MOST_TUNES:
        raise ValueError(f"an index holds fewer than {MOST_TUNES} tunes; use shards")
    start = np.concatenate([[0], np.cumsum([tune.pitch.size for tune in tunes])]).astype(np.int64)
    columns = {
        "onset": _flat([tune.onset_tick for tune in tunes], np.int32),
        "duration": _flat([tune.duration_tick for tune in tunes], np.int32),
        "pitch": _flat([np.clip(tune.pitch, 0, 127) for tune in tunes], np.uint8),
        "bar": _flat([np.minimum(tune.bar, 32767) for tune in tunes], np.int16),
        "start": start,
        "group": groups.astype(np.int32),
    }
    rows = [(t.key.file, t.key.number, t.title, t.collection, *(t.metre or (0, 0)), t.fifths) for t in tunes]
    write_arrays(folder, columns, rows)


def write_arrays(folder: Path, columns: dict[str, Array], rows: Sequence[Sequence[object]]) -> None:
    """Write an index from its flat columns (those of Index, by name)."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in NAMES:
        np.save(folder / f"{name}.npy", columns[name])
    melody = _top_line(columns)
    fifths = np.array([int(str(row[6])) for row in rows], dtype=np.int64)
    melody["degree"] = scale_degree(melody["pitch"], fifths[melody["tune"]])
    for shape, names in ((BY_PITCH, ("pitch",)), (BY_RANK, ("rank", "degree"))):
        found = _postings(shape, melody, [melody[name] for name in names])
        for part in ("key", "start", "packed"):
            np.save(folder / f"{shape.name}-{part}.npy", getattr(found, part))
    (folder / "tunes.json").write_text(json.dumps(list(rows), ensure_ascii=False), encoding="utf-8")


def open_index(folder: Path) -> Index:
    """Open an index memory-mapped. Raises ValueError or OSError where it is damaged (the caller builds it anew)."""
    columns = {name: np.load(folder / f"{name}.npy", mmap_mode="r") for name in NAMES}
    postings = [
        Postings(*(np.load(folder / f"{shape.name}-{part}.npy", mmap_mode="r") for part in ("key", "start", "packed")))
        for shape in (BY_PITCH, BY_RANK)
    ]
    rows = json.loads((folder / "tunes.json").read_text(encoding="utf-8"))
    index = Index(**columns, by_pitch=postings[0], by_rank=postings[1], rows=rows)
    notes = int(index.start[-1])
    if len(rows) != index.size or any(columns[name].size != notes for name in ("onset", "duration", "pitch", "bar")):
        raise ValueError("the arrays of the library do not fit each other")
    return index


def warm_up(index: Index) -> None:
    """Touch every page of an index that fits in memory, so that the first search does not wait for the disk."""
    arrays: list[npt.NDArray[Any]] = [index.onset, index.pitch, index.start]
    arrays += [getattr(p, name) for p in (index.by_pitch, index.by_rank) for name in ("key", "start", "packed")]
    if sum(array.nbytes for array in arrays) <= WARMED_BYTES:
        for array in arrays:
            np.asarray(array)[:: max(1, PAGE_BYTES // array.itemsize)].max(initial=0)


def _flat(parts: list[IntArray], kind: type) -> Array:
    return np.concatenate(parts).astype(kind) if parts else np.empty(0, kind)


def _top_line(columns: dict[str, Array]) -> dict[str, IntArray]:
    """The highest note of each onset of each tune, with its rank among the pitches of its tune."""
    start = columns["start"].astype(np.int64)
    tune = np.repeat(np.arange(start.size - 1), np.diff(start))
    onset, pitch = columns["onset"].astype(np.int64), columns["pitch"].astype(np.int64)
    # Notes are sorted by onset, then pitch: the last of each onset is the highest.
    top = np.ones(onset.size, dtype=bool)
    top[:-1] = (onset[1:] != onset[:-1]) | (tune[1:] != tune[:-1])
    onset, pitch, tune = onset[top], pitch[top], tune[top]
    used, inverse = np.unique(tune * 128 + pitch, return_inverse=True)
    lowest = np.searchsorted(used, tune * 128)
    return {"onset": onset, "pitch": pitch, "tune": tune, "rank": inverse - lowest}


# Steps of the major scale that the twelve semitones above its tonic fall on; a raised step counts as the step.
DEGREES = np.array([0, 0, 1, 1, 2, 3, 3, 4, 4, 5, 5, 6])


def scale_degree(pitch: IntArray, fifths: IntArray) -> IntArray:
    """Steps of the key's scale from an arbitrary zero: the rank of a tooth on a comb that has the whole scale."""
    above = pitch - (7 * fifths) % 12
    return DEGREES[above % 12] + 7 * (above // 12)


def _postings(shape: Shape, melody: dict[str, IntArray], scales: list[IntArray]) -> Postings:
    """scales: what intervals are taken of (pitches, ranks, degrees); a group alike in several is posted once."""
    onset, tune, pitch = melody["onset"], melody["tune"], melody["pitch"]
    keys, values = [], []
    for scale in scales:
        groups = printed_groups(shape, onset, scale, tune)
        span = np.clip(np.round(SPAN_STEPS * np.log2(groups.span / TICKS_PER_QUARTER)) + SPAN_ZERO, 0, 255)
        packed = (
            (tune[groups.first].astype(np.uint64) << np.uint64(32))
            | (pitch[groups.first].astype(np.uint64) << np.uint64(24))
            | (span.astype(np.uint64) << np.uint64(16))
            | np.minimum(onset[groups.first] // ONSET_STEP, 0xFFFF).astype(np.uint64)
        )
        keys.append(groups.key)
        values.append(packed)
    key, packed = np.concatenate(keys), np.concatenate(values)
    order = np.argsort(key, kind="stable")
    key, packed = key[order], packed[order]
    if len(scales) > 1:
        once = _first_of_alike(key, packed)
        key, packed = key[once], packed[once]
    begins = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]])) if key.size else np.empty(0, np.int64)
    return Postings(key[begins], np.concatenate([begins, [key.size]]).astype(np.uint32), packed)


def _first_of_alike(key: npt.NDArray[np.uint32], packed: npt.NDArray[np.uint64]) -> npt.NDArray[np.bool_]:
    order = np.lexsort((packed, key))
    same = np.concatenate([[False], (key[order][1:] == key[order][:-1]) & (packed[order][1:] == packed[order][:-1])])
    once = np.ones(key.size, dtype=bool)
    once[order[same]] = False
    return once
