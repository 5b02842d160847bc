"""The recordings that belong to a job: recordings/ holds the originals, untouched, two of one name both."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from disc.job import Job, Stage

RECORDINGS_FOLDER = "recordings"
SOUND_ENDINGS = (".wav", ".flac", ".ogg", ".mp3", ".aif", ".aiff", ".m4a", ".opus")


def recordings_of(job: Job) -> list[str]:
    """Names of the recordings that belong to the job."""
    folder = job.path(RECORDINGS_FOLDER)
    return sorted(p.name for p in folder.iterdir() if p.suffix.lower() in SOUND_ENDINGS) if folder.is_dir() else []


def free_name(job: Job, name: str, also: Collection[str] = ()) -> str:
    """The name for a recording to be added: its own, or with a number where another has that name already. also: names
    taken in this step."""
    path, taken = Path(name), {*recordings_of(job), *also}
    names = (name, *(f"{path.stem}-{number}{path.suffix}" for number in range(2, len(taken) + 3)))
    return next(one for one in names if one not in taken)


def recording_path(job: Job, name: str) -> Path:
    """Where a recording of the job lies."""
    return job.path(RECORDINGS_FOLDER) / name


def stage_recordings(job: Job, stage: Stage, paths: Collection[Path]) -> tuple[str, ...]:
    """Copies of recordings from outside, each under a name that is free; one that is there already stays. Returns their
    names in the job, in order."""
    names: list[str] = []
    for path in paths:
        there = next((n for n in recordings_of(job) if _is_same(recording_path(job, n), path)), None)
        name = there or free_name(job, path.name, names)
        if there is None:
            stage.copy_in(path, f"{RECORDINGS_FOLDER}/{name}")
        names.append(name)
    return tuple(names)


def _is_same(one: Path, other: Path) -> bool:
    return one.stat().st_size == other.stat().st_size and one.read_bytes() == other.read_bytes()
