"""Findings and plan as they follow from the pins and decisions in force, worked out anew after every change.

Nothing is stored here: out/findings.json and out/plan.json are written by the steps of those names (tasks.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from disc.check.decisions import Settled, load_decisions, settle
from disc.check.store import FINDINGS_FILE, load_findings
from disc.errors import DiscError, MissingPart
from disc.job import COMB_FILE, PINS_FILE, Job
from disc.records import Finding
from disc.repin.estimate import parse_rates, read_rates, sample_rates_text
from disc.repin.records import Plan


@dataclass(frozen=True, slots=True)
class Checked:
    """settled: findings with decisions, none if the disc was never checked. trouble: why it could not be done.

    as_stored: the findings are those of the last check, which used a score that this desk does not have.
    """

    was_checked: bool = False
    settled: tuple[Settled, ...] = ()
    plan: Plan | None = None
    trouble: str = ""
    as_stored: bool = False


def check_now(job: Job, tune_file: Path | None = None) -> Checked:
    """The findings of the pins in force and the plan that follows; only where a check was made once.

    tune_file: the score that the last check of this desk was given.
    """
    if not job.has(FINDINGS_FILE):
        return Checked()
    try:
        as_stored = tune_file is None and last_check_had_score(job)
        findings = load_findings(job) if as_stored else _findings(job, tune_file)
        settled, _ = settle(findings, load_decisions(job))
        return Checked(True, settled, plan_now(job), "", as_stored)
    except DiscError as error:
        return Checked(True, trouble=" ".join(str(error).split()))


def _findings(job: Job, tune_file: Path | None) -> tuple[Finding, ...]:
    from disc.check.check_job import disc_of  # brings in scipy; the page must not wait for it
    from disc.check.judge import judge

    try:
        disc, _ = disc_of(job, tune_file)
        return judge(disc).findings
    except MissingPart:
        return load_findings(job)


def last_check_had_score(job: Job) -> bool:
    """Whether the check that made out/findings.json was given a score besides pins and comb."""
    last = next((run for run in reversed(job.content.runs) if FINDINGS_FILE in run.outputs), None)
    return last is not None and bool(set(last.inputs) - {PINS_FILE, COMB_FILE})


def plan_now(job: Job) -> Plan:
    """The plan as it would be made now."""
    from disc.repin.plan_job import RATES_FILE, PlanSettings, make_plan

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
