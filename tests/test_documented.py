"""Every module, and every name in disc/ that others may use, says what it does."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

DISC = Path(__file__).parents[1] / "disc"
Documented = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def undocumented(tree: ast.Module | ast.ClassDef, inside: str = "") -> Iterator[str]:
    """Public functions, classes and their methods without a docstring; properties' setters and overloads are none."""
    for node in tree.body:
        if not isinstance(node, Documented) or node.name.startswith("_"):
            continue
        if not ast.get_docstring(node):
            yield f"{inside}{node.name} (line {node.lineno})"
        if isinstance(node, ast.ClassDef):
            yield from undocumented(node, f"{node.name}.")


@pytest.mark.parametrize("path", sorted(DISC.rglob("*.py")), ids=lambda path: str(path.relative_to(DISC)))
def test_public_names_are_documented(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), "the module says nothing of itself"
    assert list(undocumented(tree)) == []


def test_a_missing_docstring_is_seen() -> None:
    made = ast.parse("class A:\n    'x'\n    def b(self): pass\n    def _c(self): pass\ndef d(): pass\n")
    assert [name.split()[0] for name in undocumented(made)] == ["A.b", "d"]
