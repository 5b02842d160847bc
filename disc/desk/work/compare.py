"""An earlier reading of the same disc beside the present one.

Three can be laid beside it: the photographs as first read, before a person corrected anything ("first"); the pins after
any step of the desk's history ("step-7"); and the job given with `disc desk JOB --earlier OTHER` ("other"), with its
own photographs.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from disc.desk.open_job.history import HISTORY_FILE, load_history, reconcile
from disc.desk.open_job.session import Session
from disc.desk.page.pins import page_pins
from disc.desk.page.views import sheets_of_job
from disc.errors import BadInput, MissingPart
from disc.job import PINS_FILE, Job, open_job
from disc.job.corrections import apply_corrections
from disc.records import Pin

if TYPE_CHECKING:
    from disc.check.compare import Changed


def comparison(session: Session, earlier: Path | None, which: str) -> dict[str, Any]:
    """{"pins": pins of the earlier reading, "differences": [...], "picture": sheet picture or null, "words": ...}."""
    job = session.job
    if job is None:
        raise MissingPart("There is no job here yet. Start one first.")
    from disc.check.compare import compare_pins  # brings in scipy

    before, words, picture = _earlier_pins(job, earlier, which)
    shown = page_pins(before, session.sheets, {})
    return {
        "words": words,
        "pins": list(shown.values()),
        "differences": [_told(change) for change in compare_pins(before, session.pins)],
        "picture": picture,
        "choices": choices(session, earlier),
    }


def choices(session: Session, earlier: Path | None) -> list[dict[str, str]]:
    """What can be laid beside the present pins: [{"name", "words"}]."""
    steps = [
        {"name": f"step-{count}", "words": f"after step {count}: {session.history.steps[count - 1].words}"}
        for count in range(1, session.history.done)
    ]
    first = [{"name": "first", "words": "as first read, before any correction"}]
    other = [{"name": "other", "words": f"the job {earlier.name}"}] if earlier else []
    return other + first + list(reversed(steps))


def _earlier_pins(job: Job, earlier: Path | None, which: str) -> tuple[tuple[Pin, ...], str, str | None]:
    if which == "other":
        if earlier is None:
            raise BadInput("no earlier job was given. Open the desk with: disc desk JOB --earlier OTHER")
        other = open_job(earlier)
        has_photo = any(sheet.picture for sheet in sheets_of_job(other).values())
        return other.pins(), f"the job {earlier.name}", "earlier-through" if has_photo else None
    reading = job.reading() or (job.pins() if job.has(PINS_FILE) else ())
    if which == "first":
        return reading, "as first read, before any correction", None
    count = which.removeprefix("step-")
    if not which.startswith("step-") or not count.isdigit():
        raise BadInput(f"there is no earlier reading called {which!r}.")
    done, undone = job.corrections()
    history = reconcile(load_history(job.path(HISTORY_FILE)), len(done), len(undone))
    until = sum(step.corrections for step in history.steps[: int(count)])
    return apply_corrections(reading, done[:until])[0], f"after step {count}", None


def _told(changed: Changed) -> dict[str, Any]:
    pin = changed.pin
    moved = f", {changed.moved_mm:.2f} mm" if changed.moved_mm else ""
    return {
        "change": changed.change.value,
        "words": f"{changed.change.value}{moved}: {pin.side.value}, {pin.r_mm:.2f} mm, {pin.theta_deg:.1f}°",
        "pin": changed.after.id if changed.after else None,
    }
