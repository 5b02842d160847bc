"""Findings of a recorded turn (listen/) joined to those of the check, at the places where the pins stand now.

The recording may be older than the reading: a finding about a pin is kept where a pin still plays within reach of its
place; what says the same of the same pin as a finding of the check becomes one finding with the evidence of both.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from disc.check.evidence import combine, limited, log_odds, probability_of
from disc.check.kinds import Kind
from disc.check.mechanics.clearance import hole_distances_mm
from disc.job.corrections import REACH_MM
from disc.records import Finding, Pin


def join_recorded(found: Iterable[Finding], recorded: Iterable[Finding], pins: Sequence[Pin]) -> tuple[Finding, ...]:
    """The findings of the check with those of the recording."""
    joined = {
        (f.kind, f.pin_id) if f.pin_id is not None else (f.kind, n): f for n, f in enumerate(found, start=-(10**6))
    }
    for number, heard in enumerate(recorded):
        here = _at_the_pin(heard, pins)
        if here is None:
            continue
        key = (here.kind, here.pin_id) if here.pin_id is not None else (here.kind, -(10**7) - number)
        joined[key] = _both(joined[key], here) if key in joined else here
    return tuple(joined.values())


def _at_the_pin(heard: Finding, pins: Sequence[Pin]) -> Finding | None:
    """The finding with the pin that stands there now; None if none does. An extra sound is about no pin."""
    if heard.kind == Kind.EXTRA_SOUND:
        return heard
    near = [pin for pin in pins if pin.side is heard.side and pin.plays]
    if not near:
        return None
    gaps = hole_distances_mm(near, [Pin(0, heard.side, heard.r_mm, heard.theta_deg)])[:, 0]
    best = int(gaps.argmin())
    if gaps[best] > REACH_MM:
        return None
    pin = near[best]
    return replace(heard, r_mm=pin.r_mm, theta_deg=pin.theta_deg, pin_id=pin.id, tooth=pin.tooth)


def _both(seen: Finding, heard: Finding) -> Finding:
    more = sum(limited(e.weight) for e in heard.evidence)
    probability = max(probability_of(log_odds(seen.probability) + more), combine(0.5, heard.evidence))
    return replace(seen, probability=probability, evidence=(*seen.evidence, *heard.evidence))
