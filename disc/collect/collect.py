"""A whole collection: every disc worked through once, then the table and what the discs have in common."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from disc.collect.items import find_items, fingerprint
from disc.collect.one_disc import DiscTask
from disc.collect.rows import FAILED, DiscRow, RowStore
from disc.collect.runners import run_here, run_on_cluster
from disc.locale.catalogue import Language
from disc.records import Doubt
from disc.words import Advance, no_progress

WORK_FOLDER = "collection"
ROWS_FOLDER = "rows"


@dataclass(frozen=True, slots=True)
class Collected:
    """How a run went: discs made now, there already, failed; the files; what is in doubt."""

    discs: int
    made: int
    kept: int
    failed: int
    files: tuple[Path, ...]
    tunes_shared: int
    makers_shared: int
    twice: int = 0
    doubts: tuple[Doubt, ...] = ()


def collect(
    folder: Path,
    diameter_mm: float | None = None,
    workers: int = 2,
    scheduler: str | None = None,
    identify: bool = True,
    advance: Advance = no_progress,
    language: Language = Language.EN,
) -> Collected:
    """Work through a folder of jobs and photograph pairs; may be stopped anywhere and run again.

    Raises BadInput if there is nothing to do or no scheduler answers.
    """
    home = folder / WORK_FOLDER
    items = find_items(folder, home / "jobs", diameter_mm)
    store = RowStore(home / ROWS_FOLDER)
    tasks = (DiscTask(item, home / ROWS_FOLDER, identify) for item in items)
    results = run_on_cluster(tasks, scheduler) if scheduler else run_here(tasks, workers)
    made = 0
    for count, (task, was_made) in enumerate(results, start=1):
        if was_made is None:
            reason = "the work on this disc killed its worker each time (too little memory?)"
            store.save(DiscRow(task.item.name, str(task.item.job), FAILED, reason), fingerprint(task.item))
        made += was_made is not False
        advance(count / len(items), task.item.name)
        if count == 1:  # while the workers are busy
            _load_libraries_of_the_summary()
    from disc.collect.summary import write_summary

    summary = write_summary(home, items, store, language)
    return Collected(
        len(items),
        made,
        len(items) - made,
        summary.failed,
        summary.files,
        summary.tunes_shared,
        summary.makers_shared,
        summary.twice,
        summary.doubts,
    )


def _load_libraries_of_the_summary() -> None:
    """They take a quarter of a second."""
    import disc.collect.summary  # noqa: F401

    with suppress(ImportError):  # then there will be no Parquet table
        import pyarrow.parquet  # noqa: F401
