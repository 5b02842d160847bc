"""`disc start`: a new job folder; and what may be said of the plate, there or later (`disc set`)."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from disc.commands.typed.measure_options import angle, length
from disc.errors import BadInput
from disc.records import Turns
from disc.words import say, say_cautions, show_json

Diameter = Annotated[
    float | None,
    typer.Option(parser=length("--diameter-mm"), help="The disc's diameter; of a gear-cut rim, over the teeth's tips."),
]
Turning = Annotated[Turns | None, typer.Option(help="Which way the disc goes, seen on the upper side.")]
Revolution = Annotated[float | None, typer.Option(help="Seconds for one turn.")]
RestArc = Annotated[
    float | None, typer.Option(parser=angle("--rest-arc-deg"), help="Arc free of pins, for running up and stopping.")
]
Thickness = Annotated[float | None, typer.Option(parser=length("--thickness-mm"), help="The plate's thickness.")]
Bore = Annotated[float | None, typer.Option(parser=length("--bore-mm"), help="Diameter of the hole for the arbor.")]
SlotWidth = Annotated[
    float | None, typer.Option(parser=length("--slot-width-mm"), help="Width of the stop slot, along the rim.")
]
SlotDepth = Annotated[
    float | None, typer.Option(parser=length("--slot-depth-mm"), help="Depth of the stop slot, from the rim inwards.")
]

# How each value that nobody gave is found, for the person at the bench. Common practice, no source.
HOW_MEASURED = {
    "diameter_mm": "the diameter: a caliper across the rim, over the teeth's tips where it is gear-cut",
    "turns": "the way it turns: let the fly run a moment by hand, or see on which side of a pin its tooth is worn",
    "revolution_s": "the time of one turn: a watch, or a recording of one turn (disc listen)",
    "rest_arc_deg": "the rest arc: the widest gap without pins, read off the photographs",
}


def start(
    job: Annotated[Path, typer.Argument(help="The new job's folder.")],
    diameter_mm: Diameter = None,
    turns: Turning = None,
    revolution_s: Revolution = None,
    rest_arc_deg: RestArc = None,
    thickness_mm: Thickness = None,
    bore_mm: Bore = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """A new job folder for one disc. What is not known yet is asked for where it is first needed."""
    from disc.job import create_job

    given = {
        "diameter_mm": diameter_mm, "turns": turns, "revolution_s": revolution_s, "rest_arc_deg": rest_arc_deg,
        "thickness_mm": thickness_mm, "bore_mm": bore_mm,
    }  # fmt: skip
    made = create_job(job, {name: value for name, value in given.items() if value is not None})
    if as_json:
        show_json({"job": made.folder, "plate": made.content.plate.model_dump(mode="json")})
        return
    kept = " Its bench log is kept." if made.has("log.json") else ""
    say(f"A new job in {job}.{kept}", *plate_lines(made.content.plate.model_dump()))
    say_cautions("train", "untouched")
    say("", f"Next: disc read {job} --upper PHOTO --lower PHOTO")


def plate_lines(values: dict[str, Any]) -> list[str]:
    """What is known of the plate, and how what is not can be measured."""
    told = {name: f"{value:.6g}" if isinstance(value, float) else value for name, value in values.items()}
    known = [f"{name.replace('_', ' ')} {value}" for name, value in told.items() if value is not None]
    missing = [how for name, how in HOW_MEASURED.items() if values.get(name) is None]
    lines = [f"Known: {', '.join(known)}."] if known else []
    return lines + [f"Not known yet: {how}." for how in missing]


def set_plate(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    diameter_mm: Diameter = None,
    turns: Turning = None,
    revolution_s: Revolution = None,
    rest_arc_deg: RestArc = None,
    thickness_mm: Thickness = None,
    bore_mm: Bore = None,
    slot_width_mm: SlotWidth = None,
    slot_depth_mm: SlotDepth = None,
    forget: Annotated[list[str] | None, typer.Option(help="A value to forget, e.g. turns; may be repeated.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Correct what was said at the start; the reading, the teeth and all that rests on them follow."""
    from disc.correct_plate import correct_plate
    from disc.doubts import doubt_lines, doubts_to_json
    from disc.job import open_for_writing
    from disc.turn.turn_of_job import all_doubts
    from disc.words import progress

    given: dict[str, Any] = {
        "diameter_mm": diameter_mm, "turns": turns, "revolution_s": revolution_s, "rest_arc_deg": rest_arc_deg,
        "thickness_mm": thickness_mm, "bore_mm": bore_mm,
        "slot_width_mm": slot_width_mm, "slot_depth_mm": slot_depth_mm,
    }  # fmt: skip
    asked = {name: value for name, value in given.items() if value is not None}
    for name in forget or ():
        field = name.replace("-", "_")
        if field not in given:
            raise BadInput(f"--forget {name}: the plate has no such value. Choose from {', '.join(given)}.")
        asked[field] = None
    if not asked:
        raise BadInput(f"nothing to set. Name a value, such as: disc set {job} --turns counterclockwise")
    with open_for_writing(job) as opened, progress("Setting", quiet=as_json) as advance:
        said = correct_plate(opened, asked, advance)
        values = opened.content.plate.model_dump(mode="json")
        doubts = all_doubts(opened)
    if as_json:
        show_json({"job": job, "plate": values, "said": said, "doubts": doubts_to_json(doubts)})
        return
    say(*doubt_lines(doubts), *said, *plate_lines(values))
