"""The known tune of a job: from a score a person gives, or the match a person accepted; kept in out/known.json.

It is kept so that a later look at the findings (the desk after an edit) judges by the same tune.
"""

from __future__ import annotations

from pathlib import Path

from disc.job import Job, Stage
from disc.library.read.reference import reference_of
from disc.library.records import ReferenceTune, TuneKey
from disc.library.stored_tune import StoredTune, stored_values
from disc.stored import Stored
from disc.tune.score.read_score import read_score

KNOWN_FILE = "out/known.json"


def known_from_file(path: Path) -> tuple[ReferenceTune, ...]:
    """Every tune of a score file. Raises BadInput for a file that cannot be read."""
    return tuple(
        reference_of(score, TuneKey(path.name, number), "") for number, score in enumerate(read_score(path), start=1)
    )


KNOWN: Stored[StoredTune] = Stored("known tune", StoredTune, "Run disc check JOB again.")


def stage_known(stage: Stage, tune: ReferenceTune | None) -> None:
    """Stage out/known.json, or its removal where no tune was used."""
    if tune is None:
        stage.remove(KNOWN_FILE)
        return
    stage.write_text(KNOWN_FILE, KNOWN.text(StoredTune.model_validate(stored_values(tune))))


def load_known(job: Job) -> ReferenceTune | None:
    """The known tune of the last check; None if it used none. Raises BadInput if the file is damaged."""
    found = KNOWN.load(job.path(KNOWN_FILE))
    return None if found is None else found.tune()
