"""What a report is made of: sections of a few kinds of blocks, which the PDF and the page set each in their own way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph. strong: it stands out; small: a remark."""

    text: str
    strong: bool = False
    small: bool = False


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list of short lines."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table. right: columns set flush right (numbers)."""

    heading: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture. data: JPEG, PNG or SVG; share: of the text's width; caption: its words, also for who cannot see it."""

    data: bytes
    suffix: str
    caption: str
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Row:
    """Pictures side by side."""

    pictures: tuple[Picture, ...]


Block = Words | Bullets | Table | Picture | Row


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the report. key: what it is called in --parts and in headings.py."""

    key: str
    blocks: tuple[Block, ...] = field(default_factory=tuple)


def table(heading: Sequence[str], rows: Sequence[Sequence[object]], right: Sequence[int] = ()) -> Table:
    """A table of anything that can be written as words; None becomes an empty cell, a column without words goes."""
    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    kept = [i for i in range(len(heading)) if any(row[i] for row in cells)] if cells else list(range(len(heading)))
    return Table(
        tuple(heading[i] for i in kept),
        tuple(tuple(row[i] for i in kept) for row in cells),
        frozenset(place for place, i in enumerate(kept) if i in right),
    )
