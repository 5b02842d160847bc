"""The report as PDF, set with typst: A4, numbered pages, room for a signature."""

from __future__ import annotations

from collections.abc import Sequence

from disc.report.blocks import (
    Block,
    Bullets,
    Paragraph,
    PictureBlock,
    ReportSection,
    TableBlock,
    before_and_after_signature,
)
from disc.report.headings import Language, heading
from disc.typeset import pdf_from_typst, typst_text

_STYLE = """
#set page(paper: "a4", margin: (x: 20mm, top: 20mm, bottom: 22mm), footer: context text(size: 8.5pt, fill: luma(70))[
  #{title}, #{date} #h(1fr) #counter(page).display("1 / 1", both: true)])
#set text(size: 10pt, lang: "{language}", hyphenate: false)
#set par(leading: 0.6em)
#set document(date: none, title: {title})
#show heading.where(level: 1): it => block(below: 6mm, text(size: 20pt, weight: 600, it.body))
#show heading.where(level: 2): it => block(above: 8mm, below: 3.5mm, width: 100%, stroke: (bottom: 0.6pt + luma(120)),
  inset: (bottom: 1.2mm), text(size: 12.5pt, weight: 600, it.body))
#show figure.caption: it => text(size: 8.5pt, fill: luma(70), it.body)
#set table(stroke: none, inset: (x: 1.5mm, y: 1.1mm))
#show table.cell: set text(size: 8.5pt)
#show table.cell: set block(breakable: false)
"""

# Unless said otherwise: laid out by eye on printed pages.
# A column up to this wide is a number, a date or a word: it is set as wide as it needs. So are columns of numbers.
NARROW_LETTERS = 16
# A column up to this wide holds a few words: it is as wide as its longest word and this many letters need, so that it
# neither runs into the next column nor pushes a short one to the far edge.
MIDDLE_LETTERS = 34
LETTER_MM = 1.75  # mean width of the table's letters at 8.5 pt, with some to spare for wide ones; measured on a page
CELL_MM = 3.0  # left and right of the words
# Beyond this a sentence gains nothing from a still wider column at the cost of the others.
WIDEST_LETTERS = 110


def pdf_of(name: str, sections: Sequence[ReportSection], language: Language, date: str) -> bytes:
    """The report's PDF. name: the object's; date: as it shall stand on the first page."""
    files: dict[str, bytes | str] = {}
    colon = "\u00a0:" if language is Language.FR else ":"
    title = f"{heading('title', language)}{colon} {name}"
    style = _STYLE.replace("{language}", language.value).replace("{date}", typst_text(date))
    parts = [style.replace("{title}", typst_text(title))]
    parts.append(f"= #{typst_text(title)}")
    parts.append(f"#{typst_text(heading('date', language) + colon)} #{typst_text(date)}")
    sign = (
        "#block(breakable: false, above: 14mm, below: 10mm)[#line(length: 80mm, stroke: 0.6pt)\n"
        f"#text(size: 8.5pt)[#{typst_text(heading('signature', language))}]]"
    )
    before, after = before_and_after_signature(sections)
    for section in (*before, None, *after):
        if section is None:
            parts.append(sign)
            continue
        parts.append(f"== #{typst_text(heading(section.key, language))}")
        parts += [_block(block, files) for block in section.blocks]
    return pdf_from_typst("\n\n".join(parts), files)


def _block(block: Block, files: dict[str, bytes | str]) -> str:
    if isinstance(block, Paragraph):
        size = "8.5pt" if block.small else "10pt"
        weight = "600" if block.strong else "400"
        return f"#block[#text(size: {size}, weight: {weight})[#{typst_text(block.text)}]]"
    if isinstance(block, Bullets):
        return "\n".join(f"- #{typst_text(item)}" for item in block.items)
    if isinstance(block, TableBlock):
        made = [_table(part) for part in block.parts()]
        if len(made) == 1:
            return made[0]
        return f"#block(breakable: false)[#grid(columns: (1fr, 1fr), gutter: 6mm, {', '.join(f'[{m}]' for m in made)})]"
    if isinstance(block, PictureBlock):
        return _figure(block, files, f"{100 * block.share:.0f}%")
    figures = ", ".join(_figure(picture, files, "100%").removeprefix("#") for picture in block.pictures)
    columns = "1fr, " * block.columns
    return f"#block(breakable: false)[#grid(columns: ({columns}), gutter: 4mm, {figures})]"


def _table(block: TableBlock) -> str:
    columns = len(block.heading)
    align = ", ".join("right" if i in block.right else "left" for i in range(columns))
    # The widest words get the room: columns of numbers are as wide as they need, the others share the rest.
    widest = [max((len(row[i]) for row in (block.heading, *block.rows)), default=0) for i in range(columns)]
    longest = [
        max((len(w) for row in (block.heading, *block.rows) for w in row[i].split()), default=0) for i in range(columns)
    ]
    if columns <= 2 and sum(widest) <= WIDEST_LETTERS // 2:  # a name and a few words: nothing is in their way
        widths = ", ".join(["auto"] * columns)
    else:
        widths = ", ".join(_width(widest[i], longest[i], i in block.right) for i in range(columns))
    head = ""
    if any(block.heading):
        cells = ", ".join(f"[*#{typst_text(cell)}*]" for cell in block.heading)
        head = f"table.header({cells}), table.hline(stroke: 0.5pt), "
    cells = ", ".join(f"[#{typst_text(_breakable(cell))}]" for row in block.rows for cell in row)
    return f"#table(columns: ({widths},), align: ({align},), {head}{cells})"


def _width(widest: int, longest_word: int, is_number: bool) -> str:
    """How wide a column is set, by the letters of its widest cell and of its longest word."""
    if is_number or widest <= NARROW_LETTERS:
        return "auto"
    if widest <= MIDDLE_LETTERS:
        return f"{LETTER_MM * max(longest_word, NARROW_LETTERS) + CELL_MM:.1f}mm"
    return f"{min(widest, WIDEST_LETTERS)}fr"


def _breakable(cell: str) -> str:
    """Long words without a space (digests, file names) may break anywhere: zero-width spaces between their parts."""
    return " ".join(
        "\u200b".join(word[i : i + 16] for i in range(0, len(word), 16)) if len(word) > 24 else word
        for word in cell.split(" ")
    )


def _figure(picture: PictureBlock, files: dict[str, bytes | str], width: str) -> str:
    name = f"picture-{len(files) + 1}.{picture.suffix}"
    files[name] = picture.data
    words = typst_text(picture.caption)
    shown = f'image("{name}", width: {width}, alt: {words})'
    return f"#figure({shown}, caption: [#{words}], supplement: none, numbering: none)"
