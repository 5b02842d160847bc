"""The library in the user's cache: built on first use, opened memory-mapped, built anew when it is stale or damaged.

    library/
      sources.json     the person's own folders
      with-scores      there only if the collections in several parts are wanted
      manifest.json    which index is in force, made from what, and the size and check sums of its files
      index-<n>/       the arrays (tune_index.py), and files.json: every file as it was read
      reading/         what has been read of a library that is being made (read/spool.py)

An index is written beside the one in force and takes its place by one rename of the manifest. The folder is
platformdirs' cache folder, or what the environment variable DISC_LIBRARY names.
"""

from __future__ import annotations

import json
import os
import shutil
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from disc.errors import BadInput
from disc.library.index.change import can_be_changed, change_index
from disc.library.index.manifest import library_folder, read_manifest, write_json
from disc.library.index.own_collections import all_sources
from disc.library.index.tune_index import Index, open_index, warm_up, write_index
from disc.library.read.read_files import (
    READER_VERSION,
    BrokenFile,
    FileRead,
    FileState,
    Source,
    Wanted,
    fingerprint,
    read_files,
)
from disc.library.read.spool import Spool
from disc.library.read.versions import group_versions

INDEX_VERSION = 7  # raise with every change of the arrays' meaning; by definition
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
CHECKED_BYTES = 65536  # of each file's beginning and end: a whole check sum would cost more than the search
LOCK_WAIT_S = 600.0  # another process building the library; ten minutes (chosen, not measured)
FILES = "files.json"  # beside the arrays: every file as it was read


@dataclass(frozen=True, slots=True, eq=False)
class Opened:
    """A library ready for search. remarks: what happened on the way, one line each. broken: files not read."""

    index: Index
    remarks: tuple[str, ...] = ()
    broken: tuple[BrokenFile, ...] = ()


def open_library(advance: Callable[[float, str], None], folder: Path | None = None) -> Opened:
    """The library, built first if there is none, if it is stale, or if it is damaged (a remark says so)."""
    folder = folder or library_folder()
    sources = all_sources(folder)
    why = "there is none yet"
    try:
        manifest = read_manifest(folder)
        if manifest is not None:
            why = _stale(manifest, sources)
            if not why:
                return Opened(_open_checked(folder, manifest))
    except (OSError, ValueError, KeyError, TypeError) as fault:
        why = f"it was damaged ({' '.join(str(fault).split())[:120]})"
    return build_library(advance, folder, f"The library was built, since {why}.", anew=False)


def build_library(
    advance: Callable[[float, str], None], folder: Path | None = None, remark: str = "", anew: bool = True
) -> Opened:
    """Read every source and write the index anew. anew: False reads only files that are new or have changed.

    What was read stays if it is stopped, and is not read again the next time. Raises BadInput if the place cannot be
    written.
    """
    from filelock import FileLock

    folder = folder or library_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with FileLock(folder / ".lock", timeout=LOCK_WAIT_S):
            states = {source: source.states() for source in all_sources(folder)}
            before = None if anew else _in_force(folder, list(states))
            read = _read(folder, states, before, advance)
            advance(0.65, "indexing")
            name = _next_name(folder)
            _write(folder / name, read, before, states)
            index = open_index(folder / name)
            write_json(folder / name / FILES, _file_table(states, read, before))
            counts = np.bincount(index.collection_of, minlength=len(index.collections)).tolist()
            tunes = dict(zip(index.collections, counts, strict=True))
            manifest = {
                "version": INDEX_VERSION,
                "reader": READER_VERSION,
                "index": name,
                "sources": {
                    source.name: [str(source.folder), fingerprint(files), tunes.get(source.name, 0)]
                    for source, files in states.items()
                },
                "files": {path.name: _checks(path) for path in sorted((folder / name).iterdir())},
            }
            write_json(folder / "manifest.json", manifest)
            Spool(folder).remove()
            _remove_others(folder, name)
            broken = _broken(folder / name, states)
    except OSError as fault:
        raise BadInput(
            f"{folder}: the library cannot be kept there ({fault.strerror or fault}). "
            "Make room, or set DISC_LIBRARY to another folder."
        ) from fault
    advance(1.0, "")
    return Opened(index, (remark,) if remark else (), tuple(broken))


@dataclass(frozen=True, slots=True, eq=False)
class _Before:
    """The index in force. known: of each file by its key, [size, time of change, why it was not read].

    gone: whether files of collections that are no more stand in it.
    """

    index: Index
    known: dict[str, list[object]]
    gone: bool

    def has(self, state: FileState) -> bool:
        """Whether this file was read as it is now."""
        return self.known.get(state.key, [])[:2] == [state.bytes, state.changed_ns]


def _in_force(folder: Path, sources: list[Source]) -> _Before | None:
    """The index in force; None where it is of no use for the one to be made."""
    try:
        manifest = read_manifest(folder)
        if manifest is None or (manifest["version"], manifest["reader"]) != (INDEX_VERSION, READER_VERSION):
            return None
        index = _open_checked(folder, manifest)
        if not can_be_changed(index):
            return None
        places, table = manifest["sources"], json.loads((folder / str(manifest["index"]) / FILES).read_text("utf-8"))
        assert isinstance(places, dict) and isinstance(table, dict)
        same = {one.name for one in sources if places.get(one.name, [""])[0] == str(one.folder)}
        known = {key: row for name, files in table.items() if name in same for key, row in files.items()}
        return _Before(index, known, gone=bool(table.keys() - same))
    except (OSError, ValueError, KeyError, TypeError, AssertionError):
        return None


def _read(
    folder: Path,
    states: dict[Source, list[FileState]],
    before: _Before | None,
    advance: Callable[[float, str], None],
) -> list[FileRead]:
    """What is new, read; in order of source and file."""
    wanted = [
        Wanted(state, source)
        for source, files in states.items()
        for state in files
        if before is None or not before.has(state)
    ]
    spool = Spool(folder)
    found = spool.take(wanted)
    missing = [one for one in wanted if one.state not in found]
    done = len(found)
    advance(0.6 * done / max(len(wanted), 1), "reading tunes")
    for batch in read_files(missing, _workers()):
        spool.put(batch)
        found |= {one.state: one for one in batch}
        done += len(batch)
        advance(0.6 * done / len(wanted), f"reading tunes: {done} of {len(wanted)} files")
    return [found[one.state] for one in wanted]


def _write(place: Path, read: list[FileRead], before: _Before | None, states: dict[Source, list[FileState]]) -> None:
    tunes = [tune for one in read for tune in one.tunes]
    if before is None:
        write_index(place, tunes, group_versions(tunes))
        return
    index = before.index
    stays = {state.key for files in states.values() for state in files if before.has(state)}
    if not before.gone and stays.issuperset(before.known):
        keep = np.ones(index.size, dtype=bool)
    else:
        keep = np.array([file in stays for file in index.rows.first_words()], dtype=bool)
    change_index(index, place, keep, tunes)


def _file_table(
    states: dict[Source, list[FileState]], read: list[FileRead], before: _Before | None
) -> dict[str, dict[str, list[object]]]:
    """Every file as it was read: by collection and key, [size, time of change, why it was not read]."""
    why = {one.state: one.why for one in read}
    known = before.known if before else {}
    return {
        source.name: {
            one.key: [one.bytes, one.changed_ns, why[one] if one in why else known[one.key][2]] for one in files
        }
        for source, files in states.items()
    }


def _broken(place: Path, states: dict[Source, list[FileState]]) -> list[BrokenFile]:
    table = json.loads((place / FILES).read_text("utf-8"))
    return [
        BrokenFile(str(one.path), str(table[source.name][one.key][2]))
        for source, files in states.items()
        for one in files
        if table[source.name][one.key][2]
    ]


def _workers() -> int:
    return max(1, min(4, os.cpu_count() or 1))


def _stale(manifest: dict[str, object], sources: list[Source]) -> str:
    """Why the index must be built anew, in words; empty if it need not."""
    if (manifest["version"], manifest["reader"]) != (INDEX_VERSION, READER_VERSION):
        return "the program reads tunes otherwise than before"
    known = manifest["sources"]
    assert isinstance(known, dict)
    if set(known) != {source.name for source in sources}:
        return "collections were added or removed"
    changed = [
        source.name
        for source in sources
        if known[source.name][:2] != [str(source.folder), fingerprint(source.states())]
    ]
    return f"files of {', '.join(changed)} have changed" if changed else ""


def _open_checked(folder: Path, manifest: dict[str, object]) -> Index:
    place = folder / str(manifest["index"])
    files = manifest["files"]
    assert isinstance(files, dict)
    for name, checks in files.items():
        if _checks(place / name) != checks:
            raise ValueError(f"{name} is not as it was written")
    index = open_index(place)
    warm_up(index)
    return index


def _checks(path: Path) -> list[int]:
    """[size, check sum of its beginning and end]."""
    size = path.stat().st_size
    with path.open("rb") as file:
        total = zlib.crc32(file.read(CHECKED_BYTES))
        file.seek(max(0, size - CHECKED_BYTES))
        total = zlib.crc32(file.read(CHECKED_BYTES), total)
    return [size, total]


def _next_name(folder: Path) -> str:
    taken = {path.name for path in folder.glob("index-*")}
    return next(name for name in (f"index-{number}" for number in range(1, 1_000_000)) if name not in taken)


def _remove_others(folder: Path, name: str) -> None:
    for path in folder.glob("index-*"):
        if path.name != name:
            shutil.rmtree(path, ignore_errors=True)
