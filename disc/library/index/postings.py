"""Where each shape of a group is printed: made in memory that does not grow with the library.

A posting is one number: tune (24 bits), pitch of the group's first note (8), its onset (20, in 24ths of a quarter) and
its place in the tune (12), so that a vote needs no other array. Blocks of tunes come one after another. Postings that
outgrow SPILL are dealt by their keys into bucket files on disk, each of which is then sorted by itself (a bucket sort;
Knuth, The Art of Computer Programming 3, 5.2.5, from memory): a block and a bucket are all that is ever in memory.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from disc.library.index.arrays import GrowingArray
from disc.library.index.groups import Keys

Packed = npt.NDArray[np.uint64]

# Bits: 24 of tune, 8 of pitch, 20 of onset, 12 of note fill one word of 64; by definition.
TUNE_SHIFT, PITCH_SHIFT, ONSET_SHIFT = np.uint64(40), np.uint64(32), np.uint64(12)
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
ONSET_UNIT = 24  # parts of a quarter
# What those bits hold, by definition; notes beyond these are no start of a group.
MOST_TUNES, MOST_ONSET, MOST_NOTE = 1 << 24, 1 << 20, 1 << 12
SPILL = 24_000_000  # postings kept in memory: 290 MB; the installed corpus has 11 million
BUCKETS = 128  # parts the spill is sorted in, one in memory at a time; chosen, the result does not depend on it


@dataclass(frozen=True, slots=True, eq=False)
class Postings:
    """key: ascending, shape (k,). start: of each key's postings, shape (k + 1,). packed: shape (p,)."""

    key: Keys
    start: npt.NDArray[np.int64]
    packed: Packed


def open_postings(folder: Path, name: str) -> Postings:
    """Memory-mapped. Raises OSError or ValueError where the files are damaged."""
    key, start, packed = (
        np.asarray(np.load(folder / f"{name}-{part}.npy", mmap_mode="r")) for part in ("key", "start", "packed")
    )
    if start.size != key.size + 1 or int(start[-1]) != packed.size:
        raise ValueError(f"the postings of the library by {name} do not fit each other")
    return Postings(key, start, packed)


def write_keys(folder: Path, name: str, key: Keys, start: npt.NDArray[np.int64]) -> None:
    """Write what leads to postings: keys, ascending, and where each one's begin."""
    np.save(folder / f"{name}-key.npy", key)
    np.save(folder / f"{name}-start.npy", start.astype(np.int64))


class PostingsWriter:
    """Takes postings block by block, in order of tune; writes them in order of key, then of tune."""

    def __init__(self, folder: Path, name: str, spill: int = SPILL) -> None:
        self._folder, self._name, self._spill = folder, name, spill
        self._waiting: list[tuple[Keys, Packed]] = []
        self._count = 0
        self._bounds: Keys | None = None
        self._buckets: Path | None = None

    def add(self, key: Keys, packed: Packed) -> None:
        """Postings of one block, in any order."""
        if self._bounds is None:
            self._waiting.append((key, packed))
            self._count += key.size
            if self._count > self._spill:
                self._spill_over()
        else:
            self._deal(key, packed)

    def close(self) -> None:
        """Sort and write everything; the buckets are removed."""
        keys, counts = [], []
        try:
            with GrowingArray(self._folder / f"{self._name}-packed.npy", np.uint64) as out:
                for key, packed in self._parts():
                    order = order_of(key)
                    key = key[order]
                    out.append(packed[order])
                    begins = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
                    keys.append(key[begins])
                    counts.append(np.diff(np.concatenate([begins, [key.size]])))
        finally:
            self.discard()
        flat = np.concatenate(keys) if keys else np.empty(0, np.uint32)
        start = np.cumsum(np.concatenate([[0], *counts]), dtype=np.int64) if counts else np.zeros(1, dtype=np.int64)
        write_keys(self._folder, self._name, flat, start)

    def discard(self) -> None:
        """Remove the buckets."""
        if self._buckets is not None:
            shutil.rmtree(self._buckets, ignore_errors=True)

    def _parts(self) -> Iterator[tuple[Keys, Packed]]:
        if self._buckets is None:
            if self._count:
                keys, packed = zip(*self._waiting, strict=True)
                yield np.concatenate(keys), np.concatenate(packed)
            return
        for number in range(BUCKETS):
            path = self._buckets / f"{number}.key"
            if path.exists():
                yield np.fromfile(path, np.uint32), np.fromfile(path.with_suffix(".packed"), np.uint64)
                path.unlink()
                path.with_suffix(".packed").unlink()

    def _spill_over(self) -> None:
        """From now on to disk; the buckets' bounds are quantiles of what came so far."""
        known = np.sort(np.concatenate([key for key, _ in self._waiting]))
        self._bounds = known[np.arange(1, BUCKETS) * known.size // BUCKETS]
        self._buckets = Path(tempfile.mkdtemp(prefix=f"{self._name}-", dir=self._folder))
        waiting, self._waiting = self._waiting, []
        for key, packed in waiting:
            self._deal(key, packed)

    def _deal(self, key: Keys, packed: Packed) -> None:
        assert self._bounds is not None and self._buckets is not None
        order = order_of(key)
        key, packed = key[order], packed[order]
        edges = np.concatenate([[0], np.searchsorted(key, self._bounds, side="left"), [key.size]])
        for number in range(BUCKETS):
            part = slice(int(edges[number]), int(edges[number + 1]))
            if part.stop > part.start:
                with (self._buckets / f"{number}.key").open("ab") as file:
                    key[part].tofile(file)
                with (self._buckets / f"{number}.packed").open("ab") as file:
                    packed[part].tofile(file)


def order_of(key: Keys) -> npt.NDArray[np.int64]:
    """Order by key that keeps the order of equals. Sorting key and place as one number is the quickest in numpy."""
    joined = (key.astype(np.uint64) << np.uint64(32)) | np.arange(key.size, dtype=np.uint64)
    joined.sort()
    return (joined & np.uint64(0xFFFFFFFF)).astype(np.int64)
