"""Photographs brought to the page, read into the job; the reader itself minds what was marked on the same picture.

A reading anew is a step of the history like any other: what it changed is noted down, so that undo brings the earlier
reading back, with its pictures. The corrections stay as they are and are laid over whichever reading is in force.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from disc.correct_plate import MEASURES_THE_PHOTO, correct_plate
from disc.desk.open_job.changes import PLATE_VALUES, plate_changes, told_of_values
from disc.desk.open_job.history import ValueChange
from disc.desk.open_job.session import Session
from disc.desk.work.file_changes import kept_digest
from disc.errors import BadInput
from disc.job import COMB_FILE, READING_FILE, Job, open_for_writing, open_job
from disc.records import Side
from disc.words import Advance, counted

# What a reading makes beside the tables; globs in the job folder.
PICTURES = ("out/overlay-*.jpg", "out/faces.jpg", "out/map.svg", "out/seen-*.json")
RESULTS = ("read", "teeth")


@dataclass(frozen=True, slots=True)
class Brought:
    """Photographs by side ("upper", "lower"). anew: in the place of those read before; more: beside them, of the same
    face; closer: close-ups."""

    anew: Mapping[str, Path] = field(default_factory=dict)
    more: Mapping[str, Sequence[Path]] = field(default_factory=dict)
    closer: Mapping[str, Sequence[Path]] = field(default_factory=dict)

    @property
    def only_close_ups(self) -> bool:
        """Whether the faces stay as they were read."""
        return bool(self.closer) and not self.anew and not self.more


def read_anew(session: Session, brought: Brought, advance: Advance) -> str:
    """Read photographs, or close-ups of the faces read before, as a step that can be undone. Returns what to say."""
    what = "read close-ups" if brought.only_close_ups else "read the photographs again"
    return _as_step(session, what, lambda: read_photos(session.folder, brought, advance))


def needs_reading(job: Job, changes: Sequence[ValueChange]) -> bool:
    """Whether the plate cannot change so without its photographs being read anew: they take their scale from it."""
    return bool(job.content.faces) and any(c.name in MEASURES_THE_PHOTO and c.old != c.new for c in changes)


def plate_anew(session: Session, asked: Mapping[str, Any], advance: Advance) -> str:
    """Correct the plate as `disc set` does, as a step that can be undone: pins and corrections take the new scale."""
    job = open_job(session.folder)
    changes = plate_changes(job, asked)
    before_mm = job.content.plate.diameter_mm
    by = next((c.new / before_mm for c in changes if c.name == "diameter_mm" and c.new and before_mm), 1.0)
    growth = (ValueChange("growth", "diameter_mm", None, by),) if by != 1.0 else ()

    def correct() -> str:
        with open_for_writing(session.folder) as job:
            return " ".join(correct_plate(job, {c.name: c.new for c in changes}, advance))

    return _as_step(session, told_of_values(changes), correct, growth)


def _as_step(session: Session, words: str, work: Callable[[], str], laid: tuple[ValueChange, ...] = ()) -> str:
    """Let a room read the photographs, and note down what that changed. laid: what it did to the corrections."""
    before = _state(open_job(session.folder))
    told = work()
    after = _state(open_job(session.folder))
    changes = tuple(
        ValueChange(where, name, before.get((where, name)), after.get((where, name)))
        for where, name in dict.fromkeys((*before, *after))
        if before.get((where, name)) != after.get((where, name))
    )
    session.load()  # the reader's step is the state that this one starts from
    if changes:
        session.set_values(words, changes, laid=laid)
    return told


def _state(job: Job) -> dict[tuple[str, str], Any]:
    """All that a reading may change, by where it is kept and by name."""
    state: dict[tuple[str, str], Any] = {
        ("faces", side): copy.deepcopy(face) for side, face in job.content.faces.items()
    }
    state |= {("plate", name): getattr(job.content.plate, name) for name in PLATE_VALUES}
    state |= {("settings", name): value for name, value in job.settings.items()}
    state |= {("result", name): copy.deepcopy(job.content.results.get(name)) for name in RESULTS}
    for where, name in (("reading", READING_FILE), ("comb", COMB_FILE)):
        path = job.path(name)
        state[where, name] = path.read_text(encoding="utf-8") if path.is_file() else None
    for pattern in PICTURES:
        for path in sorted(job.folder.glob(pattern)):
            name = path.relative_to(job.folder).as_posix()
            state["file", name] = kept_digest(job, name)
    return state


def read_photos(folder: Path, brought: Brought, advance: Advance) -> str:
    """Read the photographs brought into the job; a face not brought anew is read from its old ones.

    Where only close-ups are brought, the faces stay as they were read. Returns what was found, in words. Raises
    BadInput if a photograph cannot be used; then the job is as it was.
    """
    from disc.comb.comb_job import read_and_name
    from disc.photo.request import ReadRequest

    with open_for_writing(folder) as job:
        close = {Side(side): tuple(paths) for side, paths in brought.closer.items()}
        photos = {} if brought.only_close_ups else {side: _photos_of(job, side, brought) for side in Side}
        if not any(photos.values()) and not close:
            raise BadInput("bring a photograph of each side first.")
        request = ReadRequest(photos.get(Side.UPPER, ()), photos.get(Side.LOWER, ()), closer=close)
        reading = read_and_name(job, request, advance)
    words = f"{counted(len(reading.pins), 'pin or hole was read', 'pins and holes were read')}."
    if reading.unfit:
        corrections = ("earlier correction no longer fits", "earlier corrections no longer fit")
        words += f" {counted(len(reading.unfit), *corrections)} a pin."
    return " ".join([words, *reading.notes[:2]])


def _photos_of(job: Job, side: Side, brought: Brought) -> tuple[Path, ...]:
    """All photographs that a face is to be read from."""
    from disc.photo.read_photos import photos_of_face

    anew = brought.anew.get(side.value)
    old = [path for path in photos_of_face(job, side) if path.is_file()] if anew is None else [anew]
    return (*old, *brought.more.get(side.value, ()))
