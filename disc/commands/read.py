"""`disc read`: photographs to pins and overlays."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from disc.commands.typed.photo_marks import given_by_hand, numbers
from disc.errors import BadInput
from disc.records import Side
from disc.words import counted, progress, say, show_json

if TYPE_CHECKING:
    from disc.photo.combine_photos import Agreement
    from disc.photo.read_photos import JobReading
    from disc.photo.request import ReadRequest


def read(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    upper: Annotated[list[Path] | None, typer.Option(help="Photo of the upper side; give it again for more.")] = None,
    lower: Annotated[list[Path] | None, typer.Option(help="Photo of the lower side; give it again for more.")] = None,
    both: Annotated[Path | None, typer.Option(help="One picture with both faces side by side.")] = None,
    left: Annotated[Side | None, typer.Option(help="With --both: which side is on the left, or on top.")] = None,
    scale: Annotated[str | None, typer.Option(help="u1,v1,u2,v2,mm: a known length, instead of the diameter.")] = None,
    centre_upper: Annotated[
        list[str] | None, typer.Option(help="u,v of the arbor's centre in the upper photo; NAME=u,v of several.")
    ] = None,
    centre_lower: Annotated[
        list[str] | None, typer.Option(help="u,v of the arbor's centre in the lower photo; NAME=u,v of several.")
    ] = None,
    slot_upper: Annotated[
        list[str] | None, typer.Option(help="u,v of the stop slot in the upper photo; NAME=u,v of several.")
    ] = None,
    slot_lower: Annotated[
        list[str] | None, typer.Option(help="u,v of the stop slot in the lower photo; NAME=u,v of several.")
    ] = None,
    rim_upper: Annotated[
        list[str] | None, typer.Option(help="u,v on the upper rim; five times or more; NAME=u,v of several photos.")
    ] = None,
    rim_lower: Annotated[
        list[str] | None, typer.Option(help="u,v on the lower rim; five times or more; NAME=u,v of several photos.")
    ] = None,
    closer_upper: Annotated[list[Path] | None, typer.Option(help="Close-up of a part of the upper face.")] = None,
    closer_lower: Annotated[list[Path] | None, typer.Option(help="Close-up of a part of the lower face.")] = None,
    scan: Annotated[bool, typer.Option("--scan", help="The pictures are a flatbed scanner's, the arbor out.")] = False,
    bar_mm: Annotated[float | None, typer.Option(help="What the measuring sheet's bar of 50 mm measures.")] = None,
    replace_reading: Annotated[
        bool, typer.Option("--replace", help="Put the reading in force though it is far poorer than the last one.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Photographs of the two faces to the pin table, with overlays to look at."""
    from disc.comb.comb_job import read_and_name
    from disc.job import open_for_writing
    from disc.photo.request import ReadRequest

    by_hand, by_photo = {}, {}
    for side, photos, centre, slot, rim in (
        (Side.UPPER, upper, centre_upper, slot_upper, rim_upper),
        (Side.LOWER, lower, centre_lower, slot_lower, rim_lower),
    ):
        by_hand[side], named = given_by_hand(side, photos or (), centre, slot, rim, _bar(bar_mm))
        by_photo.update(named)
    closer = {Side.UPPER: tuple(closer_upper or ()), Side.LOWER: tuple(closer_lower or ())}
    whole = tuple(upper or ()), tuple(lower or ()), both
    request = ReadRequest(*whole, by_hand, _scale(scale), left, replace_reading, closer, scan, by_photo)
    with open_for_writing(job) as open_job, progress("Reading", quiet=as_json) as advance:
        reading = read_and_name(open_job, request, advance)
    if as_json:
        show_json(_as_json(reading))
    else:
        _say(job, reading, request)


def _scale(text: str | None) -> tuple[float, float, float, float, float] | None:
    if text is None:
        return None
    u1, v1, u2, v2, mm = numbers(text, 5, "--scale", "u1,v1,u2,v2,mm")
    return u1, v1, u2, v2, mm


def _bar(bar_mm: float | None) -> float | None:
    """The bar as measured; a print is off by a few per cent at most."""
    if bar_mm is not None and not 45.0 <= bar_mm <= 55.0:
        raise BadInput(f"--bar-mm {bar_mm:g}: the sheet's bar is 50 mm. Print the sheet at 100 % and measure it again.")
    return bar_mm


def _as_json(reading: JobReading) -> dict[str, object]:
    from disc.doubts import doubts_to_json

    return {
        "doubts": doubts_to_json(reading.doubts),
        "kept_aside": reading.kept_aside,
        "pins": reading.pins,
        "corrections_not_fitting": reading.unfit,
        "photos": {name: verdict.to_json() for name, verdict in reading.verdicts.items()},
        "notes": reading.notes,
        "outputs": reading.outputs,
        "faces": reading.faces,
        "agreement": reading.agreement,
    }


def _say(job: Path, reading: JobReading, request: ReadRequest) -> None:
    from disc.doubts import doubt_lines

    if reading.kept_aside:
        say(f"The new reading was {reading.kept_aside}")
        return
    say(*doubt_lines(reading.doubts))
    for side in Side:
        mine = [pin for pin in reading.pins if pin.side is side]
        if not mine:
            continue
        counts: dict[str, int] = {}
        for pin in mine:
            counts[pin.condition.value] = counts.get(pin.condition.value, 0) + 1
        doubtful = sum(pin.is_doubtful for pin in mine)
        words = ", ".join(f"{n} {name}" for name, n in counts.items())
        say(
            f"{side.value} side: {counted(len(mine), 'site')} ({words})"
            + (f"; look again at {doubtful}" if doubtful else "")
        )
    if reading.agreement:
        say(_how_they_agree(reading.agreement))
    blamed = {f"{name}: {reason}" for name, verdict in reading.verdicts.items() for reason in verdict.reasons}
    for note in reading.notes:
        if note in blamed:  # said first, as a doubt
            continue
        say(f"  - {note}")
    for correction in reading.unfit:
        say(
            f"  - a correction ({correction.action.value}, {correction.side.value} side, r {correction.r_mm:.2f} mm, "
            f"{correction.theta_deg:.1f} degrees) found no pin in this reading and was not used."
        )
    say("", "Look at them:", *(f"  {job / name}" for name in reading.outputs if not name.endswith(".json")))


def _how_they_agree(agreement: Agreement) -> str:
    widths = [f"{width:.2f}" if width else "not measured" for width in agreement.slot_widths_mm]
    words = f"the faces: stop slot {widths[0]} mm wide on the upper, {widths[1]} on the lower side"
    if agreement.through:
        words += f"; {counted(agreement.through, 'hole')} seen from both sides, {agreement.apart_mm:.3f} mm apart"
    return words
