"""`disc drill`: drilling programs for a computer-controlled table."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from disc.commands.typed.measure_options import length
from disc.records import Side, Turns
from disc.words import counted, say, say_cautions, show_json


def drill(
    job: Annotated[Path, typer.Argument(help="The job's folder, with its plan made.")],
    table: Annotated[Literal["xy", "rotary"], typer.Option(help="Two slides, or one slide and a rotary axis.")] = "xy",
    side: Annotated[Side | None, typer.Option(help="Only this face.")] = None,
    touch: Annotated[
        list[str] | None,
        typer.Option(help="A point touched on the machine, three times: bore=X,Y slot=X,Y 'pin 12=X,Y' 'hole 3=X,Y'."),
    ] = None,
    safe_mm: Annotated[
        float | None, typer.Option(parser=length("--safe-mm"), help="Height of quick moves above the plate.")
    ] = None,
    peck_mm: Annotated[
        float | None, typer.Option(parser=length("--peck-mm"), help="Depth of one bite; usually the drill's diameter.")
    ] = None,
    feed: Annotated[float, typer.Option(min=0.1, max=1000, help="Feed, mm a minute.")] = 15.0,
    spindle: Annotated[float, typer.Option(min=1, max=200_000, help="Turns of the spindle a minute.")] = 8000.0,
    axis: Annotated[Literal["A", "B", "C"], typer.Option(help="The rotary axis' letter.")] = "C",
    table_turns: Annotated[
        Turns, typer.Option(help="Which way the rotary table goes for rising numbers, seen from above.")
    ] = Turns.CLOCKWISE,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """A drilling program a face (G-code as NIST's RS274NGC reads it): a dry run first, then the holes."""
    from disc.doubts import doubt_lines, doubts_to_json
    from disc.errors import BadInput
    from disc.job import open_for_writing
    from disc.repin.drill_job import drill_job
    from disc.repin.machine.gcode import MachineTable, ProgramSettings
    from disc.repin.machine.zero import parse_touch

    if peck_mm is not None and not 0.02 <= peck_mm <= 5.0:
        raise BadInput(f"--peck-mm {peck_mm:g}: a bite of the drill is from 0.02 to 5 mm deep.")
    settings = ProgramSettings(MachineTable(table), safe_mm, peck_mm, feed, spindle, axis, table_turns)
    touches = [parse_touch(text) for text in touch or ()]
    with open_for_writing(job) as opened:
        made = drill_job(opened, settings, touches, side)
    if as_json:
        files = [job / program.file for program in made.programs]
        show_json({"programs": made.programs, "files": files, "doubts": doubts_to_json(made.doubts)})
        return
    say(*doubt_lines(made.doubts))
    for program in made.programs:
        say(f"{job / program.file}: {counted(program.drilled, 'hole')}; {program.zero.words}.")
        if program.left_out:
            say(f"  Left out, because in doubt: {', '.join(map(str, program.left_out))}.")
    say("Watch the dry run before the drill goes in: every place, the right way round, clear of the pins.")
    say_cautions("eyes", "train", "mercury", "untouched")
