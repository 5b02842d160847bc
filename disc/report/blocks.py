"""What a report is made of: sections of a few kinds of blocks, which the PDF and the page set each in their own way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

# Unless said otherwise: laid out by eye on printed pages.
# A shorter table gains nothing from being halved.
LEAST_HALVED = 8
ANNEX = "provenance"


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph. strong: it stands out; small: a remark; own_words: said in the reader's language already."""

    text: str
    strong: bool = False
    small: bool = False
    own_words: bool = False


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list of short lines. own_words: said in the reader's language already."""

    items: tuple[str, ...]
    own_words: bool = False


@dataclass(frozen=True, slots=True)
class TableBlock:
    """A table. right: columns set flush right (numbers); halved: narrow and long, set as two side by side.

    own_words: what a person wrote, in whatever language; it is printed as it stands.
    """

    heading: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: frozenset[int] = frozenset()
    halved: bool = False
    own_words: bool = False

    def parts(self) -> tuple[TableBlock, ...]:
        """The table, or its two halves where it is set as such and long enough."""
        if not self.halved or len(self.rows) < LEAST_HALVED:
            return (replace(self, halved=False),)
        half = (len(self.rows) + 1) // 2
        return tuple(replace(self, rows=rows, halved=False) for rows in (self.rows[:half], self.rows[half:]))


@dataclass(frozen=True, slots=True)
class PictureBlock:
    """A picture. data: JPEG, PNG or SVG; share: of the text's width; caption: its words, also for who cannot see it."""

    data: bytes
    suffix: str
    caption: str
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class PictureRow:
    """Pictures side by side. columns: how many would fill the width; fewer pictures leave room at the right."""

    pictures: tuple[PictureBlock, ...]
    columns: int


Block = Paragraph | Bullets | TableBlock | PictureBlock | PictureRow


@dataclass(frozen=True, slots=True)
class ReportSection:
    """A part of the report. key: what it is called in --parts and in headings.py."""

    key: str
    blocks: tuple[Block, ...] = field(default_factory=tuple)


def before_and_after_signature(sections: Sequence[ReportSection]) -> tuple[list[ReportSection], list[ReportSection]]:
    """What is signed for, and the list of files, which follows it so that a signature never stands alone on a page."""
    annex = [section for section in sections if section.key == ANNEX]
    return [section for section in sections if section.key != ANNEX], annex


def rows_of(pictures: Sequence[PictureBlock], columns: int) -> list[Block]:
    """Pictures in rows, all of one width."""
    return [PictureRow(tuple(pictures[i : i + columns]), columns) for i in range(0, len(pictures), columns)]


def table(
    heading: Sequence[str], rows: Sequence[Sequence[object]], right: Sequence[int] = (), halved: bool = False
) -> TableBlock:
    """A table of anything that can be written as words; None becomes an empty cell, a column without words goes."""
    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    kept = [i for i in range(len(heading)) if any(row[i] for row in cells)] if cells else list(range(len(heading)))
    return TableBlock(
        tuple(heading[i] for i in kept),
        tuple(tuple(row[i] for i in kept) for row in cells),
        frozenset(place for place, i in enumerate(kept) if i in right),
        halved,
    )
