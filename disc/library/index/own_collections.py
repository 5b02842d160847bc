"""The library's collections: those of the installed corpus, and the folders and files that a person added."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from disc.errors import BadInput
from disc.library.index.manifest import library_folder, manifest_or_none, write_json
from disc.library.read.read_files import Source, corpus_sources

SCORES_MARK = "with-scores"  # an empty file: the collections in several parts are wanted


@dataclass(frozen=True, slots=True)
class Collection:
    """One collection as listed: its name, how many tunes, where it lies."""

    name: str
    tunes: int
    folder: str
    corpus: bool


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
    """The folders and files a person added. What is gone is left out until it is back."""
    path = (folder or library_folder()) / "sources.json"
    try:
        listed = json.loads(path.read_text(encoding="utf-8")) if path.is_file() else []
        sources = [Source(str(name), Path(place)) for name, place in listed]
    except (ValueError, TypeError) as fault:
        raise BadInput(
            f"{path}: the list of added folders is damaged. Move it away and add the folders again."
        ) from fault
    return [source for source in sources if source.folder.exists()]


def add_folder(added: Path, folder: Path | None = None) -> Source:
    """Note a folder, or a file, as a collection of its own name.

    Raises BadInput if it is none, is empty, or the name is taken.
    """
    folder = folder or library_folder()
    if not added.exists():
        raise BadInput(f"{added}: no folder here, and no file. Give one with MIDI, MusicXML, ABC or kern.")
    source = Source(added.resolve().name, added.resolve())
    if not source.files():
        raise BadInput(f"{added}: no MIDI, MusicXML, ABC or kern files in it.")
    for other in all_sources(folder):
        if other.name == source.name and other.folder != source.folder:
            raise BadInput(f"{added}: there is a collection {source.name!r} already. Rename yours and add it again.")
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
    known = (manifest_or_none(folder) or {}).get("sources")
    known = known if isinstance(known, dict) else {}
    counts = {name: int(entry[2]) for name, entry in known.items()}
    return [
        Collection(source.name, counts.get(source.name, 0), str(source.folder), source.corpus)
        for source in all_sources(folder)
    ]


def _write_sources(folder: Path, sources: list[Source]) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_json(folder / "sources.json", [[source.name, str(source.folder)] for source in sources])
    except OSError as fault:
        raise BadInput(f"{folder}: the list of collections cannot be written ({fault.strerror}).") from fault
