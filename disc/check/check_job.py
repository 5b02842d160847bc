"""The check of a job folder: loads what there is, judges, and stores out/findings.json as one step."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from disc.check.compare import Changed, compare_pins
from disc.check.decisions import Decision, Settled, load_decisions, settle
from disc.check.judge import Disc, Judgement, judge
from disc.check.store import stage_findings
from disc.comb.comb_job import fixed_teeth
from disc.errors import MissingPart
from disc.job import COMB_FILE, PINS_FILE, Job
from disc.records import Finding
from disc.tune.store import load_tune


@dataclass(frozen=True, slots=True)
class Checked:
    """The outcome of one check. settled: findings with a person's decisions; unfit: decisions that found no finding."""

    settled: tuple[Settled, ...]
    unfit: tuple[Decision, ...]
    summary: dict[str, Any]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings as the check found them."""
        return tuple(item.as_found for item in self.settled)


def check_job(job: Job, tune_file: Path | None = None) -> Checked:
    """Check a job and store its findings. tune_file: a score that the disc is known to play.

    Raises MissingPart without pins or comb, BadInput for a score that cannot be read.
    """
    disc = disc_of(job)
    judgement = judge(disc)
    summary = summary_of(judgement)
    inputs = tuple(job.path(name) for name in (PINS_FILE, COMB_FILE)) + ((tune_file,) if tune_file else ())
    with job.step("check", inputs) as stage:
        stage_findings(stage, judgement.findings, summary)
        job.content.results["check"] = summary
    settled, unfit = settle(judgement.findings, load_decisions(job))
    return Checked(settled, unfit, summary)


def disc_of(job: Job) -> Disc:
    """What the job knows of its disc. Raises MissingPart without pins or comb."""
    comb = job.comb()
    return Disc(job.pins(), comb, job.plate, load_tune(job), fixed_teeth(job, comb))


def summary_of(judgement: Judgement) -> dict[str, Any]:
    """What the findings rest on, as plain JSON."""
    spread = judgement.spread
    return {
        "counts": dict(Counter(finding.kind for finding in judgement.findings)),
        "r_sigma_mm": round(spread.r_sigma_mm, 4),
    }


def compare_jobs(before: Job, after: Job) -> tuple[Changed, ...]:
    """What changed from one job's pins to another's. Raises MissingPart if either has no pins."""
    for job in (before, after):
        if not job.has(PINS_FILE):
            raise MissingPart(f"{job.folder}: no pins to compare yet. Run: disc read {job.folder} first.")
    return compare_pins(before.pins(), after.pins())
