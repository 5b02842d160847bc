"""The bench log: dated steps of taking the movement down, with photographs, parts and their own screws.

Kept in log.json of the job; photographs are copied to photos/log/, untouched. Steps stand in the order in which their
photographs were taken (EXIF), or were added where there is none; a step that was put behind another stays there. The
first line of every log is to let the mainsprings down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from disc.errors import BadInput
from disc.job import LOG_ONLY_SETTING, Job, Stage, create_job, sha256_of
from disc.locale.catalogue import mark
from disc.report.pictures import open_picture, taken_at
from disc.stored import Stored

LOG_FILE = "log.json"
LOG_PHOTOS = "photos/log"
FIRST_STEP = 1  # steps are numbered from one, as people count; the first is the caution below; by definition
FIRST_NOTE = mark(
    "Let the mainsprings down, before the fly, the endless screw or any wheel of the music train is freed."
)


@dataclass(frozen=True, slots=True)
class Part:
    """A part taken off, and the screws (or pins) that belong to it alone."""

    name: str
    screws: str = ""


@dataclass(frozen=True, slots=True)
class LogStep:
    """One step at the bench. at: ISO time; photos: names in the job folder; done: put back (ticked).

    after: the number of the earlier written step that this one was put behind; None where the time says its place.
    """

    number: int
    at: str
    note: str
    parts: tuple[Part, ...] = ()
    photos: tuple[str, ...] = ()
    done: bool = False
    after: int | None = None


def begin_log(folder: Path) -> bool:
    """Make a job that holds only a log, where there is no folder yet, or an empty one. Returns whether it was made.

    Taking down begins before anything is known of the disc, so the log does not wait for `disc start`.
    """
    if folder.is_dir() and any(folder.iterdir()):
        return False
    create_job(folder, settings={LOG_ONLY_SETTING: True})
    return True


def load_log(job: Job) -> tuple[LogStep, ...]:
    """The steps in order; a new log holds its first line only. Raises BadInput if log.json is damaged."""
    found = LOG.load(job.path(LOG_FILE))
    return (LogStep(FIRST_STEP, job.content.created, FIRST_NOTE),) if found is None else found.steps


@dataclass(frozen=True, slots=True)
class _Log:
    steps: tuple[LogStep, ...]


def _check_log(log: _Log) -> None:
    """A step stands behind one written before it; only so has every step a place. Its photographs lie in the log's
    folder: a log that came from elsewhere must not make the report show other files. Raises ValueError."""
    numbers = {step.number for step in log.steps}
    for step in log.steps:
        if step.after is not None and (step.after not in numbers or step.after >= step.number):
            raise ValueError(f"step {step.number} stands after {step.after}, which was not written before it")
        for name in step.photos:
            parts = Path(name).parts
            if Path(name).is_absolute() or ".." in parts or not name.startswith(f"{LOG_PHOTOS}/"):
                raise ValueError(f"{name!r} is not in {LOG_PHOTOS}")


LOG: Stored[_Log] = Stored("bench log", _Log, "Restore it from a backup.", check=_check_log)


def in_order(steps: Sequence[LogStep]) -> list[LogStep]:
    """The first line, then the steps by their time; equal times keep the order in which they were added.

    A step with a place of its own stands right behind the step it names.
    """
    first, *rest = sorted(steps, key=lambda step: step.number)
    ordered = [first, *sorted((step for step in rest if step.after is None), key=lambda step: step.at[:19])]
    for step in rest:
        if step.after is not None:
            before = next(i for i, other in enumerate(ordered) if other.number == step.after)
            ordered.insert(before + 1, step)
    return ordered


def part_from_words(words: str) -> Part:
    """A part as a person writes it: "fly bridge: 2 short blued screws"."""
    name, _, screws = words.partition(":")
    if not name.strip():
        raise BadInput(f'{words!r}: name the part, then its screws, as in "fly bridge: 2 short screws".')
    return Part(name.strip(), screws.strip())


def check_step(note: str, photos: Sequence[Path] = (), parts: Sequence[str] = ()) -> tuple[Part, ...]:
    """The parts that a step to be added names. Raises BadInput if it says nothing or a photograph cannot be opened."""
    if not (note.strip() or photos or parts):
        raise BadInput("a step of the log needs a --note, a --photo or a --part.")
    named = tuple(part_from_words(words) for words in parts)
    for photo in photos:
        open_picture(photo)
    return named


def add_step(
    job: Job, note: str, photos: Sequence[Path] = (), parts: Sequence[str] = (), after: int | None = None
) -> LogStep:
    """Add a step to the log; its time is the earliest photograph's, or now; after: put it right behind this step.

    Raises BadInput; then nothing is added.
    """
    named = check_step(note, photos, parts)
    steps = load_log(job)
    if after is not None:
        _find_step(job, steps, after)
    number = max(step.number for step in steps) + 1
    at = min([time for time in map(taken_at, photos) if time], default=_now_at_the_bench(steps))
    names = tuple(f"{LOG_PHOTOS}/{number:03d}-{i}{photo.suffix.lower()}" for i, photo in enumerate(photos, start=1))
    step = LogStep(number, at, note.strip(), named, names, after=after)
    with job.step("log add", tuple(photos)) as stage:
        for photo, name in zip(photos, names, strict=True):
            stage.copy_in(photo, name)
            job.content.photos[name.removeprefix("photos/")] = sha256_of(photo)
        _stage_log(stage, [*steps, step])
    return step


def _now_at_the_bench(steps: Sequence[LogStep]) -> str:
    """Local time without zone, as cameras write it: notes and photographs sort together. Never before an older step."""
    now = datetime.now().replace(microsecond=0).isoformat()
    return max([now, *(step.at[:19] for step in steps[1:])])


def edit_step(
    job: Job, number: int, note: str | None = None, parts: Sequence[str] | None = None, done: bool | None = None
) -> LogStep:
    """Change a step's words or parts, or tick it. Raises BadInput if there is no such step."""
    steps = list(load_log(job))
    found = _find_step(job, steps, number)
    changed = replace(
        found,
        note=found.note if note is None else note.strip(),
        parts=found.parts if parts is None else tuple(part_from_words(words) for words in parts),
        done=found.done if done is None else done,
    )
    steps[steps.index(found)] = changed
    with job.step("log edit") as stage:
        _stage_log(stage, steps)
    return changed


def _find_step(job: Job, steps: Sequence[LogStep], number: int) -> LogStep:
    """The step of this number. Raises BadInput naming those there are."""
    for step in steps:
        if step.number == number:
            return step
    have = ", ".join(str(step.number) for step in steps)
    raise BadInput(f"the log has no step {number}; it has {have}. See: disc log {job.folder} list")


def _stage_log(stage: Stage, steps: Sequence[LogStep]) -> None:
    stage.write_text(LOG_FILE, LOG.text(_Log(tuple(steps))))
