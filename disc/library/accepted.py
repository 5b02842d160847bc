"""The tune that a person has said is this disc's: kept in the job's settings, with its notes, as the only known judge.

A search only proposes. `disc identify JOB --accept 1` (or the desk) makes the first match of the last search the job's
tune; --accept 0 takes the word back. The notes are kept with it, so that it stays known where the library is not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from pydantic import BaseModel, ConfigDict, ValidationError

from disc.errors import BadInput
from disc.job import Job
from disc.job_schema import now_text
from disc.library.index.tune_index import Index
from disc.library.records import ReferenceTune, TuneKey

ACCEPTED_SETTING = "tune.accepted"


class _Stored(BaseModel):
    """What stands in the job's settings. Times in ticks, as in ReferenceTune."""

    model_config = ConfigDict(extra="forbid")

    file: str
    number: int
    title: str
    collection: str
    probability: float | None = None
    at: str
    metre: tuple[int, int] | None = None
    fifths: int = 0
    onset_tick: list[int]
    duration_tick: list[int]
    pitch: list[int]
    bar: list[int]


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
        kept = _Stored.model_validate(raw)
        notes = np.array([kept.onset_tick, kept.duration_tick, kept.pitch, kept.bar], dtype=np.int64)
        if notes.size == 0:
            raise ValueError("it has no notes")
    except (ValidationError, ValueError, OverflowError) as error:
        raise BadInput(
            f"{job.folder}: the accepted tune in job.json is damaged. Take it back and accept it again: "
            f"disc identify {job.folder} --accept 0"
        ) from error
    key = TuneKey(kept.file, kept.number)
    onset, duration, pitch, bar = notes
    tune = ReferenceTune(key, kept.title, kept.collection, onset, duration, pitch, bar, kept.metre, kept.fifths)
    return AcceptedTune(tune, kept.probability, kept.at)


def accept_match(job: Job, index: Index, place: int) -> AcceptedTune | None:
    """Note the match of this place (from 1) of the job's last search as its tune; 0: none any more.

    A step of its own. Raises BadInput where the last search has no such match or the library has lost the tune.
    """
    if place == 0:
        with job.step("identify --accept 0"):
            job.settings.pop(ACCEPTED_SETTING, None)
        return None
    matches = job.content.results.get("identify", {}).get("matches") or []
    if not 1 <= place <= len(matches):
        have = f"it has {len(matches)}" if matches else "it found none"
        raise BadInput(f"{job.folder}: the last search has no match {place}; {have}. Run: disc identify {job.folder}")
    match = matches[place - 1]
    key = TuneKey(str(match["file"]), int(match["number"]))
    number = index.tune_of(key)
    if number is None:
        raise BadInput(f"{key}: the library no longer has this tune. Run: disc identify {job.folder}")
    return accept_tune(job, index.reference(number), float(match["probability"]))


def accept_tune(job: Job, tune: ReferenceTune, probability: float | None = None) -> AcceptedTune:
    """Note this tune as the job's, in a step of its own."""
    kept = _Stored(
        file=tune.key.file, number=tune.key.number, title=tune.title, collection=tune.collection,
        probability=probability, at=now_text(), metre=tune.metre, fifths=tune.fifths,
        onset_tick=tune.onset_tick.tolist(), duration_tick=tune.duration_tick.tolist(), pitch=tune.pitch.tolist(),
        bar=tune.bar.tolist(),
    )  # fmt: skip
    with job.step("identify --accept"):
        job.settings[ACCEPTED_SETTING] = kept.model_dump(mode="json")
    return AcceptedTune(tune, probability, kept.at)
