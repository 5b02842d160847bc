"""object.json of a job: read, changed, written here and nowhere else. Words only, whatever language they are in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from disc.errors import BadInput
from disc.job import Job
from disc.object.fields import BY_KEY, FIELDS
from disc.stored import Stored

OBJECT_FILE = "object.json"
# Unless said otherwise: chosen by hand, not measured.
LONGEST = 4000  # characters of a field; a description is a few sentences


@dataclass(frozen=True, slots=True)
class _Sheet:
    fields: dict[str, str]


OBJECT: Stored[_Sheet] = Stored("object's sheet", _Sheet, "Restore it from a backup.")


def load_object(job: Job) -> dict[str, str]:
    """The fields that are filled in, by key, in the sheet's order. Raises BadInput if the file is damaged."""
    found = OBJECT.load(job.path(OBJECT_FILE))
    return {} if found is None else _in_order(found)


def parse_object(text: str, path: Path) -> dict[str, str]:
    """The text of object.json as fields. Raises BadInput naming the file."""
    return _in_order(OBJECT.parse(text, path))


def _in_order(sheet: _Sheet) -> dict[str, str]:
    given = sheet.fields
    return {field.key: _checked(field.key, given[field.key]) for field in FIELDS if given.get(field.key)}


def change_object(job: Job, given: Mapping[str, str]) -> dict[str, str]:
    """Fill in fields and store them as one step; an empty text takes a field back. Returns the sheet."""
    unknown = [key for key in given if key not in BY_KEY]
    if unknown:
        raise BadInput(f"the object's sheet has no field {unknown[0]!r}; it has {', '.join(BY_KEY)}.")
    merged = load_object(job) | {key: _checked(key, value.strip()) for key, value in given.items()}
    kept = {field.key: merged[field.key] for field in FIELDS if merged.get(field.key)}
    with job.step("object") as stage:
        stage.write_text(OBJECT_FILE, OBJECT.text(_Sheet(kept)))
    return kept


def _checked(key: str, value: str) -> str:
    option = f"--{key.replace('_', '-')}"
    if len(value) > LONGEST:
        raise BadInput(f"{option}: {len(value)} letters are too many; {LONGEST} are room for a page.")
    if value and BY_KEY[key].is_date:
        try:
            date.fromisoformat(value)
        except ValueError:
            raise BadInput(f"{option} is {value[:40]!r}, not a day. Write it as 2026-05-01.") from None
    return value
