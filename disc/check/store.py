"""Findings as a file: out/findings.json, written and read here and nowhere else."""

from __future__ import annotations

import json
from dataclasses import fields
from fractions import Fraction
from pathlib import Path
from typing import Any

from disc.check.kinds import KINDS, Kind
from disc.errors import BadInput
from disc.job import Job, Stage
from disc.records import Evidence, Finding, Side
from disc.tables import read_text

FINDINGS_FILE = "out/findings.json"
SCHEMA = 1

_PLAIN = ("probability", "r_mm", "theta_deg", "pin_id", "tooth", "bar")


def stage_findings(stage: Stage, findings: tuple[Finding, ...], summary: dict[str, Any] | None = None) -> None:
    """Stage out/findings.json. summary: plain JSON about the whole disc (counts, setting error, what was used)."""
    content = {"schema": SCHEMA, "summary": summary or {}, "findings": [finding_to_json(f) for f in findings]}
    stage.write_text(FINDINGS_FILE, json.dumps(content, indent=1, ensure_ascii=False) + "\n")


def load_findings(job: Job) -> tuple[Finding, ...]:
    """The findings of the last check; empty if nothing was checked. Raises BadInput if the file is damaged."""
    return read_findings(job.path(FINDINGS_FILE)) if job.has(FINDINGS_FILE) else ()


def load_summary(job: Job) -> dict[str, Any]:
    """The summary of the last check; empty if nothing was checked."""
    return _content(job.path(FINDINGS_FILE)).get("summary", {}) if job.has(FINDINGS_FILE) else {}


def read_findings(path: Path) -> tuple[Finding, ...]:
    """Findings from a file. Raises BadInput if it is damaged or from a newer program."""
    content = _content(path)
    try:
        return tuple(finding_from_json(item) for item in content["findings"])
    except (KeyError, TypeError, ValueError, AttributeError, ArithmeticError) as error:
        raise _damaged(path, error) from error


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


def finding_from_json(item: dict[str, Any]) -> Finding:
    """The inverse of finding_to_json. Raises KeyError, TypeError or ValueError for what is no finding."""
    return Finding(
        kind=Kind(item["kind"]).value,
        side=Side(item["side"]),
        r_mm=float(item["r_mm"]),
        theta_deg=float(item["theta_deg"]),
        probability=float(item["probability"]),
        evidence=tuple(Evidence(str(e["kind"]), str(e["words"]), float(e["weight"])) for e in item["evidence"]),
        pin_id=_whole(item.get("pin_id")),
        tooth=_whole(item.get("tooth")),
        bar=_whole(item.get("bar")),
        beat=None if item.get("beat") is None else Fraction(item["beat"]),
    )


def _whole(value: Any) -> int | None:
    return None if value is None else int(value)


def _content(path: Path) -> dict[str, Any]:
    try:
        content = json.loads(read_text(path, "list of findings"))
        version = content["schema"]
    except (ValueError, KeyError, TypeError, ArithmeticError, RecursionError) as error:
        raise _damaged(path, error) from error
    if version != SCHEMA:
        raise BadInput(f"{path}: findings of schema {version!r}, this program knows {SCHEMA}. Update the program.")
    return dict(content)


def _damaged(path: Path, error: Exception) -> BadInput:
    return BadInput(
        f"{path}: the list of findings is damaged ({type(error).__name__}: {error}). Make it again: disc check JOB"
    )


# Every field of a finding is written: a field added to the record without a line here must not be lost silently.
assert {f.name for f in fields(Finding)} == {"kind", "side", "beat", "evidence", *_PLAIN}
