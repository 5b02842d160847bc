"""out/tune.json: the tune as read, exactly, for the rooms that stand above (library, check, design, desk, report)."""

from __future__ import annotations

import json
from dataclasses import asdict
from fractions import Fraction
from pathlib import Path
from typing import Any

from disc.errors import BadInput
from disc.job import OUT_FOLDER, Job, Stage
from disc.records import Key, Metre, Note, Repeat, Tune, Voice
from disc.tables import read_text

TUNE_FILE = f"{OUT_FOLDER}/tune.json"
TUNE_SCHEMA = 1


def load_tune(job: Job) -> Tune | None:
    """The job's tune; None if nothing was transcribed yet. Raises BadInput if the file is damaged."""
    path = job.path(TUNE_FILE)
    return parse_tune(read_text(path, "tune"), path) if path.is_file() else None


def stage_tune(stage: Stage, tune: Tune) -> None:
    """Stage out/tune.json."""
    stage.write_text(TUNE_FILE, format_tune(tune))


def format_tune(tune: Tune) -> str:
    """The tune as JSON text; quarters are written as exact fractions ("3/2")."""
    content = {"schema": TUNE_SCHEMA} | asdict(tune)
    return json.dumps(content, indent=1, ensure_ascii=False, default=_exact) + "\n"


def parse_tune(text: str, path: Path) -> Tune:
    """The inverse of format_tune. Raises BadInput naming the file."""
    try:
        raw = json.loads(text)
        if raw["schema"] != TUNE_SCHEMA:
            raise BadInput(f"{path}: made by another version of this program. Run disc transcribe again.")
        return Tune(
            notes=tuple(_note(item) for item in raw["notes"]),
            metre=Metre(**raw["metre"]),
            key=Key(**raw["key"]),
            upbeat_quarter=Fraction(raw["upbeat_quarter"]),
            quarter_s=float(raw["quarter_s"]),
            start_s=float(raw["start_s"]),
            title=str(raw["title"]),
            repeats=tuple(Repeat(**item) for item in raw["repeats"]),
            pace=tuple((float(quarter), float(at_s)) for quarter, at_s in raw.get("pace", ())),
            held=tuple(Fraction(quarter) for quarter in raw.get("held", ())),
            slowing_quarter=None if (slow := raw.get("slowing_quarter")) is None else Fraction(slow),
        )
    except (ValueError, KeyError, TypeError, AttributeError, ArithmeticError, RecursionError) as error:
        raise BadInput(f"{path}: the tune is damaged ({error}). Run disc transcribe again.") from error


def _note(item: dict[str, Any]) -> Note:
    fixed = {
        "onset_quarter": Fraction(item["onset_quarter"]),
        "duration_quarter": Fraction(item["duration_quarter"]),
        "voice": Voice(item["voice"]),
        "pins": tuple(int(pin) for pin in item["pins"]),
    }
    return Note(**(item | fixed))


def _exact(value: object) -> str:
    if isinstance(value, Fraction):
        return str(value)
    raise TypeError(f"cannot store {type(value).__name__}")
