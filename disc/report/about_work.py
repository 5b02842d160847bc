"""The report's parts about the work: findings with a picture of each place, plan, estimate, before and after, log."""

from __future__ import annotations

from collections.abc import Mapping

from disc.check.check_job import compare_jobs
from disc.check.decisions import SettledFinding, load_decisions, settle
from disc.check.kinds import info
from disc.check.sentences import evidence_words, sure_words, where_words
from disc.check.store import load_findings
from disc.job import Job
from disc.locale.catalogue import Language, Reader, reader
from disc.records import Finding
from disc.repin.records import Estimate, Operation, Plan
from disc.repin.store import load_plan
from disc.report.blocks import Block, Bullets, Paragraph, PictureBlock, ReportSection, rows_of, table
from disc.report.log import FIRST_NOTE, in_order, load_log
from disc.report.pictures import small_jpeg
from disc.report.places import AROUND_MM

PICTURES_A_ROW, LOG_PICTURES_A_ROW = 4, 3  # across an A4 page, by eye


def finding_part(job: Job, pictures: Mapping[Finding, bytes]) -> ReportSection | None:
    """Findings with their evidence and what was decided. pictures: JPEG of a finding's place, where there is one."""
    if not job.has("out/findings.json"):
        return None
    settled, _ = settle(load_findings(job), load_decisions(job))
    if not settled:
        return ReportSection("findings", (Paragraph("Nothing was found that needs a hand."),))
    rows = [_finding_row(number, item) for number, item in enumerate(settled, start=1)]
    blocks: list[Block] = [table(("no.", "finding", "where", "sure", "evidence", "decided"), rows, right=(0, 3))]
    shown = [
        PictureBlock(pictures[item.as_found], "jpg", f"no. {number}, {info(item.finding.kind).heading}")
        for number, item in enumerate(settled, start=1)
        if item.as_found in pictures
    ]
    blocks += rows_of(shown, PICTURES_A_ROW)
    if shown:
        blocks.append(
            Paragraph(f"Each picture shows {2 * AROUND_MM:g} mm of the disc, the place in its middle.", small=True)
        )
    return ReportSection("findings", tuple(blocks))


def _finding_row(number: int, item: SettledFinding) -> tuple[object, ...]:
    finding = item.finding
    decided = "" if item.decision is None else item.decision.verdict.value
    if item.decision is not None and item.decision.reason:
        decided += f": {item.decision.reason}"
    sure = sure_words(finding)
    return (number, info(finding.kind).heading, where_words(finding), sure, evidence_words(item.as_found), decided)


def plan_part(job: Job) -> ReportSection | None:
    """The proposed work, place by place."""
    plan = load_plan(job)
    if plan is None:
        return None
    rows = [
        (
            station.number,
            station.side.value,
            f"{station.place.r_mm:.2f}",
            f"{station.place.theta_deg:.2f}",
            ", ".join(operation.value for operation in station.operations),
            "; ".join(dict.fromkeys(task.reason for task in station.tasks)),
        )
        for station in plan.stations
        if set(station.operations) - {Operation.LEAVE}
    ]
    if not rows:
        return ReportSection("plan", (Paragraph("No work on pins is proposed."),))
    heading = ("no.", "face", "radius mm", "angle deg", "work", "why")
    return ReportSection("plan", (table(heading, rows, right=(0, 2, 3)), *_plan_notes(plan)))


def _plan_notes(plan: Plan) -> list[Block]:
    notes = [*plan.notes]
    return [Bullets(tuple(notes))] if notes else []


def estimate_part(job: Job) -> ReportSection | None:
    """Hours and cost with their range."""
    plan = load_plan(job)
    if plan is None or plan.estimate is None:
        return None
    estimate = plan.estimate
    rows = [(line.what, _range(line.count, 0), _range(line.hours, 2), _range(line.cost, 2)) for line in estimate.lines]
    rows.append(("in all", "", _range(estimate.hours, 2), _range(estimate.cost, 2)))
    heading = ("work", "how often", "hours", f"cost, {estimate.currency}")
    return ReportSection("estimate", (table(heading, rows, right=(1, 2, 3)), *_estimate_words(estimate)))


def _estimate_words(estimate: Estimate) -> list[Block]:
    blocks: list[Block] = []
    if estimate.sample:
        blocks.append(Paragraph("Made with the sample rates, not with those of this workshop.", strong=True))
    if estimate.words:
        blocks.append(Paragraph(f"{estimate.words}."))
    return blocks


def _range(values: tuple[float, float, float], digits: int) -> str:
    least, expected, most = values
    if most == 0.0:
        return ""
    if round(least, digits) == round(most, digits):
        return f"{expected:.{digits}f}"
    return f"{expected:.{digits}f} ({least:.{digits}f} to {most:.{digits}f})"


def comparison_part(before: Job, after: Job) -> ReportSection:
    """What changed since an earlier reading."""
    changes = compare_jobs(before, after)
    if not changes:
        return ReportSection("comparison", (Paragraph(f"Nothing differs from {before.folder.name}."),))
    rows = [
        (
            change.change.value,
            change.pin.side.value,
            f"{change.pin.r_mm:.2f}",
            f"{change.pin.theta_deg:.2f}",
            change.pin.id,
        )
        for change in changes
    ]
    words = Paragraph(f"Compared with the earlier reading {before.folder.name}:")
    return ReportSection(
        "comparison", (words, table(("what", "face", "radius mm", "angle deg", "pin"), rows, right=(2, 3, 4)))
    )


def log_part(job: Job, t: Reader | None = None) -> ReportSection | None:
    """The bench log in the order of taking down; None if nothing was written beyond its first line."""
    t = t or reader(Language.EN)
    steps = in_order(load_log(job))
    if len(steps) < 2:
        return None
    blocks: list[Block] = []
    for number, step in enumerate(steps, start=1):
        note = t(FIRST_NOTE) if step.note == FIRST_NOTE else step.note
        blocks.append(Paragraph(f"{number}. {step.at[:16].replace('T', ' ')}: {note}"))
        if step.parts:
            blocks.append(Bullets(tuple(f"{p.name}: {p.screws}" if p.screws else p.name for p in step.parts)))
        shown = tuple(PictureBlock(small_jpeg(job.path(name), 800), "jpg", f"step {number}") for name in step.photos)
        blocks += rows_of(shown, LOG_PICTURES_A_ROW)
    return ReportSection("log", tuple(blocks))
