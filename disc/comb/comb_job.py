"""The comb of a job: taking a table in, making a draft from the pins, giving the pins their teeth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path

from disc.comb.assign import Assignment
from disc.comb.from_pins import comb_from_pins
from disc.comb.pin_spread import FEWEST_TO_FIT, Teeth, give_teeth, ground_of
from disc.errors import BadInput
from disc.job import COMB_FILE, PINS_FILE, Job, Stage
from disc.job.corrections import apply_corrections
from disc.records import Comb, Pin
from disc.results import TeethResult
from disc.tables import format_pins, read_comb


def take_table(job: Job, table: Path) -> Assignment | None:
    """Make a comb table the job's own; give the pins their teeth if there are pins. Raises BadInput for a bad table."""
    comb = read_comb(table)
    for tooth in comb.teeth:
        if tooth.tip_r_mm > job.plate.radius_mm:
            raise BadInput(
                f"{table}: tooth {tooth.number} has its tip at {tooth.tip_r_mm:g} mm, outside the plate (radius "
                f"{job.plate.radius_mm:g} mm). Correct tip_r_mm, or the job's diameter."
            )
    return keep_comb(job, comb, "comb --table", (table,))


def draft_from_pins(job: Job) -> Assignment | None:
    """Make a draft comb from the tracks of the job's pins. Raises MissingPart if there are none."""
    comb, _ = comb_from_pins(job.pins())
    return keep_comb(job, comb, "comb --from-pins", (job.path(PINS_FILE),))


PREVIOUS_COMB_FILE = "comb.previous.csv"  # the last comb that was no draft and that another took the place of


def keep_comb(job: Job, comb: Comb, command: str, inputs: tuple[Path, ...]) -> Assignment | None:
    """Store a comb as one step of the job, and the pins with their teeth."""
    with job.step(command, inputs) as stage:
        stage_previous_comb(job, stage, comb)
        job.stage_comb(stage, comb)
        if not job.has(PINS_FILE):
            return None
        teeth = teeth_of_pins(job, job.pins(), comb)
        from disc.photo.sheets.redraw import stage_pictures  # most of what needs teeth draws no pictures

        stage_pictures(stage, job, _stage_given(job, stage, teeth))
        return replace(teeth.assignment, pins=teeth.pins)


def stage_previous_comb(job: Job, stage: Stage, comb: Comb) -> None:
    """Keep the comb in force beside the one that takes its place, where a person gave or recorded it."""
    if job.has(COMB_FILE) and not (old := job.comb()).draft and old != comb:
        stage.copy_in(job.path(COMB_FILE), PREVIOUS_COMB_FILE)


def teeth_after_reading(job: Job) -> tuple[Pin, ...]:
    """Give the pins of a new reading their teeth, where the job has a comb; returns the pins in force."""
    if job.has(COMB_FILE):
        keep_comb(job, job.comb(), "comb", (job.path(COMB_FILE),))
    return job.pins()


def stage_teeth(job: Job, stage: Stage, comb: Comb) -> tuple[Pin, ...]:
    """Give the pins in force their teeth, those a person set excepted, and stage the table and the summary."""
    return _stage_given(job, stage, teeth_of_pins(job, job.pins(), comb))


def teeth_of_pins(job: Job, pins: Sequence[Pin], comb: Comb) -> Teeth:
    """Pins of the job, as they stand or as they are in memory, with their teeth."""
    reading = job.reading()
    ground = ground_of(reading, comb) if len(reading) >= FEWEST_TO_FIT else None
    return give_teeth(pins, comb, fixed_teeth(job, comb), ground)


def _stage_given(job: Job, stage: Stage, teeth: Teeth) -> tuple[Pin, ...]:
    assignment = teeth.assignment
    stage.write_text(PINS_FILE, format_pins(teeth.pins))
    job.content.keep(TeethResult(**asdict(replace(assignment, pins=()))))
    return teeth.pins


def fixed_teeth(job: Job, comb: Comb) -> dict[int, int]:
    """Teeth that a person gave to pins, by pin id; of a job laid out by design, all of them."""
    known = {tooth.number for tooth in comb.teeth}
    if "design" in job.settings:
        given = job.pins()
    else:
        done, _ = job.corrections()
        given, _ = apply_corrections([replace(pin, tooth=None) for pin in job.reading()], done)
    return {pin.id: pin.tooth for pin in given if pin.tooth in known and pin.tooth is not None}
