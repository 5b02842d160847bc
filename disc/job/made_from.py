"""What a stored result was made from, noted with the step that made it; stale.py holds it against what is in force."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from pathlib import Path

from disc.job.schema import ONE_VALUE, JobFile
from disc.job.stage import Stage

PINS = "pins.csv"
COMB = "comb.csv"
TUNE = "out/tune.json"
FINDINGS = "out/findings.json"
PLAN = "out/plan.json"
LISTEN = "out/listen.json"
DECISIONS = "decisions.json"
FILES = (PINS, COMB, TUNE, FINDINGS, LISTEN, DECISIONS, PLAN)
RESULTS = (TUNE, FINDINGS, PLAN, LISTEN)
# Results known by the step that made them: the library's answer stands in job.json, and papers have many names.
IDENTIFY = "identify"
REPORT = "report"
OFFER = "offer"
DRILL = "drill"
BY_STEP = (IDENTIFY, REPORT, OFFER, DRILL)
MUSIC = "settings of the music"
ACCEPTED = "the accepted tune"
OF_PLACES = {"bars", "section_deg", "notes"}  # said of single bars and notes
PLATE = "plate "  # with the value's name behind it
NOTHING = ""  # there was no such file, or nobody had given the value


def makes_result(command: str, outputs: Iterable[str]) -> bool:
    """Whether a step made one of the results. What the desk puts back it did not make."""
    return command != "desk" and (command in BY_STEP or any(name in RESULTS for name in outputs))


def made_from(folder: Path, content: JobFile, stage: Stage | None = None) -> dict[str, str]:
    """Files by their SHA-256, the plate by its values, settings by a digest; with what a step has staged so far."""
    found = {name: _digest_of(folder, name, stage) for name in FILES}
    for name, value in content.plate.model_dump(mode="json").items():
        found[PLATE + name] = NOTHING if value is None else str(value)
    names = sorted((ONE_VALUE | OF_PLACES) - {"comb.draft"})
    music = {name: content.settings[name] for name in names if name in content.settings}
    accepted = content.settings.get("tune.accepted")
    found[MUSIC] = _digest(music) if music else NOTHING
    found[ACCEPTED] = _digest(accepted) if accepted else NOTHING
    return found


def _digest(value: object) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True).encode()).hexdigest()


def _digest_of(folder: Path, name: str, stage: Stage | None) -> str:
    path = stage.path(name) if stage is not None and name in stage.names else folder / name
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else NOTHING
