"""The comb of a job: taking a table in, making a draft from the pins, giving the pins their teeth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING

from disc.comb.assign import Assignment
from disc.comb.from_pins import comb_from_pins
from disc.comb.pin_spread import FEWEST_TO_FIT, Ground, Teeth, give_teeth, ground_of
from disc.errors import BadInput
from disc.job import COMB_FILE, PINS_FILE, Job, Stage
from disc.job.corrections import apply_corrections
from disc.records import Comb, Pin
from disc.results import TeethResult
from disc.tables import format_pins, read_comb
from disc.words import Advance, no_progress

if TYPE_CHECKING:
    from disc.photo.read_photos import JobReading, Naming
    from disc.photo.request import ReadRequest


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


def read_and_name(
    job: Job,
    request: ReadRequest | None = None,
    advance: Advance = no_progress,
    *,
    upper: tuple[Path, ...] = (),
    lower: tuple[Path, ...] = (),
) -> JobReading:
    """Read photographs into the job and give the pins their teeth, where the job has a comb: one step.

    Arguments and what is raised as read_job's; the pins returned are those in force, with their teeth.
    """
    from disc.photo.read_photos import read_job  # most of what needs teeth reads no photographs

    return read_job(job, request, advance, upper=upper, lower=lower, naming=_naming(job))


def _naming(job: Job) -> Naming | None:
    if not job.has(COMB_FILE):
        return None
    comb = job.comb()

    def name(stage: Stage, reading: Sequence[Pin], in_force: Sequence[Pin]) -> tuple[Pin, ...]:
        job.stage_comb(stage, comb)
        read = {pin.id: pin.tooth for pin in reading}
        by_hand = [pin for pin in in_force if pin.tooth != read.get(pin.id)]
        teeth = give_teeth(in_force, comb, _known_teeth(by_hand, comb), _ground(reading, comb))
        return _stage_given(job, stage, teeth)

    return name


def stage_teeth(job: Job, stage: Stage, comb: Comb) -> tuple[Pin, ...]:
    """Give the pins in force their teeth, those a person set excepted, and stage the table and the summary."""
    return _stage_given(job, stage, teeth_of_pins(job, job.pins(), comb))


def teeth_of_pins(job: Job, pins: Sequence[Pin], comb: Comb) -> Teeth:
    """Pins of the job, as they stand or as they are in memory, with their teeth."""
    return give_teeth(pins, comb, fixed_teeth(job, comb), _ground(job.reading(), comb))


def _ground(reading: Sequence[Pin], comb: Comb) -> Ground | None:
    return ground_of(reading, comb) if len(reading) >= FEWEST_TO_FIT else None


def _stage_given(job: Job, stage: Stage, teeth: Teeth) -> tuple[Pin, ...]:
    assignment = teeth.assignment
    stage.write_text(PINS_FILE, format_pins(teeth.pins))
    job.content.keep(TeethResult(**asdict(replace(assignment, pins=()))))
    return teeth.pins


def fixed_teeth(job: Job, comb: Comb) -> dict[int, int]:
    """Teeth that a person gave to pins, by pin id; of a job laid out by design, all of them."""
    if "design" in job.settings:
        given = job.pins()
    else:
        done, _ = job.corrections()
        given, _ = apply_corrections([replace(pin, tooth=None) for pin in job.reading()], done)
    return _known_teeth(given, comb)


def _known_teeth(given: Sequence[Pin], comb: Comb) -> dict[int, int]:
    known = {tooth.number for tooth in comb.teeth}
    return {pin.id: pin.tooth for pin in given if pin.tooth in known and pin.tooth is not None}
