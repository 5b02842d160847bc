"""The check of a job folder: loads what there is, judges, and stores out/findings.json as one step."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from disc.check.check_disc import Judgement, judge
from disc.check.compare import Changed, compare_pins
from disc.check.decisions import Decision, SettledFinding, load_decisions, settle
from disc.check.music.known_file import known_from_file, load_known, stage_known
from disc.check.picture import findings_svg
from disc.check.store import stage_findings
from disc.doubts import doubts_to_json, in_order
from disc.errors import MissingPart
from disc.job import COMB_FILE, PINS_FILE, Job
from disc.job.made_from import FINDINGS, LISTEN
from disc.job.stale import stale_doubts
from disc.library.accepted import accepted_tune
from disc.library.records import ReferenceTune
from disc.records import About, Doubt, Finding
from disc.results import CheckResult, IdentifyResult
from disc.turn.one_turn import OneTurn
from disc.turn.turn_of_job import tune_doubts, turn_of_job
from disc.words import Advance, no_progress

PICTURE_FILE = "out/findings.svg"
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# A file given as the disc's tune that does not lie on it: hardly ever is it the right one after all.
NOT_ON_DISC = 0.95


@dataclass(frozen=True, slots=True)
class Checked:
    """The outcome of one check. settled: findings with a person's decisions; unfit: decisions that found no finding."""

    settled: tuple[SettledFinding, ...]
    unfit: tuple[Decision, ...]
    summary: dict[str, Any]
    doubts: tuple[Doubt, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings as the check found them."""
        return tuple(item.as_found for item in self.settled)


def check_job(
    job: Job, tune_file: Path | None = None, advance: Advance = no_progress, keep_known: bool = False
) -> Checked:
    """Check a job and store its findings. tune_file: a score that the disc is known to play.

    Without one, the tune that a person accepted as this disc's is used; with keep_known, first the one that the last
    check knew. What `disc identify` found and nobody accepted is no judge; it is only told. Raises MissingPart without
    pins or comb, BadInput for a score that cannot be read.
    """
    if tune_file is not None:
        references = known_from_file(tune_file)
    else:
        accepted = accepted_tune(job)
        found = (load_known(job) if keep_known else None) or (None if accepted is None else accepted.tune)
        references = () if found is None else (found,)
    advance(0.3, "judging")
    turn = turn_of_job(job)
    judgement = judge_turn(job, turn, references)
    remarks = _remarks(turn)
    before = tune_doubts(job)
    of_tune = before if keep_known and not references else ()  # a tune that does not lie on the disc was not kept
    if references and judgement.known is None:
        of_tune = (_not_this_tune(str(tune_file or references[0].title)),)
    doubts = in_order((*(doubt for doubt in turn.doubts if doubt not in before), *of_tune))
    if not references:
        doubts = in_order((*doubts, *_not_accepted(job)))
    summary = summary_of(judgement, remarks)
    inputs = tuple(job.path(name) for name in (PINS_FILE, COMB_FILE)) + ((tune_file,) if tune_file else ())
    with job.step("check", inputs) as stage:
        stage_findings(stage, judgement.findings, summary)
        stage_known(stage, judgement.reference)
        stage.write_text(PICTURE_FILE, findings_svg(judgement.findings, turn.pins, turn.plate))
        job.content.keep(CheckResult(**summary, doubts=doubts_to_json(of_tune)))
    settled, unfit = settle(judgement.findings, load_decisions(job))
    return Checked(settled, unfit, summary, (*stale_doubts(job, without=(FINDINGS,)), *doubts))


def _not_this_tune(name: str) -> Doubt:
    return Doubt(
        About.TUNE,
        f"{name}: this tune does not lie on the disc; the check was made without it.",
        "Look whether it is the right file, then check again; disc identify JOB names the tunes that do lie on it.",
        probability=NOT_ON_DISC,
    )


def _not_accepted(job: Job) -> list[Doubt]:
    """A tune that was found and that nobody has said is this disc's: a question, never a judge."""
    found = job.content.result(IdentifyResult)
    if found is None or not found.matches or (found.matches[0].probability or 0.0) < 0.5:
        return []
    say = f"the library's {found.matches[0].title!r} was found and not used, since nobody has said it is this disc's."
    return [Doubt(About.ASSUMED, say, f"If it is: disc identify {job.folder} --accept 1, then check again.")]


def references_of(job: Job) -> tuple[ReferenceTune, ...]:
    """The known tune of the last check, to be used again by the desk after an edit."""
    known = load_known(job)
    return () if known is None else (known,)


def judge_turn(job: Job, turn: OneTurn, references: tuple[ReferenceTune, ...]) -> Judgement:
    """What is found about a turn of the job's disc, its recordings included; nothing is stored."""
    if not job.has(LISTEN):
        return judge(turn, references, ())
    from disc.listen.store import load_listen_findings  # brings in scipy's filters, half a second

    return judge(turn, references, load_listen_findings(job))


def _remarks(turn: OneTurn) -> list[str]:
    """What could not be used, in words."""
    if turn.reading is None:
        return [f"the music was not asked: {turn.why}"]
    return [] if turn.pitched else [f"{turn.why}: repeats were judged by teeth, a known tune was not used"]


def summary_of(judgement: Judgement, remarks: Sequence[str] = ()) -> dict[str, Any]:
    """What the findings rest on, as plain JSON."""
    grid, reference = judgement.grid, judgement.reference
    return {
        "counts": dict(Counter(finding.kind for finding in judgement.findings)),
        "r_sigma_mm": round(judgement.spread.r_sigma_mm, 4),
        "setting_error_s": None if grid is None else round(grid.sigma_s, 4),
        "known_tune": None if reference is None else reference.title or str(reference.key),
        "remarks": list(remarks),
    }


def compare_jobs(before: Job, after: Job) -> tuple[Changed, ...]:
    """What changed from one job's pins to another's. Raises MissingPart if either has no pins."""
    for job in (before, after):
        if not job.has(PINS_FILE):
            raise MissingPart(f"{job.folder}: no pins to compare yet. Run: disc read {job.folder} first.")
    return compare_pins(before.pins(), after.pins())
