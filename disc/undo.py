"""Taking back the last step that changed a job's tables, plate or settings; itself a step that can be taken back."""

from __future__ import annotations

from disc.errors import BadInput
from disc.job import COMB_FILE, PINS_FILE, Job
from disc.job.kept import JOB_NAME, KEPT_NAMES, KEPT_VALUES, UNDO, WRITTEN, Kept, kept_sets
from disc.job.schema import parse_job_file

# What a person had made of a table, where undo put the table back.
EDITED_PINS_FILE, EDITED_COMB_FILE = "pins.edited.csv", "comb.edited.csv"
EDITED = {COMB_FILE: EDITED_COMB_FILE, PINS_FILE: EDITED_PINS_FILE}
KEPT_RESULTS = ("read", "teeth")  # what belongs to the tables themselves


def undo(job: Job, number: int | None = None) -> str:
    """Put back what stood before a step; returns what was done, in words. The job must be locked for writing.

    Without a number, the newest step that was not taken back already; but first an edit of a table by hand that no
    command has taken over yet. Raises BadInput where there is nothing to bring back.
    """
    if number is None and (words := _hand_edit_taken_back(job)):
        return words
    kept = _wanted(job, number)
    files = {name: kept.path(job.folder, name) for name in kept.names}
    lost = [name for name in (*files, JOB_NAME) if not kept.path(job.folder, name).is_file()]
    if lost:
        raise BadInput(f"{kept.path(job.folder, lost[0])}: this kept file is gone, so step {kept.number} stays.")
    path = kept.path(job.folder, JOB_NAME)
    before, _ = parse_job_file(path.read_text(encoding="utf-8"), path)
    content = job.content
    for name in KEPT_VALUES:
        setattr(content, name, getattr(before, name))
    for name in KEPT_RESULTS:
        content.results.pop(name, None)
        content.results |= {name: before.results[name]} if name in before.results else {}
    with job.step(UNDO, undoes=kept.number) as stage:
        for name in KEPT_NAMES:
            if name in files:
                stage.copy_in(files[name], name)
            elif job.has(name):
                stage.remove(name)
        if PINS_FILE not in files:
            content.pins_sha256 = None
    _redraw(job)
    return f"Took back step {kept.number} ({kept.command}, {kept.at[:16].replace('T', ' ')}): {_what(kept)} as before."


def _wanted(job: Job, number: int | None) -> Kept:
    sets = kept_sets(job.folder)
    if number is not None:
        found = next((kept for kept in sets if kept.number == number), None)
        if found is None:
            raise BadInput(f"{job.folder}: no step {number} is kept. See: disc undo {job.folder} --list")
        return found
    below: int | None = None
    for kept in sets:
        if below is not None and kept.number >= below:
            continue
        if kept.of is None:
            return kept
        below = kept.of  # this step took back all from there on
    raise BadInput(f"{job.folder}: there is no step to take back.")


def _hand_edit_taken_back(job: Job) -> str:
    edited = [name for name in EDITED if job.has(WRITTEN[name]) and _is_edited(job, name)]
    if not edited:
        return ""
    with job.step("undo of an edit") as stage:
        for name in edited:
            if job.has(name):
                stage.copy_in(job.path(name), EDITED[name])
            stage.copy_in(job.path(WRITTEN[name]), name)
    return " ".join(
        f"{name} is again as it was before it was edited by hand; the edited table is kept as {EDITED[name]}."
        for name in edited
    )


def _is_edited(job: Job, name: str) -> bool:
    return not job.has(name) or job.path(name).read_bytes() != job.path(WRITTEN[name]).read_bytes()


def _redraw(job: Job) -> None:
    """The overlays show the pins in force again."""
    if not job.has(PINS_FILE) or not job.content.faces:
        return
    from disc.photo.sheets.redraw import stage_pictures

    with job.step("undo, drawn") as stage:
        stage_pictures(stage, job, job.pins())


def _what(kept: Kept) -> str:
    names = [name for name in kept.changed if name not in ("faces", "photos", "desk.json")]
    return f"{', '.join(names) or 'the job'} {'are' if len(names) > 1 else 'is'}"
