"""`disc archive`: a job as one archive bag, checked and taken out again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from disc.words import counted, progress, say, show_json


def archive(
    place: Annotated[Path, typer.Argument(help="The job's folder; with --verify or --restore, the bag's.")],
    out: Annotated[Path | None, typer.Option(help="Where the bag goes; usually JOB-archive beside the job.")] = None,
    verify: Annotated[bool, typer.Option("--verify", help="Check a bag against its checksums.")] = False,
    restore: Annotated[Path | None, typer.Option(help="Take the job out of a bag into this new folder.")] = None,
    private: Annotated[
        bool, typer.Option("--private", help="Leave place and serial numbers out of the photographs' EXIF.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """One archive bag of a job (BagIt, RO-Crate): originals, tables, corrections, log, papers, versions, weights."""
    if verify or restore is not None:
        _from_bag(place, restore, as_json)
        return
    from disc.archive.make_bag import make_bag

    resolved = place.resolve()
    with progress("archive", quiet=as_json) as advance:
        made = make_bag(place, out or resolved.with_name(f"{resolved.name}-archive"), private, advance)
    if as_json:
        show_json(made)
        return
    say(f"{made.folder}: {counted(made.files, 'file')}, {made.size / 1e6:.1f} MB.")
    if private:
        blanked = counted(len(made.blanked), "photograph")
        say(f"Place and serial numbers were left out of {blanked}; the job's own are untouched.")
    say(f"Check it now and then: disc archive {made.folder} --verify")


def _from_bag(bag: Path, out: Path | None, as_json: bool) -> None:
    from disc.archive.check_bag import restore, verify

    with progress("archive", quiet=as_json) as advance:
        if out is not None:
            restore(bag, out, advance)
        files = verify(bag, advance)
    if as_json:
        show_json({"bag": bag, "whole": True, "files": files, "job": out})
        return
    say(f"{bag} is whole: {counted(files, 'file')}." if out is None else f"{out}: the job as it was archived.")
