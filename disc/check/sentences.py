"""Findings in plain words, as a restorer reads them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from disc.check.evidence import EVIDENCE_KINDS
from disc.check.kinds import KINDS, Kind, info
from disc.records import Finding
from disc.turn.places import place_words
from disc.words import chance, likely

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
LEAST_TOLD = 0.3  # nats: evidence worth less is in the file, but not in the sentence


def finding_line(finding: Finding) -> str:
    """One finding: what, where, how sure, and why.

    "missing pin, upper face, r 7.31 mm, 121.4 degrees, tooth 5, bar 12 beat 2, 97 %: an empty hole on its tooth's
    track (seen); the same strike is there in bar 4 (heard)"
    """
    return f"{info(finding.kind).heading}, {where_words(finding)}, {sure_words(finding)}: {evidence_words(finding)}"


def sure_words(finding: Finding) -> str:
    """How sure it is: a percentage only for kinds of which a bench has shown that theirs are true."""
    kind = info(finding.kind)
    if 0.0 < finding.probability < 1.0:  # 0 and 1 are a person's word
        if kind.measured:
            return "measured"
        if kind.few:
            return likely(finding.probability)
    return chance(finding.probability)


def where_words(finding: Finding) -> str:
    """Where a finding is."""
    parts = [f"{finding.side.value} face", f"r {finding.r_mm:.2f} mm", f"{finding.theta_deg:.1f} degrees"]
    if finding.tooth is not None:
        parts.append(f"tooth {finding.tooth}")
    if finding.bar is not None:
        parts.append(place_words(finding.bar, finding.beat))
    if finding.pin_id is not None:
        parts.append(f"pin {finding.pin_id}")
    return ", ".join(parts)


def evidence_words(finding: Finding) -> str:
    """Why, the kinds of evidence in their order, the weightiest first within a kind; what says little is left out."""
    order = {kind: i for i, kind in enumerate(EVIDENCE_KINDS)}
    told = [e for e in finding.evidence if abs(e.weight) >= LEAST_TOLD] or list(finding.evidence)
    reasons = sorted(told, key=lambda e: (order.get(e.kind, 9), -abs(e.weight)))
    return "; ".join(f"{e.words} ({e.kind})" for e in reasons)


def summary_line(findings: Iterable[Finding]) -> str:
    """How many of each kind."""
    counts = Counter(Kind(f.kind) for f in findings)
    if not counts:
        return "Nothing found that needs a hand."
    return ", ".join(f"{counts[kind]} x {KINDS[kind].heading}" for kind in KINDS if counts[kind])
