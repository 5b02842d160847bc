"""Every named number of disc/ says what it means and where it is from: beside it, above it, or above its group."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest

DISC = Path(__file__).parents[1] / "disc"
NAME = re.compile(r"_?[A-Z][A-Z0-9_]*")
NO_WORD = re.compile(r"#\s*(fmt|noqa|type|ruff)\b")  # addressed to tools


def is_number(value: ast.expr) -> bool:
    """Whether a value is a number, or numbers alone, bare or in a call such as np.array."""
    match value:
        case ast.Constant():
            return isinstance(value.value, int | float) and not isinstance(value.value, bool)
        case ast.UnaryOp():
            return is_number(value.operand)
        case ast.BinOp():
            return is_number(value.left) or is_number(value.right)
        case ast.Tuple() | ast.List():
            return bool(value.elts) and all(is_number(one) for one in value.elts)
        case ast.Call():
            return any(is_number(one) for one in value.args)
    return False


def named(statement: ast.stmt) -> tuple[list[str], ast.expr | None]:
    """The constants that a statement of the module names, and their value."""
    if isinstance(statement, ast.Assign):
        targets: list[ast.expr] = statement.targets
    elif isinstance(statement, ast.AnnAssign):
        targets = [statement.target]
    else:
        return [], None
    parts = [one for target in targets for one in (target.elts if isinstance(target, ast.Tuple) else [target])]
    return [one.id for one in parts if isinstance(one, ast.Name) and NAME.fullmatch(one.id)], statement.value


def without_a_word(source: str) -> Iterator[str]:
    """Named numbers with no comment on their lines, directly above, or above the group they stand in without a gap."""
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    comments = [t for t in tokens if t.type == tokenize.COMMENT and not NO_WORD.match(t.string)]
    told = {t.start[0] for t in comments}
    alone = {t.start[0] for t in comments if t.line.lstrip().startswith("#")}
    group_end, group_told = 0, False
    for statement in ast.parse(source).body:
        names, value = named(statement)
        last = statement.end_lineno or statement.lineno
        above = statement.lineno - 1 in alone or (group_told and group_end == statement.lineno - 1)
        group_end, group_told = last, above and bool(names)
        beside = not told.isdisjoint(range(statement.lineno, last + 1))
        if names and value is not None and is_number(value) and not above and not beside:
            yield f"{', '.join(names)} (line {statement.lineno})"


@pytest.mark.parametrize("path", sorted(DISC.rglob("*.py")), ids=lambda path: str(path.relative_to(DISC)))
def test_named_numbers_say_what_they_are(path: Path) -> None:
    assert list(without_a_word(path.read_text(encoding="utf-8"))) == []


def test_a_number_without_a_word_is_seen() -> None:
    made = (
        "# What the two mean.\nA = 1\nB = 2.0\n\nC = 3\nD = 4  # of these\nE, F = np.array([1, 2]), -1\n\n"
        "WORDS = ('a',)\nG = 5  # noqa: E741\nH = (\n    1,  # the one\n    2,\n)\n"
    )
    assert [name.split(" (")[0] for name in without_a_word(made)] == ["C", "E, F", "G"]
