"""The tune that a person has said is this disc's: kept in the job's settings, with its notes, as the only known judge.

A search only proposes. `disc identify JOB --accept 1` (or the desk) makes the first match of the last search the job's
tune; --accept 0 takes the word back. The notes are kept with it, so that it stays known where the library is not.
"""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import ValidationError

from disc.errors import BadInput
from disc.job import Job
from disc.job.schema import now_text
from disc.library.index.tune_index import Index
from disc.library.records import ReferenceTune, TuneKey
from disc.library.stored_tune import StoredTune, stored_values
from disc.results import IdentifyResult
from disc.turn.settings import ACCEPTED_SETTING


class _Accepted(StoredTune):
    """What stands in the job's settings: the tune, and with how much trust and when it was accepted."""

    probability: float | None = None
    at: str


@dataclass(frozen=True, slots=True, eq=False)
class AcceptedTune:
    """tune: as printed. probability: what the search said of it when it was accepted; None: it had not been asked.

    at: when, ISO 8601 in UTC.
    """

    tune: ReferenceTune
    probability: float | None
    at: str


def accepted_tune(job: Job) -> AcceptedTune | None:
    """The tune a person accepted as this disc's; None: none yet. Raises BadInput if the setting is damaged."""
    raw = job.settings.get(ACCEPTED_SETTING)
    if raw is None:
        return None
    try:
        kept = _Accepted.model_validate(raw)
    except ValidationError as error:
        raise BadInput(
            f"{job.folder}: the accepted tune in job.json is damaged. Take it back and accept it again: "
            f"disc identify {job.folder} --accept 0"
        ) from error
    return AcceptedTune(kept.tune(), kept.probability, kept.at)


def accept_match(job: Job, index: Index, place: int) -> AcceptedTune | None:
    """Note the match of this place (from 1) of the job's last search as its tune; 0: none any more.

    A step of its own. Raises BadInput where the last search has no such match or the library has lost the tune.
    """
    if place == 0:
        with job.step("identify --accept 0"):
            job.settings.pop(ACCEPTED_SETTING, None)
        return None
    found = job.content.result(IdentifyResult)
    matches = [] if found is None else found.matches
    if not 1 <= place <= len(matches):
        have = f"it has {len(matches)}" if matches else "it found none"
        raise BadInput(f"{job.folder}: the last search has no match {place}; {have}. Run: disc identify {job.folder}")
    match = matches[place - 1]
    key = TuneKey(match.file, match.number)
    number = index.tune_of(key)
    if number is None:
        raise BadInput(f"{key}: the library no longer has this tune. Run: disc identify {job.folder}")
    return accept_tune(job, index.reference(number), match.probability)


def accept_tune(job: Job, tune: ReferenceTune, probability: float | None = None) -> AcceptedTune:
    """Note this tune as the job's, in a step of its own."""
    kept = _Accepted.model_validate(stored_values(tune) | {"probability": probability, "at": now_text()})
    with job.step("identify --accept"):
        job.settings[ACCEPTED_SETTING] = kept.model_dump(mode="json")
    return AcceptedTune(tune, probability, kept.at)
