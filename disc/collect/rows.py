"""One row a disc: what a collection's table says of it, kept in a file of its own until the table is made."""

from __future__ import annotations

import csv
import hashlib
import json
import os
from collections.abc import Iterable
from dataclasses import dataclass, fields
from pathlib import Path
from types import NoneType
from typing import Any

DONE, FAILED = "done", "failed"
# Unless said otherwise: chosen by hand, not measured.
LARGEST = 1e9  # no measure or count of a disc comes near; a damaged row may hold anything


@dataclass(frozen=True, slots=True)
class DiscRow:
    """A disc's line in the table. Lengths in mm; an unknown is None, and empty says why. doubts: as doubt_cells.py
    writes them.

    The last four are for comparing and drawing, and stand in no table: pitched, teeth with a pitch; layout, see
    same_disc.py; photographs, digests of those of the faces (one picture of the bench may stand in many logs); picture,
    the file drawn of it, in the collection's folder.
    """

    name: str
    job: str
    status: str
    reason: str = ""
    diameter_mm: float | None = None
    pins_upper: int | None = None
    pins_lower: int | None = None
    sound: int | None = None
    bent: int | None = None
    stub: int | None = None
    missing: int | None = None
    extra: int | None = None
    tracks: int | None = None
    teeth: int | None = None
    inner_r_mm: float | None = None
    outer_r_mm: float | None = None
    track_gap_mm: float | None = None
    pin_diameter_mm: float | None = None
    tune_title: str | None = None
    tune_collection: str | None = None
    tune_file: str | None = None
    tune_number: str | None = None
    tune_probability: float | None = None
    maker: str | None = None
    number: str | None = None
    doubts: str = ""
    seconds: float | None = None
    empty: str = ""
    pitched: int | None = None
    layout: str = ""
    photographs: str = ""
    picture: str = ""


NAMES = tuple(field.name for field in fields(DiscRow))
UNSHOWN = ("pitched", "layout", "photographs", "picture")


def shown_names() -> tuple[str, ...]:
    """The columns of the table."""
    return tuple(name for name in NAMES if name not in UNSHOWN)


def as_line(row: DiscRow) -> dict[str, Any]:
    """The row's values by name. (dataclasses.asdict copies each value deeply, in thirty times the time.)"""
    return {name: getattr(row, name) for name in NAMES}


class RowStore:
    """Rows on disk, one small file each, renamed into place: a killed run loses at most the discs in hand."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def path(self, name: str, job: str) -> Path:
        """Where a disc's row is kept; spread over sub-folders, so that no folder grows large."""
        digest = hashlib.sha256(f"{name}\0{job}".encode()).hexdigest()
        return self._folder / digest[:2] / f"{digest[:32]}.json"

    def save(self, row: DiscRow, mark: str) -> None:
        """Keep a row; mark: the fingerprint of what it was made from."""
        path = self.path(row.name, row.job)
        waiting = path.with_suffix(f".{os.getpid()}.tmp")
        text = json.dumps({"mark": mark, "row": as_line(row)}, ensure_ascii=False)
        try:
            waiting.write_text(text, encoding="utf-8")
        except FileNotFoundError:  # the first row of its sub-folder
            path.parent.mkdir(parents=True, exist_ok=True)
            waiting.write_text(text, encoding="utf-8")
        os.replace(waiting, path)

    def load(self, name: str, job: str) -> tuple[DiscRow, str] | None:
        """(row, mark), or None if there is none or it is damaged (it is then made again)."""
        try:
            content = json.loads(self.path(name, job).read_text(encoding="utf-8"))
            row = DiscRow(**content["row"])
            return (row, str(content["mark"])) if _is_whole(row) else None
        except (OSError, ValueError, TypeError, KeyError, RecursionError):
            return None

    def is_done(self, name: str, job: str, mark: str) -> bool:
        """Whether this disc was worked through, from the same files, without a fault."""
        found = self.load(name, job)
        return found is not None and found[1] == mark and found[0].status == DONE


# Types that JSON may give a field, by its annotation; a bool is no number.
_KINDS: dict[str, tuple[type, ...]] = {
    "str": (str,),
    "str | None": (str, NoneType),
    "int | None": (int, NoneType),
    "float | None": (float, int, NoneType),
}


def _is_whole(row: DiscRow) -> bool:
    """Whether every value is of its field's kind and of a size to work with. Raises ValueError for half a letter."""
    for field in fields(row):
        value = getattr(row, field.name)
        if isinstance(value, bool) or not isinstance(value, _KINDS[str(field.type)]):
            return False
        if isinstance(value, str):
            value.encode("utf-8")
        elif (
            isinstance(value, (int, float)) and not abs(value) < LARGEST
        ):  # so written, it refuses what is not a number as well
            return False
    return True


def guarded(value: object) -> object:
    """A cell's value; words that a spreadsheet would take for a formula get an apostrophe before them."""
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value


def write_csv(path: Path, rows: Iterable[DiscRow]) -> None:
    """The table as CSV, written line by line and renamed into place."""
    waiting = path.with_suffix(".csv.tmp")
    with waiting.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        names = shown_names()
        writer.writerow(names)
        writer.writerows([guarded(getattr(row, name)) for name in names] for row in rows)  # an unknown is an empty cell
    os.replace(waiting, path)


def write_parquet(path: Path, rows: Iterable[DiscRow], at_once: int = 4096) -> bool:
    """The table as Parquet, in groups of rows; False if pyarrow (extra "collection") is not installed."""
    try:
        import pyarrow as arrow
        import pyarrow.parquet as parquet
    except ImportError:
        return False
    kinds = {"str": arrow.string(), "int | None": arrow.int64(), "float | None": arrow.float64()}
    schema = arrow.schema(
        [(f.name, kinds.get(str(f.type), arrow.string())) for f in fields(DiscRow) if f.name not in UNSHOWN]
    )
    waiting = path.with_suffix(".parquet.tmp")
    with parquet.ParquetWriter(waiting, schema) as writer:
        group: list[dict[str, Any]] = []
        for row in rows:
            group.append({name: getattr(row, name) for name in shown_names()})
            if len(group) == at_once:
                writer.write_table(arrow.Table.from_pylist(group, schema))
                group = []
        if group:
            writer.write_table(arrow.Table.from_pylist(group, schema))
    os.replace(waiting, path)
    return True
