"""The tune of the pins as they are in memory, read with what the job fixes by hand; nothing is stored."""

from __future__ import annotations

from disc.comb.strikes import strikes_from_pins
from disc.desk.page.words import page_words
from disc.errors import DiscError
from disc.job import Job
from disc.records import Comb, Pin, Tune
from disc.words import chance


def tune_now(job: Job, pins: tuple[Pin, ...], comb: Comb | None) -> tuple[Tune | None, str, tuple[str, ...]]:
    """(tune, why there is none, other readings in words)."""
    if comb is None:
        return None, "There is no comb yet, so nothing sounds.", ()
    if not any(tooth.pitch is not None for tooth in comb.teeth):
        return None, "The teeth's pitches are not known yet, so no tune can be read.", ()
    from disc.tune.read.read_tune import read_tune
    from disc.turn.transcribe_job import settings_from

    try:
        reading = read_tune(strikes_from_pins(pins, comb, job.plate), job.plate, settings_from(job.settings))
    except DiscError as error:
        return None, page_words(str(error), job.folder), ()
    other = tuple(f"{a.what} {a.value}: {chance(a.probability)}, {a.why}" for a in reading.alternatives)
    return reading.tune, "", other
