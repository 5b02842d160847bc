"""Findings and plan as the page shows them beside the photograph."""

from __future__ import annotations

from typing import Any

from disc.check.decisions import SettledFinding
from disc.check.kinds import info
from disc.check.sentences import sure_words
from disc.desk.open_job.live_check import LiveCheck, hours
from disc.repin.records import Operation, Station
from disc.turn.places import beat_words, place_words


def page_findings(checked: LiveCheck) -> dict[str, Any]:
    """{"checked": whether a check was made, "trouble": words, "findings": [...]}, the likeliest and gravest first."""
    return {
        "checked": checked.was_checked,
        "trouble": checked.trouble,
        "findings": [_shown(item) for item in checked.settled],
    }


def _shown(item: SettledFinding) -> dict[str, Any]:
    found, now = item.as_found, item.finding
    return {
        "kind": str(found.kind),
        "side": found.side.value,
        "r_mm": found.r_mm,
        "theta_deg": found.theta_deg,
        "heading": info(now.kind).heading,
        "meaning": info(now.kind).meaning,
        "probability": round(found.probability, 3),
        "sure": sure_words(found),
        "pin": found.pin_id,
        "tooth": found.tooth,
        "bar": found.bar,
        "beat": None if found.beat is None else beat_words(found.beat),
        "evidence": [{"kind": e.kind, "words": e.words, "weight": round(e.weight, 2)} for e in found.evidence],
        "verdict": None if item.decision is None else item.decision.verdict.value,
        "reason": "" if item.decision is None else item.decision.reason,
    }


def page_plan(checked: LiveCheck) -> dict[str, Any]:
    """{"made": whether there is one, "total": the estimate in words, "lines": [...], "notes": [...]}."""
    plan = checked.plan
    if plan is None:
        return {"made": False, "lines": [], "notes": [], "total": ""}
    worked = [station for station in plan.stations if station.operations != (Operation.LEAVE,)]
    notes = list(plan.notes)
    if plan.estimate and plan.estimate.sample:
        notes.append("Made with sample rates: put your own into rates.toml in the job folder.")
    return {
        "made": True,
        "total": hours(plan),
        "words": plan.estimate.words if plan.estimate else "",
        "lines": [_line(station) for station in worked],
        "notes": notes,
    }


def _line(station: Station) -> dict[str, Any]:
    spot = station.place
    doubt = "in doubt: " if station.in_doubt else ""
    return {
        "work": doubt + ", ".join(operation.value for operation in station.operations),
        "why": "; ".join(dict.fromkeys(task.reason for task in station.tasks if task.reason)),
        "where": f"{station.side.value} {spot.r_mm:.2f} mm {spot.theta_deg:.1f}°",
        "music": place_words(station.bar, station.beat),
        "pin": station.pin_id,
    }
