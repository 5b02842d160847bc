"""Pins off the beat: early or late against their written note by more than the setting error of the others."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from disc.check.evidence import HEARD, combine, limited, normal_log_density
from disc.check.grid import late_s
from disc.check.kinds import Kind
from disc.check.repeats import Heard
from disc.check.seen import finding_at
from disc.check.wants import stands_alone
from disc.records import Evidence, Finding, Pin, Strike, Tune

# What a listener notices in an even run; common practice, no source: 30 to 50 ms.
LEAST_LATE_S = 0.06
LEAST_SIGMAS = 5.0  # of some 200 strikes none is that far off by chance
PRIOR_OFF_BEAT = 0.001
# A pin set wrong may be anywhere up to half a beat from its place.
REPORT_FROM = 0.5


def off_beat_findings(pins: Iterable[Pin], tune: Tune, strikes: Sequence[Strike], heard: Heard) -> tuple[Finding, ...]:
    """Pins whose strike is off its written place by far more than the rest, where no others fall in the beat.

    pins: with their teeth. heard: the same strikes, in the same order. Where others fall at that point too, the reader
    took a note for another's place, and the pin is right.
    """
    grid = heard.grid
    lone = {strike.pin_id for strike, alone in zip(strikes, stands_alone(heard), strict=True) if alone}
    late = late_s(tune, strikes)
    findings = []
    for pin in pins:
        off = late.get(pin.id)
        if off is None or pin.id not in lone or abs(off) < max(LEAST_LATE_S, LEAST_SIGMAS * grid.sigma_s):
            continue
        weight = limited(-math.log(grid.beat_s) - normal_log_density(off, grid.sigma_s))
        word = "late" if off > 0 else "early"
        words = f"{1000 * abs(off):.0f} ms {word}; the others lie within {2000 * grid.sigma_s:.0f} ms of the beat grid"
        evidence = Evidence(HEARD, words, weight)
        probability = combine(PRIOR_OFF_BEAT, [evidence])
        if probability >= REPORT_FROM:
            findings.append(finding_at(pin, Kind.OFF_BEAT, probability, evidence))
    return tuple(findings)
