"""The report as one HTML page that needs no other file and no network, to keep or to send."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape

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

_MEDIA = {"jpg": "image/jpeg", "jpeg": "image/jpeg", "png": "image/png", "svg": "image/svg+xml"}

# Unless said otherwise: laid out by eye on printed pages.
LONG_WORD = 24  # letters; no word of the report's own sentences is longer

_STYLE = """
body{font:16px/1.5 Georgia,'Times New Roman',serif;color:#1c1c1c;background:#fff;max-width:56rem;margin:2rem auto;
padding:0 1.2rem}h1{font-size:1.8rem;margin-bottom:.2rem}h2{font-size:1.2rem;border-bottom:1px solid #777;
margin-top:2.2rem}table{border-collapse:collapse;font-size:.86rem;max-width:100%}
th{text-align:left;border-bottom:1px solid #555}th,td{padding:.25rem .5rem;vertical-align:top}
.long{overflow-wrap:anywhere}.r{text-align:right;white-space:nowrap}
figure{margin:.6rem 0}td:first-child,th:first-child{padding-left:0}
figcaption,.small{font-size:.82rem;color:#444}img{max-width:100%;height:auto}
.row{display:flex;flex-wrap:wrap;gap:.8rem}.row figure{flex:1 1 11rem}
.halves{display:flex;flex-wrap:wrap;gap:0 2.5rem}.scroll{overflow-x:auto;margin:.8rem 0}
.sign{margin-top:3rem;border-top:1px solid #333;width:22rem;max-width:100%;font-size:.82rem}
@media print{section{break-inside:auto}figure,tr{break-inside:avoid}}
"""


def page_of(name: str, sections: Sequence[ReportSection], language: Language, date: str) -> str:
    """The report's HTML text."""
    title = f"{heading('title', language)}: {name}"
    before, after = (
        "".join(
            f'<section id="{section.key}"><h2>{escape(heading(section.key, language))}</h2>'
            f"{''.join(_block(block) for block in section.blocks)}</section>"
            for section in part
        )
        for part in before_and_after_signature(sections)
    )
    contents = "".join(
        f'<li><a href="#{section.key}">{escape(heading(section.key, language))}</a></li>' for section in sections
    )
    return (
        f'<!doctype html><html lang="{language.value}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body><h1>{escape(title)}</h1>"
        f"<p>{escape(heading('date', language))}: {escape(date)}</p><nav><ul>{contents}</ul></nav>{before}"
        f'<p class="sign">{escape(heading("signature", language))}</p>{after}</body></html>\n'
    )


def _block(block: Block) -> str:
    if isinstance(block, Paragraph):
        kind = ' class="small"' if block.small else ""
        text = escape(block.text)
        return f"<p{kind}>{f'<strong>{text}</strong>' if block.strong else text}</p>"
    if isinstance(block, Bullets):
        return "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in block.items) + "</ul>"
    if isinstance(block, TableBlock):
        return _table(block)
    if isinstance(block, PictureBlock):
        return _figure(block)
    empty = "<figure></figure>" * (block.columns - len(block.pictures))  # the last row's pictures as wide as the others
    return f'<div class="row">{"".join(_figure(picture) for picture in block.pictures)}{empty}</div>'


def _table(block: TableBlock) -> str:
    """The table, or its halves side by side where the page is wide enough."""
    parts = [_one_table(part) for part in block.parts()]
    return parts[0] if len(parts) == 1 else f'<div class="halves">{"".join(parts)}</div>'


def _one_table(block: TableBlock) -> str:
    def cell(tag: str, index: int, text: str) -> str:
        long = any(len(word) > LONG_WORD for word in text.split())  # digests and file names may break anywhere
        kind = ' class="r"' if index in block.right else ' class="long"' if long else ""
        return f"<{tag}{kind}>{escape(text)}</{tag}>"

    head = ""
    if any(block.heading):
        head = "<thead><tr>" + "".join(cell("th", i, text) for i, text in enumerate(block.heading)) + "</tr></thead>"
    rows = "".join("<tr>" + "".join(cell("td", i, text) for i, text in enumerate(row)) + "</tr>" for row in block.rows)
    return f'<div class="scroll"><table>{head}<tbody>{rows}</tbody></table></div>'


def _figure(picture: PictureBlock) -> str:
    data = base64.b64encode(picture.data).decode()
    caption = escape(picture.caption)
    share = f"{100 * picture.share:.0f}%"
    width = f' style="width:max({share},min(100%,24rem))"' if picture.share < 1.0 else ""  # all of a small screen
    return (
        f'<figure><img alt="{caption}"{width} src="data:{_MEDIA[picture.suffix]};base64,{data}">'
        f"<figcaption>{caption}</figcaption></figure>"
    )
