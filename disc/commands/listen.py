"""`disc listen`: a recorded turn against the pins."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from disc.errors import BadInput
from disc.words import chance, counted, progress, say, say_cautions, show_json

if TYPE_CHECKING:
    from disc.listen.listen_job import Listened


def listen(
    places: Annotated[
        list[Path],
        typer.Argument(
            metavar="[JOB] RECORDING...", help="The job's folder and the recording of a turn, or several of that turn."
        ),
    ],
    comb: Annotated[Path | None, typer.Option(help="Without a job: the comb's table, with pitches.")] = None,
    strikes: Annotated[Path | None, typer.Option(help="Without a job: turn_fraction,tooth, one a line.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """A recorded turn against the pins: silent, extra, early and late strikes, and the speed."""
    if comb is not None or strikes is not None:
        if comb is None or strikes is None or not places:
            raise BadInput("without a job, give all three: disc listen --comb TABLE --strikes TABLE RECORDING")
        from disc.listen.listen_job import listen_to_files

        with progress("listening", quiet=as_json) as advance:
            heard = listen_to_files(comb, strikes, places[0], advance, places[1:])
    else:
        if len(places) < 2:
            raise BadInput("give the job and the recording: disc listen JOB RECORDING")
        from disc.job import open_for_writing
        from disc.listen.listen_job import listen_to_job

        with progress("listening", quiet=as_json) as advance, open_for_writing(places[0]) as job:
            heard = listen_to_job(job, places[1], advance, places[2:])
    if as_json:
        from disc.doubts import doubts_to_json
        from disc.listen.store import turn_json

        show_json(turn_json(heard.turn, heard.paces) | {"doubts": doubts_to_json(heard.doubts)})
        return
    _tell(heard)


def _tell(heard: Listened) -> None:
    from disc.doubts import doubt_lines

    turn = heard.turn
    say(*doubt_lines(heard.doubts))
    say(
        f"{counted(len(turn.sounds), 'sound')}; one turn takes {turn.revolution_s:.2f} s; "
        f"{turn.laps:.2f} turns are recorded.",
        f"Silent strikes: {len(turn.silent)}. Extra sounds: {len(turn.extra)}. Early or late: {len(turn.early_late)}. "
        f"Weak each time: {len(turn.weak)}." + (f" Cannot be told: {len(turn.undecided)}." if turn.undecided else ""),
    )
    if turn.whirr_hz:
        say(f"The wheelwork is heard at {', '.join(f'{hz:.0f} Hz' for hz in turn.whirr_hz)}; the speed follows it.")
    from disc.listen.turn.pace import pace_words

    say(*(f"{line[0].upper()}{line[1:]}." for line in pace_words(heard.paces)))
    from disc.listen.turn.turn_record import twins_at_once

    for teeth, times in twins_at_once(turn.sounds).items():
        when = ", ".join(f"{at:.2f}" for at in times)
        say(f"  cannot be told: one of the teeth {' and '.join(map(str, teeth))}, of one note, or both, at {when} s")
    silences = {s.strike: s for s in turn.silences}
    for k in turn.undecided:
        if k in silences:
            sure = chance(silences[k].probability)
            say(f"  cannot be told: strike {k + 1}: {silences[k].reason}; silent with a probability of {sure}")
    for remark in turn.remarks:
        say(f"Note: {remark}.")
    from disc.listen.findings import without_dead

    found, dead_words = without_dead(heard.findings, heard.dead)
    for finding, _, at in found:
        say(f"{at:7.2f} s  {finding.kind:14s} tooth {finding.tooth}: {finding.evidence[0].words}")
    if dead_words:
        say(dead_words)
    if not heard.findings:
        why = {s.strike: f" ({s.reason})" for s in turn.silences}
        say(*(f"  silent: strike {k} of the list{why.get(k, '')}" for k in turn.silent))
        say(*(f"  extra: pitch {s.pitch:.2f} at {s.time_s:.2f} s" for s in turn.extra))
    if turn.silent or turn.extra or turn.weak:
        say_cautions("train", "untouched")
