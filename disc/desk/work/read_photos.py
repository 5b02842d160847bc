"""Photographs brought to the page, read into the job; the reader itself minds what was marked on the same picture.

A reading anew is a step of the history like any other: what it changed is noted down, so that undo brings the earlier
reading back, with its pictures. The corrections stay as they are and are laid over whichever reading is in force.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from disc.correct_plate import MEASURES_THE_PHOTO, correct_plate
from disc.desk.open_job.changes import PLATE_VALUES, plate_changes, told_of_values
from disc.desk.open_job.history import ValueChange
from disc.desk.open_job.session import Session
from disc.desk.page.views import face_views, photo_name
from disc.desk.work.file_changes import kept_digest
from disc.errors import BadInput
from disc.job import COMB_FILE, READING_FILE, Job, open_for_writing, open_job
from disc.records import Side
from disc.words import Advance, counted

# What a reading makes beside the tables; globs in the job folder.
PICTURES = ("out/overlay-*.jpg", "out/faces.jpg", "out/map.svg", "out/seen-*.json")
RESULTS = ("read", "teeth")


def read_anew(
    session: Session, brought: Mapping[str, Path], closer: Mapping[str, Sequence[Path]], advance: Advance
) -> str:
    """Read photographs, or close-ups of the faces read before, as a step that can be undone. Returns what to say."""
    what = "read close-ups" if closer and not brought else "read the photographs again"
    return _as_step(session, what, lambda: read_photos(session.folder, brought, advance, closer))


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


def read_photos(
    folder: Path,
    brought: Mapping[str, Path],
    advance: Advance,
    closer: Mapping[str, Sequence[Path]] | None = None,
) -> str:
    """Read the faces brought ("upper", "lower") into the job; a face not brought anew is read from its old photograph.

    closer: close-ups by side; where only these are brought, the faces stay as they were read.

    Returns what was found, in words. Raises BadInput if a photograph cannot be used; then the job is as it was.
    """
    from disc.comb.comb_job import teeth_after_reading
    from disc.photo.read_photos import read_job
    from disc.photo.request import ReadRequest

    with open_for_writing(folder) as job:
        close = {Side(side): tuple(paths) for side, paths in (closer or {}).items()}
        again = {} if close and not brought else _photos_of(job)
        photos = again | {Side(side): path for side, path in brought.items()}
        if not photos and not close:
            raise BadInput("bring a photograph of each side first.")
        paths = {side: (path,) for side, path in photos.items()}
        request = ReadRequest(paths.get(Side.UPPER, ()), paths.get(Side.LOWER, ()), closer=close)
        reading = read_job(job, request, advance)
        teeth_after_reading(job)
    words = f"{counted(len(reading.pins), 'pin or hole was read', 'pins and holes were read')}."
    if reading.unfit:
        corrections = ("earlier correction no longer fits", "earlier corrections no longer fit")
        words += f" {counted(len(reading.unfit), *corrections)} a pin."
    return " ".join([words, *reading.notes[:2]])


def _photos_of(job: Job) -> dict[Side, Path]:
    found = {side: job.path(photo_name(job, view)) for side, view in face_views(job).items()}
    return {side: path for side, path in found.items() if path.is_file()}
