"""Findings and plan as the page shows them beside the photograph."""

from __future__ import annotations

from typing import Any

from disc.check.decisions import load_decisions, settle
from disc.check.kinds import info
from disc.check.store import FINDINGS_FILE, load_findings
from disc.desk.derive import beat_words
from disc.job import PINS_FILE, Job


def page_findings(job: Job) -> dict[str, Any]:
    """{"checked": whether a check was made, "stale": whether the pins changed since, "findings": [...]}."""
    if not job.has(FINDINGS_FILE):
        return {"checked": False, "stale": False, "findings": []}
    settled, _ = settle(load_findings(job), load_decisions(job))
    stale = job.path(PINS_FILE).stat().st_mtime > job.path(FINDINGS_FILE).stat().st_mtime
    return {"checked": True, "stale": stale, "findings": [_shown(item) for item in settled]}


def _shown(item: Any) -> dict[str, Any]:
    found, now = item.as_found, item.finding
    return {
        "kind": str(found.kind),
        "side": found.side.value,
        "r_mm": found.r_mm,
        "theta_deg": found.theta_deg,
        "heading": info(now.kind).heading,
        "meaning": info(now.kind).meaning,
        "probability": round(found.probability, 3),
        "pin": found.pin_id,
        "tooth": found.tooth,
        "bar": found.bar,
        "beat": None if found.beat is None else beat_words(found.beat),
        "evidence": [{"kind": e.kind, "words": e.words, "weight": round(e.weight, 2)} for e in found.evidence],
        "verdict": None if item.decision is None else item.decision.verdict.value,
        "reason": "" if item.decision is None else item.decision.reason,
    }
