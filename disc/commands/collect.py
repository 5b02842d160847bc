"""`disc collect`: a whole collection into one table."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from disc.commands.typed.measure_options import length
from disc.locale.catalogue import Language
from disc.words import counted, plain, progress, say, show_json


def collect(
    folder: Annotated[Path, typer.Argument(help="Jobs, or photographs named NAME-upper.jpg and NAME-lower.jpg.")],
    diameter_mm: Annotated[
        float | None,
        typer.Option(parser=length("--diameter-mm"), help="Diameter of discs that discs.csv does not name."),
    ] = None,
    workers: Annotated[int, typer.Option(min=1, max=256, help="Processes on this machine.")] = 2,
    scheduler: Annotated[str | None, typer.Option(help="Address of a Dask scheduler, e.g. tcp://HOST:8786.")] = None,
    identify: Annotated[bool, typer.Option(help="Look every tune up in the library.")] = True,
    language: Annotated[Language, typer.Option(help="The page's: en, de or fr.")] = Language.EN,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """A folder of jobs or photo pairs, worked through in parallel; may be stopped and run again."""
    from disc.collect.collect import collect as work
    from disc.doubts import doubt_lines, doubts_to_json

    with progress("discs", quiet=as_json) as advance:
        done = work(folder, diameter_mm, workers, scheduler, identify, advance, language)
    if as_json:
        show_json(plain(done) | {"doubts": doubts_to_json(done.doubts)})
        return
    say(*doubt_lines(done.doubts))
    say(
        f"{counted(done.discs, 'disc')}: {done.made} worked through now, {done.kept} kept from before, "
        f"{done.failed} failed."
    )
    say(
        f"{counted(done.tunes_shared, 'tune stands', 'tunes stand')} on several discs; "
        f"{counted(done.makers_shared, 'group of discs shares its', 'groups of discs share their')} habits."
    )
    if done.twice:
        say(f"{done.twice} pairs of discs may be one disc each: look at the page.")
    say(*(f"  {path}" for path in done.files))
