"""A whole collection: every disc worked through once, then the table and what the discs have in common."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from disc.collect.groups import same_habits, same_tune
from disc.collect.items import Item, find_items, fingerprint
from disc.collect.one_disc import Task
from disc.collect.rows import DONE, FAILED, Row, RowStore, write_csv, write_parquet
from disc.collect.runners import run_here, run_on_cluster
from disc.words import Advance, no_progress

WORK_FOLDER = "collection"
ROWS_FOLDER = "rows"


@dataclass(frozen=True, slots=True)
class Collected:
    """How a run went: discs made now, discs that stood there already, discs that failed, and the files."""

    discs: int
    made: int
    kept: int
    failed: int
    files: tuple[Path, ...]
    tunes_shared: int
    makers_shared: int


def collect(
    folder: Path,
    diameter_mm: float | None = None,
    workers: int = 2,
    scheduler: str | None = None,
    identify: bool = True,
    advance: Advance = no_progress,
) -> Collected:
    """Work through a folder of jobs and photograph pairs; may be stopped anywhere and run again.

    Raises BadInput if there is nothing to do or no scheduler answers.
    """
    home = folder / WORK_FOLDER
    items = find_items(folder, home / "jobs", diameter_mm)
    store = RowStore(home / ROWS_FOLDER)
    tasks = (Task(item, home / ROWS_FOLDER, identify) for item in items)
    results = run_on_cluster(tasks, scheduler) if scheduler else run_here(tasks, workers)
    made = 0
    for count, (task, was_made) in enumerate(results, start=1):
        if was_made is None:
            reason = "the work on this disc killed its worker each time (too little memory?)"
            store.save(Row(task.item.name, str(task.item.job), FAILED, reason), fingerprint(task.item))
        made += was_made is not False
        advance(count / len(items), task.item.name)
    return _sum_up(home, items, store, made)


def _sum_up(home: Path, items: Sequence[Item], store: RowStore, made: int) -> Collected:
    home.mkdir(parents=True, exist_ok=True)
    table, columns = home / "collection.csv", home / "collection.parquet"
    rows = list(_rows(items, store))  # about 2 KB a disc
    write_csv(table, rows)
    files = [table]
    if write_parquet(columns, rows):
        files.append(columns)
    tunes, makers = same_tune(rows), same_habits(rows)
    groups = home / "groups.json"
    waiting = groups.with_suffix(".tmp")
    content = json.dumps({"same_tune": tunes, "same_habits": makers}, indent=1, ensure_ascii=False)
    waiting.write_text(content + "\n", encoding="utf-8")
    os.replace(waiting, groups)
    failed = sum(row.status != DONE for row in rows)
    return Collected(len(items), made, len(items) - made, failed, (*files, groups), len(tunes), len(makers))


def _rows(items: Sequence[Item], store: RowStore) -> Iterator[Row]:
    for item in items:
        found = store.load(item.name, str(item.job))
        if found is not None:
            yield found[0]
