"""The put-back list: the steps of the bench log in reverse order, as a checklist with pictures (PDF and page)."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape
from pathlib import Path

from disc.job import Job
from disc.report.log import LogStep, in_order, load_log
from disc.report.pictures import small_jpeg
from disc.typeset import pdf_from_typst, typst_text
from disc.words import CAUTIONS

PDF_NAME = "out/put-back.pdf"
PAGE_NAME = "out/put-back.html"
HOW_TO_READ = "Each line undoes a step of the bench log, as it was noted on taking down; the last step comes first."
LAST_LINE = (
    "Last: when every part is back and every screw is in, wind a few clicks, and watch the fly before winding on."
)


def put_back_order(steps: Sequence[LogStep]) -> list[LogStep]:
    """What came off last goes on first; the log's first line (mainsprings let down) has nothing to put back."""
    return in_order(steps)[:0:-1]


def make_put_back(job: Job) -> list[LogStep]:
    """Write the checklist as PDF and as a page that needs no other file; returns the steps in their order."""
    steps = put_back_order(load_log(job))
    pictures = {name: small_jpeg(job.path(name)) for step in steps for name in step.photos}
    with job.step("log put-back") as stage:
        stage.write_bytes(PDF_NAME, _pdf(job.folder, steps, pictures))
        stage.write_text(PAGE_NAME, _page(job.folder, steps, pictures))
    return steps


def _pdf(folder: Path, steps: Sequence[LogStep], pictures: dict[str, bytes]) -> bytes:
    files: dict[str, bytes | str] = {}
    blocks = []
    for place, step in enumerate(steps, start=1):
        shown = []
        for name in step.photos:
            file_name = name.replace("/", "-").rsplit(".", 1)[0] + ".jpg"
            files[file_name] = pictures[name]
            shown.append(f'image("{file_name}", height: 48mm, fit: "contain")')
        lines = [f"text(weight: 700)[#{typst_text(f'{place}.  {step.note}')}]"]
        lines += [f"[#{typst_text(_part_words(part.name, part.screws))}]" for part in step.parts]
        lines.append(f"text(size: 8pt, fill: luma(90))[#{typst_text(f'step {step.number} of the log, {when(step)}')}]")
        tick = typst_text("×" if step.done else "")
        blocks.append(
            "#block(breakable: false, width: 100%, inset: (y: 3mm), stroke: (bottom: 0.4pt + luma(160)))[\n"
            "#grid(columns: (7mm, 1fr), gutter: 3mm,\n"
            f"  rect(width: 5mm, height: 5mm, stroke: 0.8pt)[#align(center + horizon)[#{tick}]],\n"
            f"  stack(dir: ttb, spacing: 2mm, {', '.join(lines + shown)}))]"
        )
    source = "\n".join(
        [
            '#set page(paper: "a4", margin: 18mm, numbering: "1 / 1")',
            '#set text(size: 10.5pt, lang: "en")',
            "#set document(date: none)",
            f"= Putting back: #{typst_text(folder.name)}",
            f"#block[#{typst_text(HOW_TO_READ)}]",
            *(f"#block[#text(size: 9pt)[#{typst_text(CAUTIONS[key])}]]" for key in ("train", "untouched")),
            *blocks,
            f"#block(above: 6mm)[#text(weight: 700)[#{typst_text(LAST_LINE)}]]",
        ]
    )
    return pdf_from_typst(source, files)


def _page(folder: Path, steps: Sequence[LogStep], pictures: dict[str, bytes]) -> str:
    rows = []
    for place, step in enumerate(steps, start=1):
        shown = "".join(
            f'<img alt="Photograph of step {step.number}" src="data:image/jpeg;base64,'
            f'{base64.b64encode(pictures[name]).decode()}">'
            for name in step.photos
        )
        parts = "".join(f"<li>{escape(_part_words(part.name, part.screws))}</li>" for part in step.parts)
        tick = " checked" if step.done else ""
        rows.append(
            f'<section><h2><label><input type="checkbox"{tick}> {place}. {escape(step.note)}</label></h2>'
            f"<ul>{parts}</ul>{shown}<p>step {step.number} of the log, {escape(when(step))}</p></section>"
        )
    cautions = "".join(f"<li>{escape(CAUTIONS[key])}</li>" for key in ("train", "untouched"))
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Putting back: {escape(folder.name)}</title><style>"
        "body{font:16px/1.5 system-ui,sans-serif;max-width:46rem;margin:2rem auto;padding:0 1rem;color:#1c1c1c}"
        "section{border-top:1px solid #999;padding:.5rem 0}h2{font-size:1.1rem}img{max-width:100%;max-height:24rem}"
        "input{width:1.3rem;height:1.3rem;vertical-align:-.2rem}@media print{section{break-inside:avoid}}"
        f"</style></head><body><h1>Putting back: {escape(folder.name)}</h1><p>{escape(HOW_TO_READ)}</p>"
        f"<ul>{cautions}</ul>"
        f"{''.join(rows)}<p><strong>{escape(LAST_LINE)}</strong></p></body></html>\n"
    )


def when(step: LogStep) -> str:
    """A step's time as a person writes it, to the minute."""
    return step.at[:16].replace("T", " ")


def _part_words(name: str, screws: str) -> str:
    return f"{name}: {screws}" if screws else name
