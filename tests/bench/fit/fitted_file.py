"""Writing the fitted files that disc/fitted.py reads: one part at a time, the others as they were."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from disc.fitted import MADE, Made

DEEPEST, WIDEST = 2, 100  # a line for each entry of a table so deep and wider: what changed is then seen in a diff


def add_out(parser: argparse.ArgumentParser, shipped: Path) -> None:
    """--out FILE: where the parts are written; without it they are printed only. `--out shipped`: into the program."""
    parser.add_argument("--out", type=lambda word: shipped if word == "shipped" else Path(word), default=None)


def write_parts(file: Path, parts: dict[str, Any], made: dict[str, Made]) -> None:
    """Put these parts, and how they were made, into a fitted file; its other parts stay."""
    content = json.loads(file.read_text(encoding="utf-8")) if file.is_file() else {}
    all_made = content.pop(MADE, {}) | {part: asdict(one) for part, one in made.items()}
    content |= parts
    file.write_text(text_of({MADE: all_made} | content), encoding="utf-8")


def text_of(value: Any, depth: int = 0) -> str:
    """JSON with a line for each entry of the outer tables."""
    plain = json.dumps(value, ensure_ascii=False)
    if not isinstance(value, dict) or depth > DEEPEST or len(plain) <= WIDEST:
        return plain
    pad = " " * (depth + 1)
    lines = [f"{pad}{json.dumps(str(key))}: {text_of(one, depth + 1)}" for key, one in value.items()]
    return "{\n" + ",\n".join(lines) + "\n" + " " * depth + "}" + ("\n" if depth == 0 else "")
