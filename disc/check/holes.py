"""Empty holes: does a pin belong in it (missing), was it given up (abandoned), or can't that be said (in doubt).

Seen: whether the hole lies on a tooth's track. What the music and a reference say comes from wants.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from disc.check.evidence import SEEN, combine, limited, normal_log_density
from disc.check.kinds import Kind
from disc.check.seen import finding_at
from disc.check.spread import Spread
from disc.records import Condition, Evidence, Finding, Pin

# Of empty holes, the share that lost a pin; the rest are slips and earlier repairs. Common practice, no source: discs
# lose several pins for each hole that was drilled in vain.
PRIOR_MISSING = 0.75
# From here on a hole is called missing, or abandoned, without doubt.
SURE = 0.85
# A hole drilled in vain: half of them on a track (a slip along it), the rest anywhere. No source.
ABANDONED_ON_TRACK = 0.5


def is_empty_hole(pin: Pin) -> bool:
    """Whether nothing stands in the hole; an extra without height is a hole that the reading could not explain."""
    return pin.condition is Condition.MISSING or (pin.condition is Condition.EXTRA and not pin.height_mm)


def hole_finding(pin: Pin, evidence: Iterable[Evidence]) -> Finding:
    """The finding about one empty hole. evidence: weights for "a pin belongs here" against "it was given up"."""
    evidence = tuple(evidence)
    wanted = combine(PRIOR_MISSING, evidence)
    if wanted >= SURE:
        return finding_at(pin, Kind.MISSING, wanted, *evidence)
    if wanted <= 1.0 - SURE:
        return finding_at(pin, Kind.ABANDONED, 1.0 - wanted, *evidence)
    return finding_at(pin, Kind.IN_DOUBT, wanted, *evidence)


def track_evidence(pin: Pin, spread: Spread) -> Evidence:
    """Whether the hole lies on its tooth's track."""
    if pin.tooth is None or pin.tooth not in spread.track_r_mm:
        return Evidence(SEEN, "an empty hole on no tooth's track", -4.0)
    off = pin.r_mm - spread.track_r_mm[pin.tooth]
    sigma = math.hypot(spread.r_sigma_mm[pin.side], pin.sigma_mm or 0.0)
    on_track = normal_log_density(off, sigma)
    anywhere = -math.log(_track_space_mm(pin, spread))
    given_up = math.log(ABANDONED_ON_TRACK * math.exp(on_track) + (1 - ABANDONED_ON_TRACK) * math.exp(anywhere))
    words = (
        "an empty hole on its tooth's track" if abs(off) < 2.5 * sigma else f"an empty hole {abs(off):.2f} mm off it"
    )
    return Evidence(SEEN, words, limited(on_track - given_up))


def _track_space_mm(pin: Pin, spread: Spread) -> float:
    """Radius that one track of the face has to itself, mm."""
    radii = sorted(spread.track_r_mm.values())
    return max((radii[-1] - radii[0]) / max(len(radii) - 1, 1), 0.2)
