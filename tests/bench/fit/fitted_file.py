"""Writing the fitted files that disc/fitted.py reads: one part at a time, the others as they were."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

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


def stored_trees(model: Any) -> dict[str, Any]:
    """Boosted trees of scikit-learn as disc/trees.py reads them: what is asked, where, and what is said."""
    trees = []
    for (predictor,) in model._predictors:
        nodes = predictor.nodes
        trees.append(
            {
                "feature": [int(v) for v in nodes["feature_idx"]],
                "at": [round(float(v), 5) if np.isfinite(v) else 1e9 for v in nodes["num_threshold"]],
                "left": [int(v) for v in nodes["left"]],
                "right": [int(v) for v in nodes["right"]],
                "value": [round(float(v), 5) for v in nodes["value"]],
                "leaf": [int(v) for v in nodes["is_leaf"]],
            }
        )
    return {"base": float(model._baseline_prediction.ravel()[0]), "trees": trees}
