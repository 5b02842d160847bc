"""Fitted numbers come back through here: one JSON file a room, which says for each of its parts how it was made.

    {"made": {part: {"script": ..., "arguments": ..., "seed": ..., "data": ..., "score": ...}}, part: numbers}

What a room chose by hand stands as named constants in its code; what a script fitted stands in such a file, so that
`python -m tests.bench.fit.refit` can fit any of it again and say whether the shipped numbers are what comes out.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from disc.errors import MissingPart

MADE = "made"


@dataclass(frozen=True, slots=True)
class Made:
    """How a part was fitted. script: a module under tests/bench/fit. arguments: its command line, without --out.

    data: what it was fitted on and what was left out. score: what it got right on what was left out. note: where the
    numbers are not exactly what the script gives, why.
    """

    script: str
    arguments: str
    seed: int | None
    data: str
    score: str
    note: str = ""


def fitted_part(file: Path, part: str) -> Any:
    """The numbers of one part of a fitted file, as JSON gives them. Raises MissingPart where the file is not there."""
    return _content(file)[part]


def made_parts(file: Path) -> dict[str, Made]:
    """How each part of a fitted file was made, by part, in the file's order."""
    return {part: Made(**made) for part, made in _content(file)[MADE].items()}


@cache
def _content(file: Path) -> dict[str, Any]:
    if not file.is_file():
        raise MissingPart(f"{file}: a part of this program is missing. Install the package again.")
    content = json.loads(file.read_text(encoding="utf-8"))
    return content if isinstance(content, dict) else {}
