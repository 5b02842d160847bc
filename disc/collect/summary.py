"""The files of a collection, from its rows: table (CSV and Parquet), what the discs have in common, the page.

This is work that no second worker can share, so each row is read once and turned into a line once.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from disc.collect.doubt_cells import collected_doubts
from disc.collect.groups import same_habits, same_tune
from disc.collect.items import Item
from disc.collect.page import collection_page
from disc.collect.rows import DONE, RowStore, write_csv, write_parquet
from disc.collect.same_disc import same_disc
from disc.locale.catalogue import Language
from disc.records import Doubt

PAGE_NAME = "index.html"


@dataclass(frozen=True, slots=True)
class Summary:
    """The files written, counts of what they say, and what is in doubt."""

    files: tuple[Path, ...]
    failed: int
    tunes_shared: int
    makers_shared: int
    twice: int
    doubts: tuple[Doubt, ...]


def write_summary(home: Path, items: Sequence[Item], store: RowStore, language: Language = Language.EN) -> Summary:
    """Write the tables and groups of all discs that have a row into `home`, each file whole or not at all."""
    home.mkdir(parents=True, exist_ok=True)
    found = (store.load(item.name, str(item.job)) for item in items)
    rows = [one[0] for one in found if one is not None]  # about 2 KB a disc
    table, columns, groups = home / "collection.csv", home / "collection.parquet", home / "groups.json"
    write_csv(table, rows)
    files = [table, columns] if write_parquet(columns, rows) else [table]
    tunes, makers, twice = same_tune(rows), same_habits(rows), same_disc(rows)
    shared = {"same_disc": twice, "same_tune": tunes, "same_habits": makers}
    _write(groups, json.dumps(shared, indent=1, ensure_ascii=False) + "\n")
    page = home / PAGE_NAME
    _write(page, collection_page(home, rows, twice, language))
    failed = sum(row.status != DONE for row in rows)
    counts = len(tunes), len(makers), len(twice)
    return Summary((*files, groups, page), failed, *counts, collected_doubts(rows))


def _write(path: Path, text: str) -> None:
    waiting = path.with_suffix(".tmp")
    waiting.write_text(text, encoding="utf-8")
    os.replace(waiting, path)
