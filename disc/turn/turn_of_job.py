"""A job's turn: its pins, comb, plate and settings resolved; the one way from a job folder to strikes and tune."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from disc.comb.comb_job import teeth_of_pins
from disc.doubts import doubts_from_json, in_order
from disc.job import COMB_FILE, PINS_FILE, Job
from disc.job.stale import stale_doubts
from disc.photo.doubts_of_job import reading_doubts
from disc.photo.seen.store import load_seen
from disc.records import Comb, Doubt, Pin
from disc.results import CheckResult, DirectionResult
from disc.tune.store import load_tune
from disc.turn.assumed import assumed_doubts
from disc.turn.one_turn import OneTurn, resolve_strikes, with_direction_weighed, with_known_tune, with_tune
from disc.turn.settings import TurnSettings, turn_settings
from disc.turn.slots_of_job import with_slots_weighed


def turn_of_job(job: Job, settings: TurnSettings | None = None) -> OneTurn:
    """The job's turn with its tune, where one can be read, and the way of turning weighed by the music.

    settings: instead of those stored. This is what the commands go by that order work or write music down; the second
    reading that weighing takes is left out where the turn follows every edit (turn_of_pins, at the desk).

    Raises MissingPart without pins, comb or diameter, BadInput for settings that cannot be read.
    """
    settings = turn_settings(job.settings) if settings is None else settings
    turn = turn_of_pins(job, job.pins(), job.comb(), settings)
    return turn if "design" in job.settings else with_direction_weighed(turn, settings)


def _found_backwards(job: Job) -> tuple[Doubt, ...]:
    """What the library said of the way of turning, as long as the disc is still said to turn that way."""
    kept = job.content.result(DirectionResult)
    if kept is None or kept.turns is not job.plate.turns:
        return ()
    return doubts_from_json(kept.doubts, f"{job.folder}: what the library says of the turning")


def tune_doubts(job: Job) -> tuple[Doubt, ...]:
    """What the last check said of the tune that it was to judge by; what was found without it is no better known."""
    kept = job.content.result(CheckResult)
    return () if kept is None else doubts_from_json(kept.doubts, f"{job.folder}: what the check says of the tune")


def turn_of_pins(
    job: Job, pins: Sequence[Pin], comb: Comb, settings: TurnSettings | None = None, read_tune: bool = True
) -> OneTurn:
    """The turn of pins and comb as they are in memory, under the job's plate, settings and given teeth."""
    settings = turn_settings(job.settings) if settings is None else settings
    turn = resolve_strikes(teeth_of_pins(job, pins, comb), comb, job.plate, settings)
    carried = (*reading_doubts(job), *_found_backwards(job), *tune_doubts(job))
    doubts = with_slots_weighed(job, turn, (*carried, *turn.doubts))
    turn = replace(turn, seen=load_seen(job), doubts=in_order(doubts))
    if not read_tune:
        return turn
    designed = load_tune(job) if "design" in job.settings else None
    if designed is not None:
        return with_known_tune(turn, designed)
    return with_tune(turn, settings)


def doubts_of_job(job: Job) -> tuple[Doubt, ...]:
    """What is in doubt about a job's disc, without the second of time that its tune takes to be read."""
    if job.content.plate_record() is None:
        return ()  # the diameter is asked for where it is needed
    if job.has(PINS_FILE) and job.has(COMB_FILE):
        return turn_of_pins(job, job.pins(), job.comb(), read_tune=False).doubts
    return doubts_before_comb(job)


def all_doubts(job: Job, without: tuple[str, ...] = ()) -> tuple[Doubt, ...]:
    """The doubts of a job's disc, and what is stale of its results. without: results made anew just now."""
    return (*stale_doubts(job, without), *doubts_of_job(job))


def doubts_before_comb(job: Job) -> tuple[Doubt, ...]:
    """What is in doubt already as long as no comb makes a turn of the pins: the photographs, and what is assumed."""
    return in_order((*reading_doubts(job), *assumed_doubts(job.plate)))
