"""The known tune of a job: from a score a person gives, or the match a person accepted; kept in out/known.json.

It is kept so that a later look at the findings (the desk after an edit) judges by the same tune.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from disc.check.music.reference import reference_of_score
from disc.errors import BadInput
from disc.job import Job, Stage
from disc.library.records import ReferenceTune, TuneKey
from disc.tables import read_text
from disc.tune.score.read_score import read_score

KNOWN_FILE = "out/known.json"
SCHEMA = 1
_ARRAYS = ("onset_tick", "duration_tick", "pitch", "bar")


def known_from_file(path: Path) -> tuple[ReferenceTune, ...]:
    """Every tune of a score file. Raises BadInput for a file that cannot be read."""
    return tuple(reference_of_score(score, path.name, number) for number, score in enumerate(read_score(path), start=1))


def stage_known(stage: Stage, tune: ReferenceTune | None) -> None:
    """Stage out/known.json, or its removal where no tune was used."""
    if tune is None:
        stage.remove(KNOWN_FILE)
        return
    content: dict[str, Any] = {"schema": SCHEMA, "file": tune.key.file, "number": tune.key.number, "title": tune.title}
    content |= {"collection": tune.collection, "metre": tune.metre, "fifths": tune.fifths}
    content |= {name: getattr(tune, name).tolist() for name in _ARRAYS}
    stage.write_text(KNOWN_FILE, json.dumps(content, ensure_ascii=False) + "\n")


def load_known(job: Job) -> ReferenceTune | None:
    """The known tune of the last check; None if it used none. Raises BadInput if the file is damaged."""
    path = job.path(KNOWN_FILE)
    if not path.is_file():
        return None
    try:
        content = json.loads(read_text(path, "known tune"))
        if content["schema"] != SCHEMA:
            raise ValueError(f"schema {content['schema']!r}")
        onset, duration, pitch, bar = (np.array(content[name], dtype=np.int64) for name in _ARRAYS)
        metre = None if content["metre"] is None else (int(content["metre"][0]), int(content["metre"][1]))
        key = TuneKey(str(content["file"]), int(content["number"]))
        title, collection = str(content["title"]), str(content["collection"])
        return ReferenceTune(key, title, collection, onset, duration, pitch, bar, metre, int(content["fifths"]))
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, ArithmeticError, RecursionError) as error:
        raise BadInput(f"{path}: the known tune is damaged ({error}). Run disc check again.") from error
