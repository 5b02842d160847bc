"""A report's sections in the reader's language: what rooms have said in English is said anew, block by block."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from disc.locale.said import Said
from disc.report.blocks import Block, Bullets, Picture, Row, Section, Table, Words

# A person's own notes, file names with commands, and doubts, which name the command that settles them: printed as they
# stand but for their tables' headings.
AS_WRITTEN = frozenset({"log", "provenance", "doubts"})


def in_language(sections: Sequence[Section], said: Said) -> tuple[Section, ...]:
    """The sections in the language of `said`."""
    return tuple(replace(s, blocks=tuple(_block(b, said, s.key in AS_WRITTEN) for b in s.blocks)) for s in sections)


def _block(block: Block, said: Said, as_written: bool) -> Block:
    if isinstance(block, Table):
        heading = tuple(said(cell) for cell in block.heading)
        keep = as_written or block.own_words
        return replace(block, heading=heading, rows=block.rows if keep else _rows(block, said))
    if isinstance(block, Row):
        return replace(block, pictures=tuple(_picture(picture, said) for picture in block.pictures))
    if isinstance(block, Picture):
        return _picture(block, said)
    if as_written:
        return block
    if isinstance(block, Words):
        return replace(block, text=said(block.text))
    assert isinstance(block, Bullets)
    return replace(block, items=tuple(said(item) for item in block.items))


def _rows(block: Table, said: Said) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(said(cell) for cell in row) for row in block.rows)


def _picture(picture: Picture, said: Said) -> Picture:
    return replace(picture, caption=said(picture.caption))
