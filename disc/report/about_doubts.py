"""The report's first part: what was not seen, what was assumed, and what rests on things that have changed since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from disc.doubts import doubt_in, in_order, untried_lines
from disc.errors import MissingPart
from disc.job import Job
from disc.job.made_from import FINDINGS, IDENTIFY, LISTEN, PLAN, REPORT, TUNE
from disc.job.stale import stale_doubts
from disc.locale.catalogue import Language
from disc.locale.said import said_in
from disc.photo.doubts_of_job import reading_doubts
from disc.records import About, Doubt
from disc.repin.work.nominal_places import wire_doubts
from disc.report.blocks import Bullets, Paragraph, ReportSection
from disc.results import PluckingResult, RepinResult
from disc.turn.turn_of_job import turn_of_job

STALE = "Stale: this part rests on what has changed since it was made; see the first part."
# The results that a part of the report shows.
SHOWN_IN = {"tune": (TUNE, IDENTIFY), "findings": (FINDINGS,), "plan": (PLAN,), "estimate": (PLAN,)}


def doubts_of_job(job: Job) -> tuple[Doubt, ...]:
    """What is stale, first; then what is doubtful of reading and turn, and what was in doubt on the recordings."""
    try:
        others = turn_of_job(job).doubts
    except MissingPart:  # no pins, comb or diameter yet
        others = reading_doubts(job)
    wire = wire_doubts(job.pins()) if job.content.result(RepinResult) is not None else []
    return (*stale_doubts(job, without=(REPORT,)), *in_order((*others, *_heard(job), *wire)))


def _heard(job: Job) -> tuple[Doubt, ...]:
    """What was in doubt on the recordings; where there is none, the filters of listening are not even loaded."""
    if job.content.result(PluckingResult) is None and not job.has(LISTEN):
        return ()
    from disc.listen.comb.plucked_store import plucked_doubts
    from disc.listen.store import load_listen_doubts

    return (*plucked_doubts(job), *load_listen_doubts(job))


def doubts_part(doubts: Sequence[Doubt], language: Language = Language.EN) -> ReportSection | None:
    """The doubts, what is stale set apart and first."""
    said = said_in(language)
    stale = tuple(doubt_in(doubt, said) for doubt in doubts if doubt.about is About.STALE)
    others = tuple(doubt_in(doubt, said) for doubt in doubts if doubt.about is not About.STALE)
    blocks: list[Paragraph | Bullets] = []
    if stale:
        blocks += [
            Paragraph("Results in this report that are older than what they rest on:", strong=True),
            Bullets(stale, own_words=True),
        ]
    if others:
        blocks.append(Bullets(others, own_words=True))
    blocks += [Paragraph(words, strong=True) for words in untried_lines(doubts)]
    return ReportSection("doubts", tuple(blocks)) if blocks else None


def marked_stale(section: ReportSection, stale: Mapping[str, Doubt]) -> ReportSection:
    """The part with a word over it, where it shows a result that is stale."""
    if not any(name in stale for name in SHOWN_IN.get(section.key, ())):
        return section
    return replace(section, blocks=(Paragraph(STALE, strong=True), *section.blocks))
