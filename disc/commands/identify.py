"""`disc identify`: which tune is it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from disc.errors import BadInput
from disc.locale.catalogue import Language, reader
from disc.words import counted, progress, say, show_json

if TYPE_CHECKING:
    from disc.library.search.asked.query import Query
    from disc.records import Doubt


# Unless said otherwise: chosen by hand, not measured.
PART_TOP = 10  # matches shown of each tune, where a disc has several


def identify(
    inputs: Annotated[
        list[Path] | None, typer.Argument(help="Jobs or files: MIDI, MusicXML, ABC, kern, or strikes.csv.")
    ] = None,
    notes: Annotated[
        str | None, typer.Option(help='A melody typed here: "G4 A4 B4 C5", ABC ("G2 A B c d2") or Parsons ("*uudr").')
    ] = None,
    top: Annotated[int, typer.Option(min=1, help="How many matches to show; with --in up to all of its tunes.")] = 10,
    collection: Annotated[str | None, typer.Option("--in", help="Search this collection only.")] = None,
    exclude: Annotated[list[str] | None, typer.Option(help="Leave out a tune, file:number; may be repeated.")] = None,
    score: Annotated[
        Path | None, typer.Option(help="Write the disc over the print, .svg or .pdf (one input only).")
    ] = None,
    accept: Annotated[
        int | None,
        typer.Option(min=0, help="Your word that this match of a job's list is the disc's tune; 0 takes it back."),
    ] = None,
    language: Annotated[Language, typer.Option(help="The score's language.")] = Language.EN,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object a line for each input.")] = False,
) -> None:
    """Which tune is it: ranked, with where it agrees and where it does not."""
    if not inputs and notes is None:
        raise BadInput("give a job or a file, or a melody with --notes.")
    inputs = inputs or []
    if accept is not None:
        _accept(inputs, accept, as_json)
        return
    from time import perf_counter

    from disc.doubts import doubt_lines, doubts_to_json
    from disc.library.answer import keep_in_job, lines, matches_to_json, part_lines
    from disc.library.index.library_store import open_library
    from disc.library.notes_in import query_of_notes
    from disc.library.query_in import read_queries
    from disc.library.search.find_tunes import allowed_tunes, find_tunes
    from disc.library.search.parts import parts_of
    from disc.library.show_tune import key_of

    t = reader(language)
    staves = (t("disc"), t("print"))
    excluded = [key_of(text, "--exclude ") for text in exclude or ()]
    queries: list[tuple[Path | None, str, Query]] = [
        (path, name, query) for path in inputs for name, query in read_queries(path)
    ]
    if notes is not None:
        queries.append((None, notes, query_of_notes(notes)))
    if score is not None and (len(queries) != 1 or score.suffix.lower() not in (".svg", ".pdf")):
        raise BadInput("--score needs exactly one input, and a file name that ends in .svg or .pdf.")
    with progress("opening the library", quiet=as_json) as advance:
        library = open_library(advance)
    _remarks(library.remarks, len(library.broken))
    allowed = allowed_tunes(library.index, collection, excluded)
    for path, name, query in queries:
        started = perf_counter()
        matches = find_tunes(library.index, query, top, allowed)
        parts = parts_of(library.index, query, matches, min(top, PART_TOP), allowed)
        seconds = perf_counter() - started
        made: list[str] = []
        doubts: tuple[Doubt, ...] = ()
        if path is not None and path.is_dir():
            from disc.job import open_for_writing
            from disc.job.made_from import IDENTIFY
            from disc.library.backwards import direction_doubts, keep_direction
            from disc.turn.turn_of_job import all_doubts

            with open_for_writing(path) as job:
                made = keep_in_job(job, library.index, query, matches, parts, staves)
                keep_direction(job, direction_doubts(job, library.index, query, matches, allowed))
                doubts = all_doubts(job, without=(IDENTIFY,))
        if score is not None and matches and matches[0].alignment is not None:
            from disc.library.over_print import over_print

            svg, pdf = over_print(query, library.index, matches[0], staves)
            score.write_bytes(pdf if score.suffix.lower() == ".pdf" else svg)
        if as_json:
            show_json(matches_to_json(name, seconds, matches, parts) | {"doubts": doubts_to_json(doubts)})
        else:
            say(*doubt_lines(doubts), f"{name}: {seconds:.2f} s", *lines(matches), *part_lines(parts))
            say(*(f"Made: {path}/{file}" for file in made))


def _accept(inputs: list[Path], place: int, as_json: bool) -> None:
    """The person's word; without a search before, the job is searched for first."""
    from disc.job import open_for_writing
    from disc.library.accepted import accept_match
    from disc.library.answer import keep_in_job
    from disc.library.index.library_store import open_library
    from disc.library.query_in import query_of_job
    from disc.library.search.find_tunes import find_tunes

    if len(inputs) != 1 or not inputs[0].is_dir():
        raise BadInput("--accept needs exactly one job: the tune is noted there.")
    with open_for_writing(inputs[0]) as job:
        with progress("opening the library", quiet=as_json) as advance:
            index = open_library(advance).index
        if place and "identify" not in job.content.results:
            query = query_of_job(inputs[0])
            keep_in_job(job, index, query, find_tunes(index, query))
        accepted = accept_match(job, index, place)
    tune = None if accepted is None else accepted.tune
    if as_json:
        known = None if tune is None else {"file": tune.key.file, "number": tune.key.number, "title": tune.title}
        show_json({"input": str(inputs[0]), "accepted": known})
    elif tune is None:
        say(f"{inputs[0]}: no tune is accepted any more.")
    else:
        say(f"{inputs[0]}: {tune.title!r} ({tune.key}) is noted as this disc's tune.")


def _remarks(remarks: tuple[str, ...], broken: int) -> None:
    import sys

    for remark in remarks:
        print(f"disc: {remark}", file=sys.stderr)
    if broken:
        print(f"disc: {counted(broken, 'file')} could not be read; disc library build lists them.", file=sys.stderr)
