"""The whole check of one disc: pins in, findings out. Pure; check_job.py ties it to a job folder.

spread of the sound pins -> what is seen -> what there is no room for -> what the music and a reference want
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from disc.check.holes import hole_finding, is_empty_hole, track_evidence
from disc.check.mechanical import mechanical_findings
from disc.check.seen import seen_findings
from disc.check.spread import Spread, measure_spread
from disc.comb.assign import assign_teeth
from disc.comb.strikes import strikes_from_pins
from disc.records import Comb, Finding, Pin, Plate, Tune


@dataclass(frozen=True, slots=True)
class Disc:
    """What is known of a disc when it is checked. pins: as read, with or without teeth; tune: None if not read yet."""

    pins: tuple[Pin, ...]
    comb: Comb
    plate: Plate
    tune: Tune | None = None
    fixed_teeth: dict[int, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Judgement:
    """Findings, the likeliest to need work first, and what they rest on."""

    findings: tuple[Finding, ...]
    spread: Spread


def judge(disc: Disc) -> Judgement:
    """Findings about one disc, in the order of the turn on each face."""
    assignment = assign_teeth(disc.pins, disc.comb, disc.fixed_teeth)
    spread = measure_spread(assignment.pins, disc.comb, assignment.stretch, assignment.offset_mm)
    strikes = strikes_from_pins(assignment.pins, disc.comb, disc.plate)
    holes = [pin for pin in assignment.pins if is_empty_hole(pin)]
    findings = (
        *(hole_finding(pin, [track_evidence(pin, spread)]) for pin in holes),
        *seen_findings(assignment.pins, disc.plate, spread),
        *mechanical_findings(assignment.pins, disc.comb, disc.plate, spread, strikes),
    )
    return Judgement(in_order(findings), spread)


def in_order(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Sorted by face, angle and radius: the order in which a hand goes round the disc."""
    return tuple(sorted(findings, key=lambda f: (f.side.value != "upper", f.theta_deg, f.r_mm, f.kind)))
