"""`disc comb`: the comb's table, from a file, from a recording, or as a draft from the pins."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from disc.errors import BadInput
from disc.words import counted, progress, say, show_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from disc.comb.assign import Assignment
    from disc.job import Job
    from disc.records import Tooth


def comb(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    table: Annotated[Path | None, typer.Option(help="A table: number,side,tip_r_mm,tip_theta_deg,pitch.")] = None,
    plucked: Annotated[Path | None, typer.Option(help="A recording of all teeth, plucked in turn.")] = None,
    from_pins: Annotated[bool, typer.Option("--from-pins", help="A draft from the tracks of the pins alone.")] = False,
    teeth: Annotated[int | None, typer.Option(help="With --plucked: how many teeth the comb has.")] = None,
    plucks: Annotated[int, typer.Option(help="With --plucked: how often each tooth was plucked.")] = 2,
    order: Annotated[
        str | None, typer.Option(metavar="24,23,...", help="With --plucked: the teeth in the order of plucking.")
    ] = None,
    tooth: Annotated[
        tuple[int, Path] | None, typer.Option(metavar="N RECORDING", help="One tooth plucked again alone, put in.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """The comb: a table, a recording of its teeth, or a draft from the pins."""
    if sum([table is not None, plucked is not None, from_pins, tooth is not None]) != 1:
        raise BadInput(
            "say where the comb comes from: one of --table FILE, --plucked RECORDING, --tooth N RECORDING, --from-pins."
        )
    if order is not None and plucked is None:
        raise BadInput("--order goes with --plucked RECORDING: it says which tooth was plucked when.")
    from disc.job import open_for_writing

    with open_for_writing(job) as opened:
        if plucked is not None:
            _plucked(opened, plucked, teeth, plucks, order, as_json)
            return
        if tooth is not None:
            _again(opened, tooth, plucks, as_json)
            return
        from disc.comb.comb_job import PREVIOUS_COMB_FILE, draft_from_pins, take_table
        from disc.words import note

        assignment = take_table(opened, table) if table is not None else draft_from_pins(opened)
        if PREVIOUS_COMB_FILE in opened.content.runs[-1].outputs:
            note(f"the comb that stood here is kept as {PREVIOUS_COMB_FILE}; to have it back: disc undo {job}")
        _tell(opened, assignment, as_json)


def _again(job: Job, tooth: tuple[int, Path], plucks: int, as_json: bool) -> None:
    from disc.doubts import doubt_lines, doubts_to_json
    from disc.listen.comb.guided import tooth_again
    from disc.listen.comb.plucked_job import tooth_words
    from disc.turn.turn_of_job import all_doubts

    with progress("listening", quiet=as_json) as advance:
        row = tooth_again(job, tooth[0], tooth[1], plucks, advance)
    doubts = all_doubts(job)
    if as_json:
        show_json({"tooth": row, "doubts": doubts_to_json(doubts)})
    else:
        say(*doubt_lines(doubts), tooth_words(row, None), "Put in.")


def _plucked(job: Job, recording: Path, teeth: int | None, plucks: int, order: str | None, as_json: bool) -> None:
    from disc.doubts import doubt_lines, doubts_to_json
    from disc.listen.comb.guided import numbers_of_order
    from disc.listen.comb.plucked_job import comb_from_plucked, plucked_words
    from disc.turn.turn_of_job import all_doubts

    numbers = None if order is None else numbers_of_order(order)
    with progress("listening", quiet=as_json) as advance:
        heard = comb_from_plucked(job, recording, teeth, plucks, advance, numbers)
    if as_json:
        told = heard.as_json()
        show_json(told | {"doubts": [*told["doubts"], *doubts_to_json(all_doubts(job))]})
    else:
        say(*doubt_lines(all_doubts(job)), *plucked_words(heard))


def _tell(job: Job, assignment: Assignment | None, as_json: bool) -> None:
    from disc.doubts import doubt_lines, doubts_to_json
    from disc.turn.turn_of_job import all_doubts

    teeth, doubts = job.comb().teeth, all_doubts(job)
    if as_json:
        show_json({"teeth": teeth, "assignment": assignment, "doubts": doubts_to_json(doubts)})
        return
    say(*doubt_lines(doubts))
    unknown = sum(tooth.pitch is None for tooth in teeth)
    say(
        f"A comb of {counted(len(teeth), 'tooth', 'teeth')}"
        + (f", {unknown} of them without a pitch yet." if unknown else ".")
    )
    if unknown < len(teeth):
        say(_range_words(teeth))
    if silent := [f"{tooth.number} ({tooth.condition})" for tooth in teeth if tooth.is_silent]:
        say(f"Silent as they are: {', '.join(silent)}.")
    if assignment is None:
        say(f"Next: disc read {job.folder} --upper PHOTO --lower PHOTO")
        return
    placed = sum(pin.tooth is not None for pin in assignment.pins)
    say(
        f"{placed} of {len(assignment.pins)} pins have their tooth; pins lie {1000 * assignment.spread_mm:.0f} µm off "
        f"their track; comb and disc differ by {100 * assignment.stretch:+.2f} % and {assignment.offset_mm:+.3f} mm."
    )
    if assignment.between:
        say(f"Between two tracks, look at them: pins {', '.join(map(str, assignment.between))}.")
    if assignment.off_track:
        say(f"On no track: pins {', '.join(map(str, assignment.off_track))}.")
    say(f"Next: disc transcribe {job.folder}")


def _range_words(teeth: Sequence[Tooth]) -> str:
    """Lowest and highest in name and hertz: octaves counted otherwise than here show at once."""
    from disc.listen.pitch_words import pitch_words

    pitches = [tooth.pitch for tooth in teeth if tooth.pitch is not None]
    return f"From {pitch_words(min(pitches))} to {pitch_words(max(pitches))}; A4 is the A of 440 Hz."
