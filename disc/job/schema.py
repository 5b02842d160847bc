"""What stands in job.json, its schema version, and the steps from older versions.

A newer schema than this program knows is refused; an older one is migrated by job.py with a backup beside it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from disc.errors import BadInput
from disc.records import USUAL, Plate, Turns
from disc.results import StepResult
from disc.stored import first_fault

# Of job.json; raise with every change of its meaning, with a step from the version before; by definition.
SCHEMA_VERSION = 2
R = TypeVar("R", bound=StepResult)


def now_text() -> str:
    """The present time in UTC, ISO 8601, to the second."""
    return datetime.now(UTC).replace(microsecond=0).isoformat()


class RunRecord(BaseModel):
    """One command that changed the job: what, when, with which program and inputs (SHA-256 by name).

    made_from: where it made a result, all that this rests on (made_from.py).
    """

    command: str
    at: str
    version: str
    inputs: dict[str, str] = Field(default_factory=dict)
    outputs: list[str] = Field(default_factory=list)
    made_from: dict[str, str] = Field(default_factory=dict)


class PlateModel(BaseModel):
    """The plate as stored; limits that no watch movement exceeds. None: nobody gave it."""

    model_config = ConfigDict(extra="forbid")

    diameter_mm: float | None = Field(default=None, gt=1.0, lt=200.0)
    turns: Turns | None = None
    revolution_s: float | None = Field(default=None, gt=1.0, lt=600.0)
    rest_arc_deg: float | None = Field(default=None, ge=0.0, lt=180.0)
    thickness_mm: float | None = Field(default=None, gt=0.0, lt=10.0)
    bore_mm: float | None = Field(default=None, gt=0.0, lt=100.0)
    slot_width_mm: float | None = Field(default=None, gt=0.0, lt=20.0)
    slot_depth_mm: float | None = Field(default=None, gt=0.0, lt=20.0)


class JobFile(BaseModel):
    """job.json."""

    model_config = ConfigDict(extra="forbid")

    schema_version: int = SCHEMA_VERSION
    created: str = ""
    plate: PlateModel
    settings: dict[str, Any] = Field(default_factory=dict)
    photos: dict[str, str] = Field(default_factory=dict, description="SHA-256 by name in photos/")
    faces: dict[str, Any] = Field(default_factory=dict, description="what the photo reader found of each view")
    results: dict[str, Any] = Field(default_factory=dict, description="what each later step found, by step")
    runs: list[RunRecord] = Field(default_factory=list)
    pins_sha256: str | None = None

    @classmethod
    def new(cls, plate: Plate | dict[str, Any], settings: dict[str, Any]) -> JobFile:
        """The content of a new job; plate: a record, or what is known of it by name.

        Raises BadInput if a number of the plate cannot be right.
        """
        model = checked_plate(plate) if isinstance(plate, dict) else _plate_model(plate)
        return cls(created=now_text(), plate=model, settings=settings)

    def plate_record(self) -> Plate | None:
        """The plate as a record, what nobody gave at what is usual and named as assumed; None without a diameter."""
        return None if self.plate.diameter_mm is None else Plate.known(**self.plate.model_dump())

    def set_plate(self, plate: Plate) -> None:
        """Store a changed plate. Raises BadInput if a number cannot be right."""
        self.plate = _plate_model(plate)

    def change_plate(self, values: dict[str, Any]) -> None:
        """Lay values over the plate, None forgetting one. Raises BadInput if a number cannot be right."""
        self.plate = checked_plate(self.plate.model_dump() | values)

    def result(self, kind: type[R]) -> R | None:
        """What the last run of a step left; None if it has not run. Raises BadInput if that is damaged."""
        raw = self.results.get(kind.STEP)
        if raw is None:
            return None
        try:
            return kind.model_validate(raw)
        except ValidationError as error:
            why = first_fault(error)
            raise BadInput(f"job.json: the result {kind.STEP!r} is damaged ({why}). Run {kind.AGAIN} again.") from error

    def keep(self, result: StepResult) -> None:
        """Leave a step's result, in place of its last one."""
        self.results[result.STEP] = result.model_dump(mode="json", exclude_unset=True)

    def to_json(self) -> str:
        """The file's text."""
        return self.model_dump_json(indent=1) + "\n"


def _plate_model(plate: Plate) -> PlateModel:
    values = {name: value for name, value in asdict(plate).items() if name != "assumed" and name not in plate.assumed}
    return checked_plate(values)


def checked_plate(values: dict[str, Any]) -> PlateModel:
    """Values of a plate, held against what a movement can have. Raises BadInput naming the first that cannot be."""
    try:
        return PlateModel(**values)
    except ValidationError as error:
        raise BadInput(f"the plate's {first_fault(error)}. Lengths are in millimetres, times in seconds.") from error


# Steps from version n to n + 1, by n: each takes and returns the raw content.
def _values_nobody_gave(raw: dict[str, Any]) -> dict[str, Any]:
    """Schema 1 filled in what was not given; what stands at that value may never have been said, so it is asked."""
    plate = raw.get("plate")
    if not isinstance(plate, dict):
        return raw
    told = {name: value for name, value in plate.items() if name not in USUAL or value != USUAL[name]}
    return raw | {"schema_version": 2, "plate": told}


MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {1: _values_nobody_gave}


def parse_job_file(text: str, path: Path) -> tuple[JobFile, int | None]:
    """(content, version migrated from or None). Raises BadInput if it is damaged or from a newer program."""
    try:
        raw = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{path}: the job file is damaged ({error}). Restore it from a backup.") from error
    version = raw.get("schema_version") if isinstance(raw, dict) else None
    if not isinstance(version, int) or isinstance(version, bool):
        raise BadInput(f"{path}: this is not a job file (no schema_version).")
    if version > SCHEMA_VERSION:
        raise BadInput(
            f"{path}: made by a newer version of this program (schema {version}, this one knows {SCHEMA_VERSION}). "
            "Update the program."
        )
    old = version if version < SCHEMA_VERSION else None
    while version < SCHEMA_VERSION:
        if version not in MIGRATIONS:
            raise BadInput(f"{path}: schema {version} was never shipped; the file is damaged.")
        raw = MIGRATIONS[version](raw)
        version += 1
    try:
        content = JobFile.model_validate(raw)
    except ValidationError as error:
        raise BadInput(f"{path}: the job file is damaged: {first_fault(error)}.") from error
    _check_kinds(content, path)
    return content, old


# Settings that are tables of their own; the photo reader's places are lists; those of the tune are one value.
TABLES = frozenset({"repin", "design"})
ONE_VALUE = frozenset({"metre", "key", "upbeat", "beats", "quarter_deg", "title", "order", "tip_limit", "comb.draft"})


def _check_kinds(content: JobFile, path: Path) -> None:
    """Raises BadInput for a setting or a result of a kind that no step could have written."""
    for name, value in content.settings.items():
        if name in TABLES and not isinstance(value, dict):
            raise BadInput(f"{path}: settings: {name} must be a table, not {str(value)[:40]!r}. Take it out.")
        if name in ONE_VALUE and not isinstance(value, str | int | float | bool):
            said = str(value)[:40]
            raise BadInput(f"{path}: settings: {name} must be a value, not {said!r}. Take that entry out.")
    if (limit := content.settings.get("tip_limit")) is not None and not _is_number(limit):
        raise BadInput(f"{path}: settings: tip_limit must be degrees, not {str(limit)[:40]!r}. Take that entry out.")
    for name, value in content.results.items():
        if not isinstance(value, dict):
            raise BadInput(f"{path}: results: {name} must be a table, not {str(value)[:40]!r}. Take it out.")


def _is_number(value: object) -> bool:
    try:
        return math.isfinite(float(str(value)))
    except ValueError:
        return False
