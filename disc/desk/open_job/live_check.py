"""Findings and plan as they follow from the pins and decisions in force, worked out anew after every change.

Nothing is stored here: out/findings.json and out/plan.json are written by the steps of those names (tasks.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from disc.check.decisions import SettledFinding, load_decisions, settle
from disc.check.store import FINDINGS_FILE, load_findings
from disc.desk.page.words import page_words
from disc.errors import DiscError
from disc.job import Job
from disc.records import Finding
from disc.repin.records import Plan
from disc.turn.one_turn import OneTurn


@dataclass(frozen=True, slots=True)
class LiveCheck:
    """settled: findings with decisions, none if the disc was never checked. trouble: why it could not be done."""

    was_checked: bool = False
    settled: tuple[SettledFinding, ...] = ()
    plan: Plan | None = None
    trouble: str = ""


def check_now(job: Job, turn: OneTurn | None) -> LiveCheck:
    """The findings of the pins in force and the plan that follows; only where a check was made once.

    turn: of the pins in force. A tune that the last check knew is known here too, so findings follow an edit with a
    score as without.
    """
    if not job.has(FINDINGS_FILE):
        return LiveCheck()
    try:
        findings = _findings(job, turn)
        settled, _ = settle(findings, load_decisions(job))
        return LiveCheck(True, settled, plan_now(job, findings, turn))
    except DiscError as error:
        return LiveCheck(True, trouble=page_words(str(error), job.folder))


def settled_anew(checked: LiveCheck, job: Job) -> LiveCheck:
    """The same findings under the decisions now in force, and their plan: at once, without checking the disc anew."""
    findings = tuple(item.as_found for item in checked.settled)
    settled, _ = settle(findings, load_decisions(job))
    return replace(checked, settled=settled, plan=plan_now(job, findings))


def _findings(job: Job, turn: OneTurn | None) -> tuple[Finding, ...]:
    from disc.check.check_job import judge_turn, references_of  # brings in scipy; the page must not wait for it

    return load_findings(job) if turn is None else judge_turn(job, turn, references_of(job)).findings


def plan_now(job: Job, findings: Sequence[Finding], turn: OneTurn | None = None) -> Plan:
    """The plan as it would be made now, by these findings and the decisions in force."""
    from disc.repin.plan_job import PlanSettings, make_plan, rates_in_force

    plan = make_plan(job, PlanSettings(), rates_in_force(job), findings, turn)
    return replace(plan, notes=tuple(page_words(note, job.folder) for note in plan.notes))


def told_check(before: LiveCheck, after: LiveCheck) -> list[str]:
    """What an edit changed in findings and estimate, in words."""
    if not (before.was_checked and after.was_checked):
        return []
    told = []
    old, new = _open(before), _open(after)
    if old != new:
        told.append(f"findings {old} → {new}")
    was, now = hours(before.plan), hours(after.plan)
    if was and now and was != now:
        told.append(f"estimate {was} → {now}")
    return told


def _open(checked: LiveCheck) -> int:
    return sum(1 for item in checked.settled if not item.is_rejected)


def hours(plan: Plan | None) -> str:
    """The estimate in words: "3.2 h (2.1 to 4.5), 160 EUR"."""
    if plan is None or plan.estimate is None:
        return ""
    low, likely, high = plan.estimate.hours
    return f"{likely:.1f} h ({low:.1f} to {high:.1f}), {plan.estimate.cost[1]:.0f} {plan.estimate.currency}"
