"""The check as one JSON value, for `disc check --json`."""

from __future__ import annotations

from typing import Any

from disc.check.check_job import Checked
from disc.check.sentences import finding_line
from disc.check.store import finding_to_json
from disc.doubts import doubts_to_json
from disc.words import plain


def checked_to_json(checked: Checked) -> dict[str, Any]:
    """findings (with place, probability, evidence, words, decision), decisions that no longer fit, summary."""
    findings = []
    for item in checked.settled:
        findings.append(
            finding_to_json(item.finding)
            | {"words": finding_line(item.finding), "decision": plain(item.decision), "as_found": item.as_found.kind}
        )
    return {
        "findings": findings,
        "unfit_decisions": plain(checked.unfit),
        "summary": checked.summary,
        "doubts": doubts_to_json(checked.doubts),
    }
