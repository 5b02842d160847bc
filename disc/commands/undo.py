"""`disc undo` and `disc take`: the last step taken back; a table edited by hand taken over."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from disc.words import say, show_json

AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]


def undo(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    step: Annotated[int | None, typer.Argument(help="A step of the list: this one and all after it.")] = None,
    show_list: Annotated[bool, typer.Option("--list", help="Show the steps that can be taken back.")] = False,
    as_json: AsJson = False,
) -> None:
    """Take back the last step that changed pins, comb, corrections, plate or settings."""
    from disc.job import open_job
    from disc.job.journal import locked
    from disc.job.kept import kept_sets
    from disc.undo import undo as take_back

    if show_list:
        sets = kept_sets(open_job(job).folder)
        if as_json:
            show_json({"steps": sets})
            return
        say(*(f"{kept.number:4d}  {kept.at[:16].replace('T', ' ')}  {kept.command}" for kept in sets))
        say(f"Next: disc undo {job}" if sets else "There is no step to take back.")
        return
    with locked(job):
        words = take_back(open_job(job), step)
    if as_json:
        show_json({"job": job, "said": words})
        return
    say(words, f"Taken back by mistake? disc undo {job} --list shows this step, too.")


def take(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    yes: Annotated[bool, typer.Option("--yes", help="Also where more than a tenth of the rows has gone.")] = False,
    as_json: AsJson = False,
) -> None:
    """Take over what was edited by hand in pins.csv and comb.csv; every other command does so, too."""
    from disc.job import open_job
    from disc.job.journal import locked

    with locked(job):
        words = open_job(job).absorb_hand_edits(may_remove=yes)
    if as_json:
        show_json({"job": job, "said": words})
        return
    say(words or "Neither pins.csv nor comb.csv was edited since this program wrote it.")
