"""Findings and plan as they follow from the pins and decisions in force, worked out anew after every change.

Nothing is stored here: out/findings.json and out/plan.json are written by the steps of those names (tasks.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from disc.check.check_job import disc_of
from disc.check.decisions import Settled, load_decisions, settle
from disc.check.judge import judge
from disc.check.store import FINDINGS_FILE, load_findings
from disc.errors import DiscError, MissingPart
from disc.job import Job
from disc.repin.estimate import parse_rates, read_rates, sample_rates_text
from disc.repin.plan_job import RATES_FILE, PlanSettings, make_plan
from disc.repin.records import Plan


@dataclass(frozen=True, slots=True)
class Checked:
    """settled: findings with decisions, none if the disc was never checked. trouble: why it could not be done."""

    was_checked: bool = False
    settled: tuple[Settled, ...] = ()
    plan: Plan | None = None
    trouble: str = ""


def check_now(job: Job) -> Checked:
    """The findings of the pins in force and the plan that follows; only where a check was made once."""
    if not job.has(FINDINGS_FILE):
        return Checked()
    try:
        settled, _ = settle(_findings(job), load_decisions(job))
        return Checked(True, settled, plan_now(job))
    except DiscError as error:
        return Checked(True, trouble=" ".join(str(error).split()))


def _findings(job: Job) -> Any:
    try:
        return judge(disc_of(job)).findings
    except MissingPart:
        return load_findings(job)


def plan_now(job: Job) -> Plan:
    """The plan as it would be made now."""
    own = job.has(RATES_FILE)
    rates = read_rates(job.path(RATES_FILE)) if own else parse_rates(sample_rates_text(), "the sample rates")
    return make_plan(job, PlanSettings(), rates)


def told_check(before: Checked, after: Checked) -> list[str]:
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


def _open(checked: Checked) -> int:
    return sum(1 for item in checked.settled if not item.is_rejected)


def hours(plan: Plan | None) -> str:
    """The estimate in words: "3.2 h (2.1 to 4.5), 160 EUR"."""
    if plan is None or plan.estimate is None:
        return ""
    low, likely, high = plan.estimate.hours
    return f"{likely:.1f} h ({low:.1f} to {high:.1f}), {plan.estimate.cost[1]:.0f} {plan.estimate.currency}"
