"""What a person said to the findings: decisions.json in the job folder, kept over new readings and new checks.

A decision names the place it was made at and the kind it speaks about, not a number of a finding. Laid over the
findings of a later check, it finds the nearest finding of the same subject within reach (kinds.py); one that finds
none is returned as not fitting, never dropped silently.

    accepted  it is so; the work list counts it in full
    rejected  it is not so; the work list leaves it out
    doubt     looked at and left open; the estimate gives a range

A hole can be decided either way: accepting "abandoned" where the check said "in-doubt" makes it an abandoned hole, and
rejecting "missing" leaves an empty hole that is abandoned.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from disc.check.kinds import Kind, subject_of
from disc.frame import to_xy_mm
from disc.job import Job, Stage
from disc.job.corrections import REACH_MM
from disc.records import Finding, Side
from disc.stored import Stored

DECISIONS_FILE = "decisions.json"


class Verdict(StrEnum):
    """What a person said."""

    ACCEPTED = "accepted"
    REJECTED = "rejected"
    DOUBT = "doubt"


@dataclass(frozen=True, slots=True)
class Decision:
    """One word of a person on one place. kind: what is accepted or rejected. at: ISO time."""

    kind: str
    side: Side
    r_mm: float
    theta_deg: float
    verdict: Verdict
    reason: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class SettledFinding:
    """A finding with what a person said to it; decision None: nobody said anything yet.

    finding.kind is what holds after the decision; as_found is what the check said. probability is 1 or 0 once decided.
    """

    finding: Finding
    as_found: Finding
    decision: Decision | None = None

    @property
    def verdict(self) -> Verdict | None:
        """None where nobody decided."""
        return None if self.decision is None else self.decision.verdict

    @property
    def is_rejected(self) -> bool:
        """Whether a person said that it is not so and nothing else follows: the work list leaves it out."""
        return self.verdict is Verdict.REJECTED and self.finding.probability == 0.0


def decision_on(
    finding: Finding, verdict: Verdict, reason: str = "", at: str = "", kind: str | None = None
) -> Decision:
    """A decision on a finding as it stands. kind: what a hole in doubt is said to be ("missing" or "abandoned")."""
    named = Kind(kind or finding.kind).value
    return Decision(named, finding.side, finding.r_mm, finding.theta_deg, verdict, reason, at)


def decided(decisions: Sequence[Decision], new: Decision) -> tuple[Decision, ...]:
    """The decisions with a new one in the place of an older one on the same subject at the same place."""
    return (*(old for old in decisions if not _same_question(old, new)), new)


def withdrawn(decisions: Sequence[Decision], finding: Finding) -> tuple[Decision, ...]:
    """The decisions without any on this finding: it is open again."""
    asked = decision_on(finding, Verdict.DOUBT)
    return tuple(old for old in decisions if not _same_question(old, asked))


def settle(
    findings: Iterable[Finding], decisions: Sequence[Decision]
) -> tuple[tuple[SettledFinding, ...], tuple[Decision, ...]]:
    """(each finding with its decision, the decisions that no longer fit any finding)."""
    found = list(findings)
    taken: dict[int, Decision] = {}
    unfit = []
    for decision in decisions:
        index = _nearest(found, decision)
        if index is None:
            unfit.append(decision)
        else:
            taken[index] = decision
    return tuple(_settled(finding, taken.get(i)) for i, finding in enumerate(found)), tuple(unfit)


def _settled(finding: Finding, decision: Decision | None) -> SettledFinding:
    if decision is None or decision.verdict is Verdict.DOUBT:
        return SettledFinding(finding, finding, decision)
    yes = decision.verdict is Verdict.ACCEPTED
    kind = Kind(decision.kind)
    if not yes and kind is Kind.MISSING and finding.pin_id is not None:
        # The hole stays: what is not missing is abandoned.
        return SettledFinding(replace(finding, kind=Kind.ABANDONED.value, probability=1.0), finding, decision)
    if not yes and kind is Kind.ABANDONED:
        return SettledFinding(replace(finding, kind=Kind.MISSING.value, probability=1.0), finding, decision)
    probability = 1.0 if yes else 0.0
    return SettledFinding(replace(finding, kind=kind.value, probability=probability), finding, decision)


def _same_question(a: Decision, b: Decision) -> bool:
    return subject_of(a.kind) is subject_of(b.kind) and _distance_mm(a, b) <= REACH_MM


def _nearest(findings: Sequence[Finding], decision: Decision) -> int | None:
    subject = subject_of(decision.kind)
    fitting = [
        (finding.kind != decision.kind, _distance_mm(finding, decision), i)
        for i, finding in enumerate(findings)
        if subject_of(finding.kind) is subject and _distance_mm(finding, decision) <= REACH_MM
    ]
    return min(fitting)[2] if fitting else None


def _distance_mm(a: Finding | Decision, b: Finding | Decision) -> float:
    if a.side is not b.side:
        return float("inf")
    ax, ay = to_xy_mm(a.r_mm, a.theta_deg)
    bx, by = to_xy_mm(b.r_mm, b.theta_deg)
    return float(np.hypot(ax - bx, ay - by))


# ---- decisions.json


@dataclass(frozen=True, slots=True)
class _Decisions:
    decisions: tuple[Decision, ...]


def _kinds_known(stored: _Decisions) -> None:
    for decision in stored.decisions:
        Kind(decision.kind)


DECISIONS: Stored[_Decisions] = Stored(
    "list of decisions",
    _Decisions,
    "Mend it in a text editor, or move it away to go on without decisions.",
    check=_kinds_known,
)


def stage_decisions(stage: Stage, decisions: Sequence[Decision]) -> None:
    """Stage decisions.json."""
    stage.write_text(DECISIONS_FILE, DECISIONS.text(_Decisions(tuple(decisions))))


def load_decisions(job: Job) -> tuple[Decision, ...]:
    """The decisions of a job, oldest first; empty if there are none. Raises BadInput if the file is damaged."""
    found = DECISIONS.load(job.path(DECISIONS_FILE))
    return () if found is None else found.decisions
