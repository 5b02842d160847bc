"""A report's sections in the reader's language: what rooms have said in English is said anew, block by block."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from html import escape, unescape

from disc.locale.said import Said
from disc.report.blocks import Block, Bullets, Paragraph, PictureBlock, PictureRow, ReportSection, TableBlock

Speaker = Callable[[str], str]
_SVG_WORDS = re.compile(r"(<text\b[^>]*>)([^<]+)(?=</text>)")  # of our own drawings; an engraved score parts its words
_PART_NAME = re.compile(r"(<tspan\b[^>]*>)Comb(?=</tspan>)")  # that name alone: all other words are the tune's own
# A person's own notes, and file names with commands: printed as they stand but for their tables' headings.
AS_WRITTEN = frozenset({"log", "provenance"})
# Doubts name the command that settles them: said where the whole line is known, else as they stand, never half of each.
WHOLE_LINES = frozenset({"doubts"})


def in_language(sections: Sequence[ReportSection], said: Said) -> tuple[ReportSection, ...]:
    """The sections in the language of `said`."""
    return tuple(
        replace(
            s,
            blocks=tuple(
                _block(b, _Whole(said) if s.key in WHOLE_LINES else said, s.key in AS_WRITTEN) for b in s.blocks
            ),
        )
        for s in sections
    )


class _Whole:
    """Says a line only if all of it is known."""

    def __init__(self, said: Said) -> None:
        self._said = said

    def __call__(self, words: str) -> str:
        """The words in the language, or as they are."""
        before = set(self._said.unknown)
        translated = self._said(words)
        if self._said.unknown == before:
            return translated
        self._said.unknown = before
        return words


def _block(block: Block, said: Speaker, as_written: bool) -> Block:
    if isinstance(block, TableBlock):
        heading = tuple(said(cell) for cell in block.heading)
        keep = as_written or block.own_words
        return replace(block, heading=heading, rows=block.rows if keep else _rows(block, said))
    if isinstance(block, PictureRow):
        return replace(block, pictures=tuple(_picture(picture, said) for picture in block.pictures))
    if isinstance(block, PictureBlock):
        return _picture(block, said)
    if as_written:
        return block
    if isinstance(block, Paragraph):
        return block if block.own_words else replace(block, text=said(block.text))
    assert isinstance(block, Bullets)
    return block if block.own_words else replace(block, items=tuple(said(item) for item in block.items))


def _rows(block: TableBlock, said: Speaker) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(said(cell) for cell in row) for row in block.rows)


def _picture(picture: PictureBlock, said: Speaker) -> PictureBlock:
    if picture.suffix != "svg":
        return replace(picture, caption=said(picture.caption))
    words = _SVG_WORDS.sub(lambda match: f"{match[1]}{escape(said(unescape(match[2])))}", picture.data.decode())
    words = _PART_NAME.sub(lambda match: f"{match[1]}{escape(said('comb').capitalize())}", words)
    return replace(picture, caption=said(picture.caption), data=words.encode())
