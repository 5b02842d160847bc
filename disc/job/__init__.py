"""One disc's folder: what is kept, what a person changed, and how every step is written whole or not at all.

`folder.py` opens, makes and saves a job by its `schema.py`; a step puts its files on a `stage.py`, `journal.py` lays
them over the job in one go. `corrections.py` (kept by `corrections_file.py`) and `hand_edits.py` are what people
change; `kept.py` is what can be had back; `made_from.py` and `stale.py` say which results their inputs have left
behind.
"""

from disc.job.folder import (
    COMB_FILE,
    JOB_FILE,
    LOG_ONLY_SETTING,
    OUT_FOLDER,
    PHOTO_FOLDER,
    PINS_FILE,
    READING_FILE,
    Job,
    create_job,
    open_for_writing,
    open_job,
    sha256_of,
)
from disc.job.stage import Stage

__all__ = [
    "COMB_FILE",
    "JOB_FILE",
    "LOG_ONLY_SETTING",
    "OUT_FOLDER",
    "PHOTO_FOLDER",
    "PINS_FILE",
    "READING_FILE",
    "Job",
    "Stage",
    "create_job",
    "open_for_writing",
    "open_job",
    "sha256_of",
]
