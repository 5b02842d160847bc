"""out/plan.json: the plan as a file, written and read here and nowhere else. The desk and the report use load_plan."""

from __future__ import annotations

import json
from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from disc.job import OUT_FOLDER, Job, Stage
from disc.repin.records import Plan
from disc.stored import Stored
from disc.words import plain

PLAN_FILE = f"{OUT_FOLDER}/plan.json"
# "in_doubt" of a station stands in the file for whoever reads it, and follows from the rest.
PLAN: Stored[Plan] = Stored("plan", Plan, "Run disc repin JOB again.", schema=2)


def load_plan(job: Job) -> Plan | None:
    """The job's plan; None if disc repin was not run yet. Raises BadInput if the file is damaged."""
    return PLAN.load(job.path(PLAN_FILE))


def stage_plan(stage: Stage, plan: Plan) -> None:
    """Stage out/plan.json."""
    stage.write_text(PLAN_FILE, format_plan(plan))


def format_plan(plan: Plan) -> str:
    """The plan as JSON text; beats stay exact, as "5/2"."""
    content = {"schema": PLAN.schema} | TypeAdapter(Plan).dump_python(plan, mode="python")
    for entry, station in zip(content["stations"], plan.stations, strict=True):
        entry["in_doubt"] = station.in_doubt
    return json.dumps(content, indent=1, ensure_ascii=False, default=_plain) + "\n"


def parse_plan(text: str, path: Path) -> Plan:
    """The inverse of format_plan. Raises BadInput naming the file."""
    return PLAN.parse(text, path)


def stations_to_json(plan: Plan) -> list[dict[str, Any]]:
    """The stations as `disc repin --json` gives them: as in out/plan.json."""
    stations: list[dict[str, Any]] = json.loads(format_plan(plan))["stations"]
    return stations


def _plain(value: Any) -> Any:
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, Enum):
        return value.value
    return plain(value)
