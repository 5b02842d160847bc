"""The condition report of a job: its parts gathered, set as PDF and as a page, and stored as one step."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from disc.errors import BadInput
from disc.job import Job, open_job
from disc.job.schema import now_text
from disc.job.stale import stale_results
from disc.locale.catalogue import reader
from disc.locale.said import said_in
from disc.records import Doubt
from disc.report import about_doubts, about_music, about_object, about_work
from disc.report.blocks import ReportSection
from disc.report.headings import PARTS, Language
from disc.report.in_language import in_language
from disc.report.page import page_of
from disc.report.pdf import pdf_of
from disc.report.places import pictures_of_findings
from disc.words import Advance, no_progress


def report_names(parts: Sequence[str], language: Language, for_publication: bool) -> tuple[str, str]:
    """(PDF, page) of a report in the job; only the whole report in English has the plain names."""
    marks = ["report"]
    marks += ["parts"] if set(parts) != set(PARTS) else []
    marks += ["publication"] if for_publication else []
    marks += [language.value] if language is not Language.EN else []
    return f"out/{'-'.join(marks)}.pdf", f"out/{'-'.join(marks)}.html"


def make_report(
    job: Job,
    parts: Sequence[str] = PARTS,
    language: Language = Language.EN,
    before: Path | None = None,
    for_publication: bool = False,
    advance: Advance = no_progress,
    doubts: Sequence[Doubt] | None = None,
) -> tuple[ReportSection, ...]:
    """Write the report as PDF and page (see report_names); returns the parts that had something to say, in order.

    parts: keys of headings.PARTS. before: an earlier job of the same disc to compare with. for_publication: without
    owner, customer and what else is about persons. doubts: where they are known already. Raises
    BadInput for a part that is none.
    """
    unknown = [part for part in parts if part not in PARTS]
    if unknown:
        raise BadInput(f"the report has no part {unknown[0]!r}; it has {', '.join(PARTS)}.")
    made = gather(job, parts, before, language, for_publication, doubts)
    sections = in_language(made, said_in(language))
    advance(0.5, "setting the pages")
    date = reader(language).date(now_text()) if language is not Language.EN else now_text()[:10]
    pdf_name, page_name = report_names(parts, language, for_publication)
    with job.step("report") as stage:
        stage.write_bytes(pdf_name, pdf_of(job.folder.name, sections, language, date))
        stage.write_text(page_name, page_of(job.folder.name, sections, language, date))
    return sections


def gather(
    job: Job,
    parts: Sequence[str] = PARTS,
    before: Path | None = None,
    language: Language = Language.EN,
    for_publication: bool = False,
    doubts: Sequence[Doubt] | None = None,
) -> tuple[ReportSection, ...]:
    """The wanted parts in their order, those left out that have nothing to say; what is stale is marked as such."""
    makers: dict[str, Callable[[], ReportSection | None]] = {
        "doubts": lambda: about_doubts.doubts_part(
            about_doubts.doubts_of_job(job) if doubts is None else doubts, language
        ),
        "object": lambda: about_object.object_part(job, reader(language), for_publication),
        "photographs": lambda: about_object.photograph_part(job),
        "map": lambda: about_object.map_part(job),
        "comb": lambda: about_music.comb_part(job, language),
        "tune": lambda: about_music.tune_part(job),
        "findings": lambda: about_work.finding_part(job, pictures_of_findings(job)),
        "plan": lambda: about_work.plan_part(job),
        "estimate": lambda: about_work.estimate_part(job),
        "comparison": lambda: None if before is None else about_work.comparison_part(open_job(before), job),
        "log": lambda: about_work.log_part(job, reader(language)),
        "measuring": lambda: about_object.measuring_part(job),
        "cautions": about_object.caution_part,
        "provenance": lambda: about_object.provenance_part(job),
    }
    made = (makers[part]() for part in PARTS if part in parts)
    stale = stale_results(job)
    return tuple(about_doubts.marked_stale(section, stale) for section in made if section is not None)
