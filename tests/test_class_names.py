"""A class name stands once in the whole package, so that a record is known by its name alone."""

from __future__ import annotations

import ast
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[1] / "disc"


def test_every_class_name_stands_once():
    named = Counter(
        node.name
        for path in ROOT.rglob("*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.ClassDef)
    )
    assert [name for name, count in named.items() if count > 1] == []
