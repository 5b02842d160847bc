"""The put-back list: the steps of the bench log in reverse order, as a checklist with pictures (PDF and page)."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape
from pathlib import Path

from disc.job import Job
from disc.locale.catalogue import Language, Reader, mark, reader
from disc.locale.said import said_in
from disc.report.log import LogStep, in_order, load_log
from disc.report.pictures import small_jpeg
from disc.typeset import pdf_from_typst, typst_text
from disc.words import CAUTIONS, Advance, no_progress

HOW_TO_READ = mark(
    "Each line undoes a step of the bench log, as it was noted on taking down; the last step comes first."
)
LAST_LINE = mark(
    "Last: when every part is back and every screw is in, wind a few clicks, and watch the fly before winding on."
)
CAUTIONED = ("train", "untouched")


def put_back_names(language: Language = Language.EN) -> tuple[str, str]:
    """The checklist's files in the job, PDF and page; each language has its own."""
    stem = "out/put-back" if language is Language.EN else f"out/put-back-{language.value}"
    return f"{stem}.pdf", f"{stem}.html"


def put_back_order(steps: Sequence[LogStep]) -> list[LogStep]:
    """What came off last goes on first; the log's first line (mainsprings let down) has nothing to put back."""
    return in_order(steps)[:0:-1]


def make_put_back(job: Job, language: Language = Language.EN, advance: Advance = no_progress) -> list[LogStep]:
    """Write the checklist as PDF and as a page that needs no other file; returns the steps in their order.

    The program's own words are in the reader's language; notes and parts stay as they were written.
    """
    steps = put_back_order(load_log(job))
    names = [name for step in steps for name in step.photos]
    pictures = {}
    for count, name in enumerate(names):
        advance(0.8 * count / len(names), name)
        pictures[name] = small_jpeg(job.path(name))
    advance(0.8, "the checklist")
    pdf_name, page_name = put_back_names(language)
    with job.step("log put-back") as stage:
        stage.write_bytes(pdf_name, _pdf(job.folder, steps, pictures, language))
        stage.write_text(page_name, _page(job.folder, steps, pictures, language))
    return steps


def _pdf(folder: Path, steps: Sequence[LogStep], pictures: dict[str, bytes], language: Language) -> bytes:
    t = reader(language)
    files: dict[str, bytes | str] = {}
    blocks = []
    for place, step in enumerate(steps, start=1):
        shown = []
        for name in step.photos:
            file_name = name.replace("/", "-").rsplit(".", 1)[0] + ".jpg"
            files[file_name] = pictures[name]
            shown.append(f'image("{file_name}", height: 48mm, fit: "contain")')
        lines = [f"text(weight: 700)[#{typst_text(_line(place, step))}]"]
        lines += [f"[#{typst_text(_part_words(part.name, part.screws, t))}]" for part in step.parts]
        lines.append(f"text(size: 8pt, fill: luma(90))[#{typst_text(_origin(step, t))}]")
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
            f'#set text(size: 10.5pt, lang: "{language.value}")',
            "#set document(date: none)",
            f"= #{typst_text(_title(folder, t))}",
            f"#block[#{typst_text(t(HOW_TO_READ))}]",
            *(f"#block[#text(size: 9pt)[#{typst_text(words)}]]" for words in _cautions(language)),
            *blocks,
            f"#block(above: 6mm)[#text(weight: 700)[#{typst_text(t(LAST_LINE))}]]",
        ]
    )
    return pdf_from_typst(source, files)


def _page(folder: Path, steps: Sequence[LogStep], pictures: dict[str, bytes], language: Language) -> str:
    t = reader(language)
    rows = []
    for place, step in enumerate(steps, start=1):
        pictured = escape(t("Photograph of step {n}", n=step.number))
        shown = "".join(
            f'<img alt="{pictured}" src="data:image/jpeg;base64,{base64.b64encode(pictures[name]).decode()}">'
            for name in step.photos
        )
        parts = "".join(f"<li>{escape(_part_words(part.name, part.screws, t))}</li>" for part in step.parts)
        listed = f"<ul>{parts}</ul>" if parts else ""
        tick = " checked" if step.done else ""
        rows.append(
            f'<section><h2><label><input type="checkbox"{tick}> {escape(_line(place, step))}</label></h2>'
            f"{listed}{shown}<p>{escape(_origin(step, t))}</p></section>"
        )
    cautions = "".join(f"<li>{escape(words)}</li>" for words in _cautions(language))
    title = escape(_title(folder, t))
    return (
        f'<!doctype html><html lang="{language.value}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>"
        "body{font:16px/1.5 system-ui,sans-serif;max-width:46rem;margin:2rem auto;padding:0 1rem;color:#1c1c1c}"
        "section{border-top:1px solid #999;padding:.5rem 0}h2{font-size:1.1rem}img{max-width:100%;max-height:24rem}"
        "input{width:1.3rem;height:1.3rem;vertical-align:-.2rem}@media print{section{break-inside:avoid}}"
        f"</style></head><body><h1>{title}</h1><p>{escape(t(HOW_TO_READ))}</p>"
        f"<ul>{cautions}</ul>"
        f"{''.join(rows)}<p><strong>{escape(t(LAST_LINE))}</strong></p></body></html>\n"
    )


def _title(folder: Path, t: Reader) -> str:
    return t("Putting back: {name}", name=folder.resolve().name)


def _cautions(language: Language) -> list[str]:
    return [said_in(language)(CAUTIONS[key]) for key in CAUTIONED]


def _line(place: int, step: LogStep) -> str:
    return f"{place}.  {step.note}".rstrip()


def _origin(step: LogStep, t: Reader) -> str:
    """Which step of the log it undoes, and when that was, to the minute."""
    return t("step {n} of the log, {date}, {time}", n=step.number, date=t.date(step.at), time=step.at[11:16])


def _part_words(name: str, screws: str, t: Reader) -> str:
    return t("{part}: {screws}", part=name, screws=screws) if screws else name
