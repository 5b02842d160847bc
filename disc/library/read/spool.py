"""What has been read so far, kept beside the library while the rest is read: a stopped reading goes on where it was.

One file a batch, written whole and renamed. When the library is in force the spool is removed.
"""

from __future__ import annotations

import json
import os
import shutil
import zipfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from disc.library.read.read_files import READER_VERSION, FileRead, FileState, Wanted
from disc.library.records import ReferenceTune, TuneKey

FOLDER = "reading"
COLUMNS = ("onset_tick", "duration_tick", "pitch", "bar")


class Spool:
    """The batches read for a library that is being made in this folder."""

    def __init__(self, library: Path) -> None:
        self._folder = library / FOLDER
        self._next = 0

    def put(self, batch: Sequence[FileRead]) -> None:
        """Keep a batch."""
        self._folder.mkdir(parents=True, exist_ok=True)
        while (path := self._folder / f"{self._next}.npz").exists():
            self._next += 1
        tunes = [tune for one in batch for tune in one.tunes]
        columns = {
            name: np.concatenate([getattr(tune, name) for tune in tunes]) if tunes else np.empty(0, np.int64)
            for name in COLUMNS
        }
        rows = [
            [t.key.file, t.key.number, t.title, t.collection, t.pitch.size, t.metre, t.fifths, t.composer]
            for t in tunes
        ]  # fmt: skip
        files = [
            [str(one.state.path), one.state.key, one.state.bytes, one.state.changed_ns, one.why, len(one.tunes)]
            for one in batch
        ]
        head = json.dumps({"reader": READER_VERSION, "rows": rows, "files": files})
        partial = path.with_suffix(".part")
        with partial.open("wb") as out:
            np.savez(out, allow_pickle=False, head=np.frombuffer(head.encode(), np.uint8), **columns)
        os.replace(partial, path)

    def take(self, wanted: Sequence[Wanted]) -> dict[FileState, FileRead]:
        """What was read of these files as they are now; batches that are damaged are read again."""
        states = {one.state for one in wanted}
        found: dict[FileState, FileRead] = {}
        for path in sorted(self._folder.glob("*.npz")):
            try:
                batch = _load(path)
            except (OSError, ValueError, KeyError, TypeError, IndexError, zipfile.BadZipFile):
                path.unlink(missing_ok=True)
                continue
            found |= {one.state: one for one in batch if one.state in states}
        return found

    def remove(self) -> None:
        """Everything is in force: the spool is of no more use."""
        shutil.rmtree(self._folder, ignore_errors=True)


def _load(path: Path) -> list[FileRead]:
    with np.load(path) as content:
        head = json.loads(content["head"].tobytes())
        columns = [content[name] for name in COLUMNS]
    if head["reader"] != READER_VERSION:
        raise ValueError("read otherwise than now")
    tunes, at = [], 0
    for file, number, title, collection, size, metre, fifths, composer in head["rows"]:
        onset, duration, pitch, bar = (column[at : at + size] for column in columns)
        at += size
        key = TuneKey(file, number)
        tunes.append(
            ReferenceTune(
                key, title, collection, onset, duration, pitch, bar, tuple(metre) if metre else None, fifths, composer
            )
        )
    batch, first = [], 0
    for name, key, size, changed, why, count in head["files"]:
        batch.append(FileRead(FileState(Path(name), key, size, changed), tuple(tunes[first : first + count]), why))
        first += count
    return batch
