"""What the job's folder offers to take away: tables, score, MIDI, sound, sheets, report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from disc.errors import MissingPart
from disc.job import COMB_FILE, CORRECTIONS_FILE, OUT_FOLDER, PINS_FILE, Job
from disc.photo.seen.store import file_name
from disc.records import Side

TABLES = (PINS_FILE, COMB_FILE, CORRECTIONS_FILE)
OF_PHOTOGRAPHS = tuple(file_name(side) for side in Side)  # corrected pins do not make them older
MOST_FILES = 400


def saved_files(job: Job) -> list[dict[str, Any]]:
    """[{"name", "bytes", "stale"}]: files by their name in the job; stale: older than the pins they were made from."""
    pins_at = _changed(job, PINS_FILE)
    found = [name for name in TABLES if job.has(name)]
    out = job.path(OUT_FOLDER)
    if out.is_dir():
        inside = sorted(p for p in out.rglob("*") if p.is_file() and not p.is_symlink())
        found += [f"{OUT_FOLDER}/{p.relative_to(out).as_posix()}" for p in inside[:MOST_FILES]]
    return [
        {
            "name": name,
            "bytes": job.path(name).stat().st_size,
            "stale": name not in (*TABLES, *OF_PHOTOGRAPHS) and _changed(job, name) < pins_at,
        }
        for name in found
    ]


def own_file(job: Job, path: Path) -> Path:
    """The path, if it lies in the job's folder when all links are followed. Raises MissingPart where it leads out."""
    if not path.resolve().is_relative_to(job.folder.resolve()):
        raise MissingPart(f"{path.name}: this is a link that leads out of the job; only the job's own files are given.")
    return path


def _changed(job: Job, name: str) -> float:
    path = job.path(name)
    return path.stat().st_mtime if path.is_file() else 0.0
