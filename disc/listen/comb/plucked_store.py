"""out/plucked.json: what the last plucked recording gave, read and written here and nowhere else."""

from __future__ import annotations

import math
from typing import Any

from pydantic import BaseModel, ConfigDict

from disc.doubts import doubts_from_json
from disc.job import Job, Stage
from disc.listen.sound.disturbed import Disturbance
from disc.records import Doubt, ToothCondition
from disc.stored import Stored

PLUCKED_FILE = "out/plucked.json"


class PluckedRow(BaseModel):
    """One tooth as heard. pitch: MIDI number with a fraction; None: nothing rang. Times in seconds."""

    tooth: int
    pitch: float | None
    t60_s: float | None = None
    condition: ToothCondition | None = None
    plucks_s: tuple[float, ...] = ()
    spread_cents: float | None = None
    agrees: bool | None = None
    deviation_cents: float | None = None
    number_probability: float | None = None
    one_of: tuple[int, ...] = ()
    words: str = ""


class PluckedFile(BaseModel):
    """The file's content; what else stands beside the teeth is for the reader and kept as it is.

    plucks: of each tooth; disturbed: (from s, to s, whether a knock), parts in which something else was heard;
    left_over_s: when tones began that no tooth took; undecided: teeth whose number is in doubt (one_of says which).
    """

    model_config = ConfigDict(extra="allow")

    teeth: tuple[PluckedRow, ...]
    tuning: dict[str, Any] | None = None
    plucks: int = 2
    disturbed: tuple[tuple[float, float, bool], ...] = ()
    left_over_s: tuple[float, ...] = ()
    undecided: tuple[int, ...] = ()
    doubts: list[dict[str, Any]] = []

    def stretches(self) -> tuple[Disturbance, ...]:
        """The disturbed parts as records."""
        return tuple(Disturbance(start_s, end_s, knock) for start_s, end_s, knock in self.disturbed)


def _pitches_are_numbers(stored: PluckedFile) -> None:
    if not all(row.pitch is None or math.isfinite(row.pitch) for row in stored.teeth):
        raise ValueError("a pitch is no number")


PLUCKED: Stored[PluckedFile] = Stored(
    "plucked comb", PluckedFile, "Run disc comb JOB --plucked again.", check=_pitches_are_numbers, unmarked=True
)


def load_plucked(job: Job) -> PluckedFile | None:
    """The last plucked recording; None if there was none. Raises BadInput if the file is damaged."""
    return PLUCKED.load(job.path(PLUCKED_FILE))


def stage_plucked(stage: Stage, plucked: PluckedFile) -> None:
    """Stage out/plucked.json."""
    stage.write_text(PLUCKED_FILE, PLUCKED.text(plucked))


def plucked_doubts(job: Job) -> tuple[Doubt, ...]:
    """What the last plucked recording left in doubt; empty if there was none. Raises BadInput if it is damaged."""
    found = load_plucked(job)
    return () if found is None else doubts_from_json(found.doubts, str(job.path(PLUCKED_FILE)))


def heard_pitches(job: Job) -> dict[int, float]:
    """Pitches by tooth from the last plucked recording; empty if there was none. Raises BadInput if it is damaged."""
    found = load_plucked(job)
    return {} if found is None else {row.tooth: row.pitch for row in found.teeth if row.pitch is not None}
