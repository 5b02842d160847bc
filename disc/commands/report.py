"""`disc report`: the condition report."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from disc.words import counted, progress, say, show_json


def report(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    parts: Annotated[str, typer.Option(help="Parts to include, parted by commas; all if not given.")] = "",
    language: Annotated[str, typer.Option(help="Language of the report: en, de or fr.")] = "en",
    publication: Annotated[
        bool, typer.Option("--publication", help="A copy without owner, customer and what else is about persons.")
    ] = False,
    compare: Annotated[Path | None, typer.Option(help="An earlier job of the same disc, before the work.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """The condition report: one PDF and one self-contained page."""
    from disc.doubts import doubt_line, doubts_to_json
    from disc.errors import BadInput
    from disc.job import open_for_writing
    from disc.report.about_doubts import doubts_of_job
    from disc.report.condition import make_report, report_names
    from disc.report.headings import PARTS, Language

    if language not in list(Language):
        raise BadInput(f"--language is {language!r}; it must be one of {', '.join(Language)}.")
    wanted = [part.strip() for part in parts.split(",") if part.strip()] or PARTS
    with open_for_writing(job) as opened, progress("report", quiet=as_json) as advance:
        doubts = doubts_of_job(opened)
        sections = make_report(opened, wanted, Language(language), compare, publication, advance, doubts)
        made = [opened.path(name) for name in report_names(wanted, Language(language), publication)]
    if as_json:
        show_json({"parts": [section.key for section in sections], "files": made} | {"doubts": doubts_to_json(doubts)})
        return
    say(*map(doubt_line, doubts))
    say(f"Condition report with {counted(len(sections), 'part')}: {', '.join(section.key for section in sections)}.")
    say(*(f"  {path}" for path in made))
