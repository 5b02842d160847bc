"""Empty holes: does a pin belong in it (missing), was it given up (abandoned), or can't that be said (in doubt).

Seen: whether the hole lies on a tooth's track. What the music and a reference say comes from music.py and known.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from disc.check.evidence import SEEN, combine, limited, log_odds, normal_log_density, probability_of
from disc.check.kinds import Kind
from disc.check.music.music_places import MusicSite
from disc.check.photo.photo_findings import TAIL_WEIGHT, finding_at, site_probability
from disc.check.weights import load_weights
from disc.comb.pin_spread import Spread
from disc.records import Condition, Evidence, Finding, Pin
from disc.words import chance

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# From here on a hole is called missing, or abandoned, without doubt.
SURE = 0.8
# Where the reading sees something and calls it a hole, it is an empty one: 49 of 49 on two renderers' faces, however
# sure it was of the kind (tests/bench/measure/chain.py); as sure as such a count allows.
HOLE_READ = 0.98
# A hole drilled in vain: half of them on a track (a slip along it), the rest anywhere. No source.
ABANDONED_ON_TRACK = 0.5
# Log-odds for a pin belonging in a hole on a track, beside what the invented discs of the fit gave. Those had half of
# their given-up holes on tracks, which nobody knows of real discs; with given-up holes anywhere on the face 1.46 was
# wanting (1.28 to 1.65 with any one disc left out; tests/bench/measure/calibration.py drawn). Half of it is taken.
ON_TRACK_LOG_ODDS = 0.7
# A hole that no track explains hardly ever held a pin that played.
OFF_ALL_TRACKS = -6.0
OFF_SIGMAS = 2.5  # from which a hole is said to lie off its track
LEAST_TRACK_MM = 0.2  # of radius that one track has to itself


def is_empty_hole(pin: Pin) -> bool:
    """Whether nothing stands in the hole; an extra without height is a hole that the reading could not explain."""
    return pin.condition is Condition.MISSING or (pin.condition is Condition.EXTRA and not pin.height_mm)


def hole_finding(pin: Pin, place: MusicSite | None, spread: Spread, wanted: Sequence[Evidence]) -> Finding:
    """The finding about one empty hole.

    place: None if the hole is on no track. wanted: what music and reference say, as weights for "a pin belongs here"
    against "it was given up".
    """
    weights = load_weights("hole")
    prior = probability_of(weights.prior_log_odds + (0.0 if place is None else ON_TRACK_LOG_ODDS))
    if place is None:
        evidence: tuple[Evidence, ...] = (Evidence(SEEN, "an empty hole on no tooth's track", OFF_ALL_TRACKS),)
    else:
        worth = limited(weights.worth("track", track_weight(pin, spread)))
        evidence = (Evidence(SEEN, _track_words(pin, spread), worth), *wanted)
    wanted_here = combine(prior, evidence)
    there = site_probability(pin) * HOLE_READ
    if there < SURE:
        words = f"the photograph leaves it open whether a hole is here at all ({chance(there)})"
        evidence = (*evidence, Evidence(SEEN, words, log_odds(there)))
    if wanted_here * there >= SURE:
        return finding_at(pin, Kind.MISSING, wanted_here * there, *evidence)
    if (1.0 - wanted_here) * there >= SURE:
        return finding_at(pin, Kind.ABANDONED, (1.0 - wanted_here) * there, *evidence)
    return finding_at(pin, Kind.IN_DOUBT, wanted_here * there, *evidence)


def from_behind(pin: Pin, other: Pin) -> Finding:
    """The finding about a hole on no track of its face that is one of the other face, seen through the plate."""
    words = f"the hole of pin {other.id} on the {other.side.value} face, seen through the plate"
    return finding_at(pin, Kind.IN_DOUBT, probability_of(TAIL_WEIGHT), Evidence(SEEN, words, TAIL_WEIGHT))


def track_weight(pin: Pin, spread: Spread) -> float:
    """ln of (density of the hole's distance from its track if it held a pin / if it was given up), nats."""
    off, sigma = _off_track(pin, spread)
    on_track = normal_log_density(off, sigma)
    anywhere = -math.log(_track_space_mm(spread))
    given_up = math.log(ABANDONED_ON_TRACK * math.exp(on_track) + (1 - ABANDONED_ON_TRACK) * math.exp(anywhere))
    return limited(on_track - given_up)


def _off_track(pin: Pin, spread: Spread) -> tuple[float, float]:
    """How far the hole is from its tooth's track, and one sigma of that, mm."""
    assert pin.tooth is not None
    return pin.r_mm - spread.track_r_mm[pin.tooth], math.hypot(spread.r_sigma_mm, pin.sigma_mm or 0.0)


def _track_words(pin: Pin, spread: Spread) -> str:
    off, sigma = _off_track(pin, spread)
    if abs(off) < OFF_SIGMAS * sigma:
        return "an empty hole on its tooth's track"
    return f"an empty hole {abs(off):.2f} mm off its tooth's track"


def _track_space_mm(spread: Spread) -> float:
    """Radius that one track of the face has to itself, mm."""
    radii = sorted(spread.track_r_mm.values())
    return max((radii[-1] - radii[0]) / max(len(radii) - 1, 1), LEAST_TRACK_MM)
