"""Every named number of disc/ says what it means, beside it or directly above it, and where it is from.

The origin may stand in one line over those below it: "Unless said otherwise: chosen by hand ...; not fitted".
"""

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
STANDING = "# Unless said otherwise:"  # for the numbers below it in a module
# Words by which a comment says where a number is from. That they are true is for the reader to judge: the test only
# sees to it that each number says one of: measured, fitted, published, given by definition, chosen.
ORIGIN = re.compile(
    r"measured|fitted|same fit|regression|trained|chosen|choices|by eye|by ear|laid out|drawn (combs|turns|recordings)"
    r"|common practice|no source|source|handbook|from memory|standard|theory of music|by definition|exact|order of"
    r"|rendered|development|training half|tuning (half|recordings)|practice discs|corpus|bench|tried|\bseeds? \d"
    r"|\b[hp][1-8]\b|did worse|\b(1[89]|20)\d\d\b|\b(ISO|IEC|DIN|NIST|ANSI|ASTM|CIPA|Exif|DXF|General MIDI)\b"
    r"|Knuth|hardly depends|likewise|as said (above|beside)",
    re.IGNORECASE,
)
NO_WORD = re.compile(r"#\s*(fmt|noqa|type|ruff)\b.*")  # addressed to tools


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
        case ast.Dict():
            return bool(value.values) and all(is_number(one) for one in value.values)
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


def numbers_told(source: str) -> Iterator[tuple[str, str, bool]]:
    """Each named number with the words beside it and directly above it, and whether a standing line is over it."""
    lines = source.splitlines()
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    comments = {t.start[0]: NO_WORD.sub("", t.string) for t in tokens if t.type == tokenize.COMMENT}
    standing = min((at for at, words in comments.items() if words.startswith(STANDING)), default=len(lines))
    for statement in ast.parse(source).body:
        names, value = named(statement)
        if not names or value is None or not is_number(value):
            continue
        above = statement.lineno - 1
        while above in comments and lines[above - 1].lstrip().startswith("#"):
            above -= 1
        told = [comments[at] for at in range(above + 1, (statement.end_lineno or 0) + 1) if at in comments]
        words = " ".join(line for line in told if not line.startswith(STANDING)).strip()
        yield f"{', '.join(names)} (line {statement.lineno})", words, standing < statement.lineno


def without_a_word(source: str) -> Iterator[str]:
    """Named numbers with no comment on their lines or directly above: the comment of the number above is none."""
    return (name for name, words, _ in numbers_told(source) if not words)


def without_an_origin(source: str) -> Iterator[str]:
    """Named numbers whose words name no origin, and over which no standing line does."""
    return (name for name, words, standing in numbers_told(source) if not standing and not ORIGIN.search(words))


@pytest.mark.parametrize("path", sorted(DISC.rglob("*.py")), ids=lambda path: str(path.relative_to(DISC)))
def test_named_numbers_say_what_they_are_and_where_from(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    assert list(without_a_word(source)) == []
    assert list(without_an_origin(source)) == []


def test_a_number_without_a_word_is_seen() -> None:
    made = (
        "# What the first means.\nA = 1\nB = 2.0\n\nC = {1: 3}\nD = 4  # of these\nE, F = np.array([1, 2]), -1\n\n"
        "WORDS = ('a',)\nG = 5  # noqa: E741\nH = (\n    1,  # the one\n    2,\n)\n"
    )
    assert [name.split(" (")[0] for name in without_a_word(made)] == ["B", "C", "E, F", "G"]


def test_a_number_without_an_origin_is_seen() -> None:
    made = (
        "A = 1  # mm, chosen by hand\nB = 2  # mm\n# Half of A.\n# Measured on ten discs.\nC = 3\nD = 4\n"
        "# Unless said otherwise: chosen by hand.\nE = 5  # mm\n"
    )
    assert [name.split(" (")[0] for name in without_an_origin(made)] == ["B", "D"]
