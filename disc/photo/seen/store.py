"""The maps of what is seen, beside the reading: out/seen-upper.json and out/seen-lower.json."""

from __future__ import annotations

from pydantic import ValidationError

from disc.errors import BadInput
from disc.job import Job, Stage
from disc.photo.seen.hand_marks import with_unseen
from disc.photo.seen.seen_map import SeenMap
from disc.records import Side
from disc.tables import read_text


def file_name(side: Side) -> str:
    """In the job folder."""
    return f"out/seen-{side.value}.json"


def stage_seen(stage: Stage, one: SeenMap) -> None:
    """Stage a face's map."""
    stage.write_text(file_name(one.side), one.model_dump_json(indent=1) + "\n")


def load_seen(job: Job) -> dict[Side, SeenMap]:
    """The maps of the last reading. A face that was not photographed, where another was, has one of which nothing is
    seen. Empty for a job without a reading of photographs; a face read before there were maps has none. Raises
    BadInput if a file is damaged.
    """
    maps: dict[Side, SeenMap] = {}
    for side in Side:
        path = job.path(file_name(side))
        if side.value not in job.content.faces:
            if job.content.faces:
                maps[side] = SeenMap.unseen(side, _radius_mm(job))
        elif path.is_file():
            try:
                read = SeenMap.model_validate_json(read_text(path, "map of what is seen"))
                maps[side] = with_unseen(job, read)
            except ValidationError as error:
                reason = error.errors()[0]["msg"]
                raise BadInput(
                    f"{path}: the map of what is seen is damaged ({reason}). Read the photographs again."
                ) from error
    return maps


def _radius_mm(job: Job) -> float:
    """Of the face that was photographed: both have one rim."""
    face = next(iter(job.content.faces.values()))
    return float(face["radius_mm"])
