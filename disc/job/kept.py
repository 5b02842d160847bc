"""What a step replaced, kept in the job so that `disc undo` can bring it back.

A step that changes a table, a person's words or the plate first keeps the versions before it: .kept/N-NAME, and with
them .kept/N.json, which says what step it was and which of the files there were. They become part of the step itself,
so that they appear with it or not at all. Only the newest sets are kept.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from disc.job.stage import Stage
from disc.tables import read_text

KEPT_FOLDER = ".kept"
# Unless said otherwise: chosen by hand, not measured.
MOST_KEPT = 30  # sets; each is some tens of kilobytes
JOB_NAME = "job.json"
# The tables that a person may edit in a spreadsheet, and the copies of them as this program last wrote them.
WRITTEN = {"pins.csv": ".pins.csv", "comb.csv": ".comb.csv"}
# What a person made or has to answer for; all else can be made again.
KEPT_NAMES = ("pins.csv", "reading.csv", "comb.csv", "corrections.json", "decisions.json", "desk.json")
# Of job.json, what a step may change for good.
KEPT_VALUES = ("plate", "settings", "faces", "photos")
UNDO = "undo"
# The desk has a history of its own, step by step; here its edits in a row are one set.
IN_A_ROW = "desk"


@dataclass(frozen=True, slots=True)
class Kept:
    """What stood before a step. names: the files that there were; changed: what the step changed, by name.

    of: the set that an undo brought back; None for any other step.
    """

    number: int
    command: str
    at: str
    names: tuple[str, ...]
    changed: tuple[str, ...]
    of: int | None = None

    def path(self, folder: Path, name: str) -> Path:
        """Where the kept version of this file lies."""
        return folder / KEPT_FOLDER / f"{self.number}-{name}"


def kept_sets(folder: Path) -> tuple[Kept, ...]:
    """What is kept in a job's folder, the newest first. A record that cannot be read is left out."""
    return tuple(kept for number in _numbers(folder) if (kept := _kept_set(folder, number)) is not None)


def _numbers(folder: Path) -> list[int]:
    return sorted((int(p.stem) for p in (folder / KEPT_FOLDER).glob("*.json") if p.stem.isdigit()), reverse=True)


def _kept_set(folder: Path, number: int) -> Kept | None:
    try:
        raw = json.loads((folder / KEPT_FOLDER / f"{number}.json").read_text(encoding="utf-8"))
        names, changed = (tuple(n for n in raw[key] if n in _ALL_NAMES) for key in ("names", "changed"))
        of = None if raw.get("of") is None else int(raw["of"])
        return Kept(number, str(raw["command"]), str(raw["at"]), names, changed, of)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _goes_on(folder: Path, command: str) -> bool:
    """Whether this step is one more of the desk's edits in a row; only the newest set is looked at, at every edit."""
    if command != IN_A_ROW:
        return False
    newest = next((kept for number in _numbers(folder) if (kept := _kept_set(folder, number)) is not None), None)
    return newest is not None and newest.command == IN_A_ROW


_ALL_NAMES = frozenset((*KEPT_NAMES, *KEPT_VALUES))


def stage_kept(folder: Path, stage: Stage, content: dict[str, Any], command: str, at: str, of: int | None) -> None:
    """Stage what this step replaces. content: job.json as the step leaves it. Nothing changed: nothing is kept."""
    job_file = folder / JOB_NAME
    if not job_file.is_file():
        return
    before = json.loads(read_text(job_file, "job file"))  # as it was opened: an editor may have saved it otherwise
    if before.get("schema_version") != content["schema_version"]:  # a migration keeps its own backup
        return
    if _goes_on(folder, command):
        return
    changed = [name for name in KEPT_NAMES if _differs(folder, stage, name)]
    changed += [name for name in KEPT_VALUES if (before.get(name) or {}) != (content.get(name) or {})]
    sets = kept_sets(folder)
    if not changed:
        return
    number = sets[0].number + 1 if sets else 1
    names = [name for name in KEPT_NAMES if _before(folder, name).is_file()]
    for name in names:
        stage.copy_in(_before(folder, name), f"{KEPT_FOLDER}/{number}-{name}")
    stage.copy_in(job_file, f"{KEPT_FOLDER}/{number}-{JOB_NAME}")
    record = {"command": command, "at": at, "names": names, "changed": changed, "of": of}
    stage.write_text(f"{KEPT_FOLDER}/{number}.json", json.dumps(record) + "\n")
    for old in sets[MOST_KEPT - 1 :]:
        for name in (f"{old.number}.json", *(f"{old.number}-{n}" for n in (*old.names, JOB_NAME))):
            stage.remove(f"{KEPT_FOLDER}/{name}")


def _before(folder: Path, name: str) -> Path:
    """The file as this program last wrote it: a table may have been edited by hand since."""
    written = folder / WRITTEN.get(name, name)
    return written if written.is_file() else folder / name


def _differs(folder: Path, stage: Stage, name: str) -> bool:
    before = _before(folder, name)
    if name in stage.removed:
        return before.is_file()
    if name not in stage.names:
        return False
    return not before.is_file() or before.read_bytes() != stage.path(name).read_bytes()
