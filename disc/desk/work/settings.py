"""What a person fixes by hand for the reading of the tune: metre, key, upbeat, title. Set, shown, undone like edits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from disc.desk.open_job.changes import setting_change
from disc.desk.open_job.history import ValueChange
from disc.errors import BadInput
from disc.job import Job
from disc.tune.score.files.safety import LONGEST_TITLE
from disc.tune.settings import parse_key, parse_length, parse_metre

TUNE_SETTINGS = ("metre", "key", "upbeat", "beats", "title")


def settings_shown(job: Job) -> dict[str, Any]:
    """Settings by the names the page uses; empty text where the program decides."""
    return {name: str(job.settings.get(name, "") or "") for name in TUNE_SETTINGS}


def settings_changes(job: Job, session: Any, asked: Mapping[str, Any]) -> tuple[ValueChange, ...]:
    """Changes of settings that a person asks for. Raises BadInput for one that cannot be read."""
    changes = []
    for name, value in asked.items():
        if name not in TUNE_SETTINGS:
            raise BadInput(f"{name!r} cannot be set here.")
        text = " ".join(str(value or "").split())[:LONGEST_TITLE]
        if text:
            {"metre": parse_metre, "key": parse_key, "upbeat": parse_length}.get(name, str)(text)
        if name == "beats" and text and not text.isdigit():
            raise BadInput(f"the number of beats {text!r} cannot be read. Write a whole number, such as 64.")
        changes.append(setting_change(job, name, (int(text) if name == "beats" else text) if text else None))
    return tuple(changes)
