"""Findings accepted, rejected with a reason, or left in doubt: one step of the history each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from disc.check.decisions import Verdict, decided, decision_on, load_decisions, withdrawn
from disc.check.kinds import KINDS, Kind
from disc.desk.open_job.changes import decisions_change
from disc.desk.open_job.session import Session
from disc.errors import BadInput, MissingPart
from disc.job.schema import now_text
from disc.records import Finding
from disc.words import plain

LONGEST_REASON = 1000  # letters kept of a reason; the rest is cut off (chosen, nothing hangs on it)
VERDICT_WORDS = {Verdict.ACCEPTED: "accepted", Verdict.REJECTED: "rejected", Verdict.DOUBT: "left in doubt"}


def decide(session: Session, body: Mapping[str, Any]) -> dict[str, Any]:
    """Body: {"finding": {kind, side, r_mm, theta_deg}, "verdict": accepted | rejected | doubt | open, "reason", "as"}.

    A rejection needs a reason. "as": what a hole in doubt is said to be. Raises BadInput.
    """
    job = session.job
    if job is None:
        raise MissingPart("There is no job here yet.")
    finding = _finding([item.as_found for item in session.checked.settled], body.get("finding"))
    reason = " ".join(str(body.get("reason", "")).split())[:LONGEST_REASON]
    heading = KINDS[Kind(finding.kind)].heading
    if body.get("verdict") == "open":
        new, words = withdrawn(load_decisions(job), finding), f"{heading}: open again"
    else:
        verdict = _verdict(body.get("verdict"))
        if verdict is Verdict.REJECTED and not reason:
            raise BadInput("say in a few words why this finding is not so; the report keeps the reason.")
        kind = body.get("as") or None
        if kind is not None and kind not in set(Kind):
            raise BadInput(f"there is no kind of finding called {kind!r}.")
        decision = decision_on(finding, verdict, reason, now_text(), kind)
        new, words = decided(load_decisions(job), decision), f"{heading}: {VERDICT_WORDS[verdict]}"
    answer = session.set_values(words, (decisions_change(job, [plain(asdict(d)) for d in new]),))
    session.settle_again()
    return answer


def _verdict(value: Any) -> Verdict:
    try:
        return Verdict(value)
    except ValueError:
        raise BadInput(f"a finding is accepted, rejected or left in doubt, not {value!r}.") from None


def _finding(findings: Sequence[Finding], asked: Any) -> Finding:
    """The finding meant: of that kind at that place (places are rounded on their way through the page)."""
    if isinstance(asked, Mapping):
        for finding in findings:
            same = finding.kind == asked.get("kind") and finding.side.value == asked.get("side")
            if same and _near(finding.r_mm, asked.get("r_mm")) and _near(finding.theta_deg, asked.get("theta_deg")):
                return finding
    raise BadInput("that finding is no longer there; the disc was checked anew. Look at the list again.")


def _near(value: float, other: Any) -> bool:
    return isinstance(other, int | float) and abs(value - other) < 1e-3
