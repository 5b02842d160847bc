"""What the job's folder offers to take away: tables, score, MIDI, sound, sheets, report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from disc.errors import MissingPart
from disc.job import COMB_FILE, OUT_FOLDER, PINS_FILE, Job
from disc.job.corrections_file import CORRECTIONS_FILE
from disc.job.stale import stale_files

TABLES = (PINS_FILE, COMB_FILE, CORRECTIONS_FILE)
MOST_FILES = 400  # listed of out/; a job makes some dozens, so this only guards the page (chosen, not measured)


def saved_files(job: Job) -> list[dict[str, Any]]:
    """[{"name", "bytes", "stale"}]: files by their name in the job; stale: what they rest on has changed since."""
    stale = stale_files(job)
    found = [name for name in TABLES if job.has(name)]
    out = job.path(OUT_FOLDER)
    if out.is_dir():
        inside = sorted(p for p in out.rglob("*") if p.is_file() and not p.is_symlink())
        found += [f"{OUT_FOLDER}/{p.relative_to(out).as_posix()}" for p in inside[:MOST_FILES]]
    return [
        {
            "name": name,
            "bytes": job.path(name).stat().st_size,
            "stale": name in stale,
        }
        for name in found
    ]


def own_file(job: Job, path: Path) -> Path:
    """The path, if it lies in the job's folder when all links are followed. Raises MissingPart where it leads out."""
    if not path.resolve().is_relative_to(job.folder.resolve()):
        raise MissingPart(f"{path.name}: this is a link that leads out of the job; only the job's own files are given.")
    return path
