"""The library in the user's cache: built on first use, opened memory-mapped, built anew when it is stale or damaged.

    library/
      sources.json     the person's own folders
      with-scores      there only if the collections in several parts are wanted
      manifest.json    which index is in force, made from what, and the size and check sums of its files
      index-<n>/       the arrays (index.py)

An index is written beside the one in force and takes its place by one rename of the manifest. The folder is
platformdirs' cache folder, or what the environment variable DISC_LIBRARY names.
"""

from __future__ import annotations

import json
import os
import shutil
import zlib
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from disc.errors import BadInput
from disc.library.index.tune_index import Index, open_index, warm_up, write_index
from disc.library.read.read_files import READER_VERSION, BrokenFile, Source, corpus_sources, read_sources
from disc.library.read.versions import group_versions
from disc.library.records import ReferenceTune

INDEX_VERSION = 6  # raise with every change of the arrays' meaning
CHECKED_BYTES = 65536  # of each file's beginning and end: a whole check sum would cost more than the search
LOCK_WAIT_S = 600.0
SCORES_MARK = "with-scores"  # an empty file: the collections in several parts are wanted


@dataclass(frozen=True, slots=True, eq=False)
class Opened:
    """A library ready for search. remarks: what happened on the way, one line each. broken: files not read."""

    index: Index
    remarks: tuple[str, ...] = ()
    broken: tuple[BrokenFile, ...] = ()


@dataclass(frozen=True, slots=True)
class Collection:
    """One collection as listed: its name, how many tunes, where it lies."""

    name: str
    tunes: int
    folder: str
    corpus: bool


def library_folder() -> Path:
    """Where the library lies. Not made here."""
    named = os.environ.get("DISC_LIBRARY")
    if named:
        return Path(named)
    from platformdirs import user_cache_path

    return user_cache_path("disc") / "library"


def open_library(advance: Callable[[float, str], None], folder: Path | None = None) -> Opened:
    """The library, built first if there is none, if it is stale, or if it is damaged (a remark says so)."""
    folder = folder or library_folder()
    sources = all_sources(folder)
    why = "there is none yet"
    try:
        manifest = _manifest(folder)
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
    """Read every source and write the index anew. anew: False leaves unread what has not changed since the last time.

    Raises BadInput if the place cannot be written.
    """
    from filelock import FileLock

    folder = folder or library_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with FileLock(folder / ".lock", timeout=LOCK_WAIT_S):
            sources = all_sources(folder)
            tunes, broken = _read(folder, sources, anew, advance)
            advance(0.65, "indexing")
            name = _next_name(folder)
            write_index(folder / name, tunes, group_versions(tunes))
            counts = Counter(tune.collection for tune in tunes)
            manifest = {
                "version": INDEX_VERSION,
                "reader": READER_VERSION,
                "index": name,
                "sources": {
                    source.name: [str(source.folder), source.fingerprint(), counts[source.name]] for source in sources
                },
                "files": {path.name: _checks(path) for path in sorted((folder / name).iterdir())},
            }
            _write_json(folder / "manifest.json", manifest)
            _remove_others(folder, name)
    except OSError as fault:
        raise BadInput(
            f"{folder}: the library cannot be kept there ({fault.strerror or fault}). "
            "Make room, or set DISC_LIBRARY to another folder."
        ) from fault
    advance(1.0, "")
    return Opened(open_index(folder / name), (remark,) if remark else (), tuple(broken))


def _read(
    folder: Path, sources: list[Source], anew: bool, advance: Callable[[float, str], None]
) -> tuple[list[ReferenceTune], list[BrokenFile]]:
    """All tunes in order of their sources: those of an unchanged source from the index in force, the others read."""
    kept = {} if anew else _kept(folder, sources)
    fresh = [source for source in sources if source.name not in kept]
    read, broken = read_sources(fresh, lambda done: advance(0.6 * done, "reading tunes"), _workers())
    by_name: dict[str, list[ReferenceTune]] = {source.name: kept.get(source.name, []) for source in sources}
    for tune in read:
        by_name[tune.collection].append(tune)
    return [tune for source in sources for tune in by_name[source.name]], broken


def _kept(folder: Path, sources: list[Source]) -> dict[str, list[ReferenceTune]]:
    """The tunes of the sources that are as they were, by name; empty where the index in force is of no use."""
    try:
        manifest = _manifest(folder)
        if manifest is None or (manifest["version"], manifest["reader"]) != (INDEX_VERSION, READER_VERSION):
            return {}
        known = manifest["sources"]
        assert isinstance(known, dict)
        kept: dict[str, list[ReferenceTune]] = {
            one.name: [] for one in sources if known.get(one.name, [])[:2] == [str(one.folder), one.fingerprint()]
        }
        index = _open_checked(folder, manifest)
        for tune in range(index.size):
            if index.collection(tune) in kept:
                kept[index.collection(tune)].append(index.reference(tune))
        return kept
    except (OSError, ValueError, KeyError, TypeError):
        return {}


def _workers() -> int:
    return max(1, min(4, os.cpu_count() or 1))


# ---- collections


def all_sources(folder: Path | None = None) -> list[Source]:
    """The corpus's collections, those in several parts only if they were asked for, and a person's own."""
    folder = folder or library_folder()
    return corpus_sources(scores=(folder / SCORES_MARK).exists()) + own_sources(folder)


def want_scores(wanted: bool, folder: Path | None = None) -> None:
    """Note whether the collections in several parts belong to the library; it is built anew when opened next."""
    folder = folder or library_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        mark = folder / SCORES_MARK
        if wanted:
            mark.touch()
        else:
            mark.unlink(missing_ok=True)
    except OSError as fault:
        raise BadInput(f"{folder}: the library cannot be kept there ({fault.strerror or fault}).") from fault


def own_sources(folder: Path | None = None) -> list[Source]:
    """The folders a person added. A folder that is gone is left out until it is back."""
    path = (folder or library_folder()) / "sources.json"
    try:
        listed = json.loads(path.read_text(encoding="utf-8")) if path.is_file() else []
        sources = [Source(str(name), Path(place)) for name, place in listed]
    except (ValueError, TypeError) as fault:
        raise BadInput(
            f"{path}: the list of added folders is damaged. Move it away and add the folders again."
        ) from fault
    return [source for source in sources if source.folder.is_dir()]


def add_folder(added: Path, folder: Path | None = None) -> Source:
    """Note a folder as a collection of its own name. Raises BadInput if it is none, is empty, or the name is taken."""
    folder = folder or library_folder()
    if not added.is_dir():
        raise BadInput(f"{added}: no folder here. Give a folder with MIDI, MusicXML, ABC or kern files.")
    source = Source(added.resolve().name, added.resolve())
    if not source.files():
        raise BadInput(f"{added}: no MIDI, MusicXML, ABC or kern files in it.")
    for other in all_sources(folder):
        if other.name == source.name and other.folder != source.folder:
            raise BadInput(
                f"{added}: there is a collection {source.name!r} already. Rename the folder and add it again."
            )
    kept = [one for one in own_sources(folder) if one.name != source.name]
    _write_sources(folder, [*kept, source])
    return source


def remove_collection(name: str, folder: Path | None = None) -> None:
    """Take a person's collection out of the library; its files stay. Raises BadInput if there is none of that name."""
    folder = folder or library_folder()
    own = own_sources(folder)
    if name in {source.name for source in corpus_sources()}:
        raise BadInput(
            f"{name}: a collection of the installed corpus stays; search without it by naming another with --in."
        )
    if name not in {source.name for source in own}:
        names = ", ".join(source.name for source in own) or "none"
        raise BadInput(f"the library has no added collection {name!r}. Added so far: {names}.")
    _write_sources(folder, [source for source in own if source.name != name])


def list_collections(folder: Path | None = None) -> list[Collection]:
    """All collections, with how many tunes the index in force has of each (0: not built yet)."""
    folder = folder or library_folder()
    known = (_manifest_or_none(folder) or {}).get("sources")
    known = known if isinstance(known, dict) else {}
    counts = {name: int(entry[2]) for name, entry in known.items()}
    return [
        Collection(source.name, counts.get(source.name, 0), str(source.folder), source.corpus)
        for source in all_sources(folder)
    ]


def _write_sources(folder: Path, sources: list[Source]) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write_json(folder / "sources.json", [[source.name, str(source.folder)] for source in sources])
    except OSError as fault:
        raise BadInput(f"{folder}: the list of collections cannot be written ({fault.strerror}).") from fault


# ---- the manifest


def _manifest(folder: Path) -> dict[str, object] | None:
    path = folder / "manifest.json"
    if not path.is_file():
        return None
    content = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(content, dict):
        raise ValueError("its manifest is no table")
    return content


def _manifest_or_none(folder: Path) -> dict[str, object] | None:
    try:
        return _manifest(folder)
    except (OSError, ValueError):
        return None


def _stale(manifest: dict[str, object], sources: list[Source]) -> str:
    """Why the index must be built anew, in words; empty if it need not."""
    if (manifest["version"], manifest["reader"]) != (INDEX_VERSION, READER_VERSION):
        return "the program reads tunes otherwise than before"
    known = manifest["sources"]
    assert isinstance(known, dict)
    if set(known) != {source.name for source in sources}:
        return "collections were added or removed"
    changed = [
        source.name for source in sources if known[source.name][:2] != [str(source.folder), source.fingerprint()]
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


def _write_json(path: Path, content: object) -> None:
    partial = path.with_name(path.name + ".part")
    partial.write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
    os.replace(partial, path)
