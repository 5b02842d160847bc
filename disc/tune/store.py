"""out/tune.json: the tune as read, exactly, for the rooms that stand above (library, check, design, desk, report)."""

from __future__ import annotations

from disc.job import OUT_FOLDER, Job, Stage
from disc.records import Tune
from disc.stored import Stored

TUNE_FILE = f"{OUT_FOLDER}/tune.json"
TUNE: Stored[Tune] = Stored("tune", Tune, "Run disc transcribe JOB again.")


def load_tune(job: Job) -> Tune | None:
    """The job's tune; None if nothing was transcribed yet. Raises BadInput if the file is damaged."""
    return TUNE.load(job.path(TUNE_FILE))


def stage_tune(stage: Stage, tune: Tune) -> None:
    """Stage out/tune.json."""
    stage.write_text(TUNE_FILE, TUNE.text(tune))
