"""`disc library build | add | list | find | remove`: the tunes that disc identify searches."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from disc.words import counted, progress, say, show_json

if TYPE_CHECKING:
    from disc.library.index.library_store import Opened

library = typer.Typer(no_args_is_help=True, help="The tune library: build, add, list, find, show, remove.")
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]


@library.command("build")
def build(
    scores: Annotated[
        bool | None,
        typer.Option(
            "--scores/--no-scores",
            help="Installed collections in several parts too (chorales, quartets, songs), by their first part.",
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Read all collections and build the index anew."""
    from disc.library.index.library_store import build_library
    from disc.library.index.own_collections import want_scores

    if scores is not None:
        want_scores(scores)
    with progress("building the library", quiet=as_json) as advance:
        opened = build_library(advance)
    _show(opened, as_json)


@library.command("add")
def add(
    folder: Annotated[Path, typer.Argument(help="A folder with MIDI, MusicXML, ABC or kern files, or one file.")],
    as_json: Json = False,
) -> None:
    """Add a folder of your own, or a file, as a collection of its name. Stopped, it goes on where it was."""
    from disc.library.index.library_store import build_library
    from disc.library.index.own_collections import add_folder

    source = add_folder(folder)
    with progress(f"adding {source.name}", quiet=as_json) as advance:
        opened = build_library(advance, anew=False)
    _show(opened, as_json)


@library.command("list")
def list_all(as_json: Json = False) -> None:
    """The collections and how many tunes each has."""
    from disc.library.index.manifest import library_folder
    from disc.library.index.own_collections import list_collections

    collections = list_collections()
    if as_json:
        show_json({"folder": library_folder(), "collections": collections})
        return
    for one in collections:
        say(f"{one.tunes:7d}  {one.name}  ({'installed corpus' if one.corpus else one.folder})")
    if not any(one.tunes for one in collections):
        say("Not built yet. Run: disc library build")


@library.command("remove")
def remove(
    collection: Annotated[str, typer.Argument(help="The collection's name.")],
    as_json: Json = False,
) -> None:
    """Take a collection of your own out of the library; its files stay where they are."""
    from disc.library.index.library_store import build_library
    from disc.library.index.own_collections import remove_collection

    remove_collection(collection)
    with progress(f"removing {collection}", quiet=as_json) as advance:
        opened = build_library(advance, anew=False)
    _show(opened, as_json)


@library.command("find")
def find(
    words: Annotated[list[str], typer.Argument(help="Words of the title; all must be there.")],
    most: Annotated[int, typer.Option(min=1, help="How many to list.")] = 30,
    as_json: Json = False,
) -> None:
    """Tunes by words of their title, composer or collection."""
    from disc.library.find_titles import find_titles
    from disc.library.index.library_store import open_library

    with progress("opening the library", quiet=as_json) as advance:
        index = open_library(advance).index
    found = find_titles(index, " ".join(words), most)
    if as_json:
        rows = [
            {
                "file": o.key.file,
                "number": o.key.number,
                "title": o.title,
                "composer": o.composer,
                "collection": o.collection,
            }
            for o in found
        ]
        show_json({"words": words, "tunes": rows})
    elif found:
        say(*(f"{one.title}{f', {one.composer}' if one.composer else ''}  ({one.key})" for one in found))
    else:
        say("No tune of the library has all these words in its title.")


@library.command("show")
def show(
    tune: Annotated[str, typer.Argument(help="The tune, file:number, as find and identify name it.")],
    out: Annotated[Path, typer.Option(help="Folder for the files.")] = Path(),
    as_json: Json = False,
) -> None:
    """A tune's print (PDF, SVG) and how it sounds (WAV)."""
    from disc.library.index.library_store import open_library
    from disc.library.show_tune import key_of, show_tune

    key = key_of(tune)
    with progress("engraving the tune", quiet=as_json) as advance:
        shown = show_tune(open_library(advance).index, key, out)
    one = shown.tune
    metre = f"{one.metre[0]}/{one.metre[1]}" if one.metre else None
    if as_json:
        content = {"file": one.key.file, "number": one.key.number, "title": one.title, "composer": one.composer}
        show_json(
            {**content, "collection": one.collection, "metre": metre, "notes": one.pitch.size, "files": shown.files}
        )
        return
    by = f", {one.composer}" if one.composer else ""
    say(f"{one.title}{by} ({one.collection}): {counted(one.pitch.size, 'note')}{f' in {metre}' if metre else ''}.")
    say(*(f"Made: {file}" for file in shown.files))


def _show(opened: Opened, as_json: bool) -> None:
    from disc.library.index.manifest import library_folder
    from disc.library.index.own_collections import list_collections

    if as_json:
        content = {"folder": library_folder(), "tunes": opened.index.size, "collections": list_collections()}
        show_json({**content, "broken": opened.broken})
        return
    say(f"{counted(opened.index.size, 'tune')} in {library_folder()}.")
    for one in list_collections():
        say(f"{one.tunes:7d}  {one.name}")
    if opened.broken:
        say(f"{counted(len(opened.broken), 'file')} could not be read; the rest are in:")
        say(*(f"  {one.path}: {one.why}" for one in opened.broken))
