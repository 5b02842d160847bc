"""What stands in job.json, its schema version, and the steps from older versions.

A newer schema than this program knows is refused; an older one is migrated by job.py with a backup beside it.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from disc.errors import BadInput
from disc.records import Plate, Turns

SCHEMA_VERSION = 1


def now_text() -> str:
    """The present time in UTC, ISO 8601, to the second."""
    return datetime.now(UTC).replace(microsecond=0).isoformat()


class RunRecord(BaseModel):
    """One command that changed the job: what, when, with which program and inputs (SHA-256 by name)."""

    command: str
    at: str
    version: str
    inputs: dict[str, str] = Field(default_factory=dict)
    outputs: list[str] = Field(default_factory=list)


class PlateModel(BaseModel):
    """The plate as stored; limits that no watch movement exceeds."""

    model_config = ConfigDict(extra="forbid")

    diameter_mm: float = Field(gt=1.0, lt=200.0)
    turns: Turns = Turns.CLOCKWISE
    revolution_s: float = Field(default=45.0, gt=1.0, lt=600.0)
    rest_arc_deg: float = Field(default=14.0, ge=0.0, lt=180.0)
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
    def new(cls, plate: Plate, settings: dict[str, Any]) -> JobFile:
        """The content of a new job. Raises BadInput if a number of the plate cannot be right."""
        return cls(created=now_text(), plate=_plate_model(plate), settings=settings)

    def plate_record(self) -> Plate:
        """The plate as a record."""
        return Plate(**self.plate.model_dump())

    def set_plate(self, plate: Plate) -> None:
        """Store a changed plate. Raises BadInput if a number cannot be right."""
        self.plate = _plate_model(plate)

    def to_json(self) -> str:
        """The file's text."""
        return json.dumps(self.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"


def _plate_model(plate: Plate) -> PlateModel:
    try:
        return PlateModel(**asdict(plate))
    except ValidationError as error:
        raise BadInput(f"the plate's {_first_fault(error)}. Lengths are in millimetres, times in seconds.") from error


def _first_fault(error: ValidationError) -> str:
    fault = error.errors()[0]
    where = ".".join(str(part) for part in fault["loc"])
    given = f" (given: {fault['input']!r})" if not isinstance(fault["input"], dict | list) else ""
    return f"{where}: {fault['msg'].lower()}{given}"


# Steps from version n to n + 1, by n: each takes and returns the raw content.
MIGRATIONS: dict[int, Any] = {}


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
        return JobFile.model_validate(raw), old
    except ValidationError as error:
        raise BadInput(f"{path}: the job file is damaged: {_first_fault(error)}.") from error
