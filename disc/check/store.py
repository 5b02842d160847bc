"""Findings as a file: out/findings.json, written and read here and nowhere else."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from disc.check.kinds import KINDS, Kind
from disc.job import Job, Stage
from disc.records import Finding
from disc.stored import Stored, json_text

FINDINGS_FILE = "out/findings.json"
_PLAIN = ("probability", "r_mm", "theta_deg", "pin_id", "tooth", "bar")


def stage_findings(stage: Stage, findings: tuple[Finding, ...], summary: dict[str, Any] | None = None) -> None:
    """Stage out/findings.json. summary: plain JSON about the whole disc (counts, setting error, what was used)."""
    content = {"schema": FINDINGS.schema, "summary": summary or {}, "findings": [finding_to_json(f) for f in findings]}
    stage.write_text(FINDINGS_FILE, json_text(content))


def load_findings(job: Job) -> tuple[Finding, ...]:
    """The findings of the last check; empty if nothing was checked. Raises BadInput if the file is damaged."""
    return read_findings(job.path(FINDINGS_FILE))


def load_summary(job: Job) -> dict[str, Any]:
    """The summary of the last check; empty if nothing was checked."""
    found = FINDINGS.load(job.path(FINDINGS_FILE))
    return {} if found is None else found.summary


def read_findings(path: Path) -> tuple[Finding, ...]:
    """Findings from a file. Raises BadInput if it is damaged or from a newer program."""
    found = FINDINGS.load(path)
    return () if found is None else found.findings


def finding_to_json(finding: Finding) -> dict[str, Any]:
    """A finding as plain JSON, with its heading in words; the beat stays exact, as "5/2"."""
    plain: dict[str, Any] = {"kind": str(finding.kind), "side": finding.side.value}
    plain |= {name: getattr(finding, name) for name in _PLAIN}
    plain["beat"] = None if finding.beat is None else str(finding.beat)
    plain["evidence"] = [
        {"kind": e.kind, "words": e.words, "weight": round(float(e.weight), 4)} for e in finding.evidence
    ]
    plain["heading"] = KINDS[Kind(finding.kind)].heading
    return plain


@dataclass(frozen=True, slots=True)
class _Findings:
    findings: tuple[Finding, ...]
    summary: dict[str, Any] = field(default_factory=dict)


def _kinds_known(stored: _Findings) -> None:
    for finding in stored.findings:
        Kind(finding.kind)


FINDINGS: Stored[_Findings] = Stored("list of findings", _Findings, "Make it again: disc check JOB", check=_kinds_known)

# Every field of a finding is written: a field added to the record without a line here must not be lost silently.
assert {f.name for f in fields(Finding)} == {"kind", "side", "beat", "evidence", *_PLAIN}
