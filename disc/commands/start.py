"""`disc start`: a new job folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from disc.records import Plate, Turns
from disc.words import say, say_cautions, show_json


def start(
    job: Annotated[Path, typer.Argument(help="The new job's folder.")],
    diameter_mm: Annotated[float, typer.Option(help="The disc's diameter; of a gear-cut rim, over the teeth's tips.")],
    turns: Annotated[Turns, typer.Option(help="Which way the disc goes, seen on the upper side.")] = Turns.CLOCKWISE,
    revolution_s: Annotated[float, typer.Option(help="Seconds for one turn.")] = 45.0,
    rest_arc_deg: Annotated[float, typer.Option(help="Arc free of pins, for running up and stopping.")] = 14.0,
    thickness_mm: Annotated[float | None, typer.Option(help="The plate's thickness.")] = None,
    bore_mm: Annotated[float | None, typer.Option(help="Diameter of the hole for the arbor.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """A new job folder for one disc."""
    from disc.job import create_job

    plate = Plate(diameter_mm, turns, revolution_s, rest_arc_deg, thickness_mm, bore_mm)
    made = create_job(job, plate)
    if as_json:
        show_json({"job": made.folder, "plate": made.plate})
        return
    say(f"A new job in {job}: a disc of {diameter_mm:g} mm, turning {turns.value}, {revolution_s:g} s a turn.")
    say_cautions("train", "untouched")
    say("", f"Next: disc read {job} --upper PHOTO --lower PHOTO")
