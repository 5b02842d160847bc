"""What the photographs alone show: leaning pins, stubs, pins off their track or of another height, pins on no track.

Empty holes are seen here too, but whether a pin belongs in them is for holes.py, with the music's word.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from disc.check.evidence import SEEN, combine, limited, log_odds, normal_log_density, probability_of
from disc.check.kinds import Kind
from disc.comb.pin_spread import Spread, lean_mm
from disc.frame import along_motion_mm, angle_gap_deg
from disc.photo.marks.pins_from_sites import BENT_MM
from disc.records import Condition, Evidence, Finding, Pin, Plate
from disc.turn.assumed import ways_along

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# Leaning pins were seen up to here (the wire kinks or breaks beyond); their leans are taken as spread evenly between.
LARGEST_LEAN_MM = 0.5
# What the reader's own word for a pin is worth: it is right in at least nine of ten cases (its bar), and wrong about
# one sound pin in a hundred.
CONDITION_WEIGHT = math.log(0.9 / 0.01)
NOT_CALLED_WEIGHT = math.log(0.1 / 0.99)  # likewise, where it does not call it so
SURELY_READ = 0.98  # a mark that the reading is so sure of needs no neighbours to be judged by
STUB_READ = 0.9  # the same of a stub, in a table without the reading's own figure
BY_HAND = 0.998  # what a person set is taken to be so; a slip of the hand remains
# Two leaning pins of 49 on sixteen rendered discs stood straight: no more than this is known of a lean seen clearly.
MOST_SURE_LEAN = 0.98
# Of nine standing pins on no track that the reading was sure of, on seventeen rendered discs, one was a mark.
MOST_SURE_EXTRA = 0.9
# Marks that look broken off but not surely come one among some hundred pins; FEW_BESIDE or more of them within
# BESIDE_DEG of a face have a cause in common (light, blur, a shadow) sooner than so many breaks: seven of eight on the
# one such face of sixteen discs were sound pins.
FEW_BESIDE, BESIDE_DEG, BESIDE_WEIGHT = 3, 30.0, -3.0
TAIL_WEIGHT = -6.0  # a tail is some hundred times likelier than a second pin broken off in the same hole
# What the music may add to or take from a stub. A mark set at random on a track lies where the tune wants a strike
# about once in five times, so that agreeing is worth no more than that.
LEAST_HEARD, MOST_HEARD = -4.0, 1.6
# Before looking: common practice, no source; a few pins in a hundred lean, one in a few hundred was set off its track.
PRIOR_BENT = 0.03
PRIOR_OFF = 0.001  # off its track
PRIOR_STUB = 0.02  # two pins in a hundred broken off
# Heights differ on purpose between discs, not within a track; less than this share is not worth a person's time.
HEIGHT_TOLERANCE_SHARE = 0.25
HEIGHT_TOLERANCE_SIGMAS = 5.0  # of some 200 pins none is that far off by chance
OFF_TRACK_TOLERANCE_MM = 0.08  # less costs no tone: the tip is wider; common practice, no source
OFF_TRACK_TOLERANCE_SIGMAS = 4.8  # of some 200 pins none is that far off by chance, a small track's own error included
NO_TRACK_WEIGHT = 6.0  # log-odds; assign.py's own limit, 99 %
PRIOR_NO_TRACK = 0.1  # of a standing pin without a tooth to be no playing pin
SET_WRONG_MM = 0.3  # a pin set wrong may stand anywhere up to half the way to the next track
NAMED_SHARE = 0.4  # of a lean: a direction that has less of it is not named
# One straight pin in fifty is read worse than the rest (dirt at its foot, glare on its tip). No source.
ILL_READ_SHARE = 0.02
ILL_READ_SPREAD = 1.7  # times the usual error, for those; chosen by hand
REPORT_FROM = 0.5  # told where it is likelier than not


def seen_findings(pins: Iterable[Pin], plate: Plate, spread: Spread) -> tuple[Finding, ...]:
    """Findings from shape and place of each standing pin alone, in the pins' order. pins: with their teeth."""
    findings = []
    for pin in pins:
        for judge in (judge_lean, judge_track, judge_height):
            finding = judge(pin, plate, spread)
            if finding is not None and finding.probability >= REPORT_FROM:
                findings.append(finding)
    return tuple(findings)


def finding_at(pin: Pin, kind: Kind, probability: float, *evidence: Evidence) -> Finding:
    """A finding about one pin or hole, at its place."""
    return Finding(
        kind.value, pin.side, pin.r_mm, pin.theta_deg, probability, tuple(evidence), pin_id=pin.id, tooth=pin.tooth
    )


def judge_lean(pin: Pin, plate: Plate, spread: Spread) -> Finding | None:
    """Whether a standing pin leans. None for what does not stand."""
    if not pin.plays:
        return None
    evidence = []
    lean = lean_mm(pin)
    if lean is not None:
        evidence.append(Evidence(SEEN, lean_words(pin, plate), lean_weight(lean, spread.lean_sigma_mm[pin.side])))
    if pin.condition is Condition.BENT:
        evidence.append(Evidence(SEEN, "the reading calls it bent", CONDITION_WEIGHT))
    elif lean is not None:
        evidence.append(Evidence(SEEN, "the reading calls it sound", NOT_CALLED_WEIGHT))
    if not evidence:
        return None
    leans = min(combine(PRIOR_BENT, evidence), MOST_SURE_LEAN)
    return finding_at(pin, Kind.BENT, leans * site_probability(pin), *evidence)


def lean_weight(lean: float, sigma_mm: float) -> float:
    """ln of (density of this lean among leaning pins / among straight ones), both in 1/mm.

    Straight: Rayleigh with sigma_mm along each axis, a few pins read worse. Leaning: even from the tolerance to
    LARGEST_LEAN_MM, its edge softened by the same sigma.
    """
    well, ill = (_rayleigh(lean, sigma) for sigma in (sigma_mm, ILL_READ_SPREAD * sigma_mm))
    straight = math.log(max((1.0 - ILL_READ_SHARE) * well + ILL_READ_SHARE * ill, 1e-30))
    inside = 0.5 * math.erfc((BENT_MM - lean) / (sigma_mm * math.sqrt(2.0)))
    leaning = math.log(max(inside, 1e-12) / (LARGEST_LEAN_MM - BENT_MM))
    return limited(leaning - straight)


def _rayleigh(x: float, sigma: float) -> float:
    return max(x, 1e-6) / sigma**2 * math.exp(-0.5 * (x / sigma) ** 2)


def lean_words(pin: Pin, plate: Plate) -> str:
    """How far and which way a pin leans."""
    along, outward = along_motion_mm(pin.lean_x_mm or 0.0, pin.lean_y_mm or 0.0, pin.theta_deg, plate.turns)
    lean = math.hypot(along, outward)
    parts = []
    if abs(along) >= NAMED_SHARE * lean:
        ahead, behind = ways_along(plate, "with the motion", "against the motion")
        parts.append(ahead if along > 0 else behind)
    if abs(outward) >= NAMED_SHARE * lean:
        parts.append("outward" if outward > 0 else "inward")
    return f"its tip stands {lean:.2f} mm off its root, {' and '.join(parts)}"


def judge_stub(
    pin: Pin, tail_of: Pin | None = None, wanted: Sequence[Evidence] = (), beside: int = 0
) -> Finding | None:
    """Whether a pin is broken off in its hole. None where that is not so, or the mark is on no tooth's track.

    tail_of: a standing pin of the other face in the same hole. wanted: what the music says of a strike here, as weights
    for "a pin belongs here". It tells dirt from a pin's place and cannot tell a stub from a sound pin: it speaks to
    whether a site is here, never to its condition. beside: how many more marks about it look so (see alike_beside).
    """
    if pin.condition is not Condition.STUB or pin.tooth is None:
        return None
    words = "a root without a pin" if not pin.height_mm else f"only {pin.height_mm:.2f} mm high"
    read = read_probability(pin, STUB_READ)
    evidence = [Evidence(SEEN, words, limited(log_odds(read) - log_odds(PRIOR_STUB)))]
    if tail_of is not None:
        place = f"pin {tail_of.id} of the {tail_of.side.value} face stands in the same hole: this may be its tail"
        evidence.append(Evidence(SEEN, place, TAIL_WEIGHT))
    if beside >= FEW_BESIDE:
        alike = f"{beside} marks beside it look so, too: sooner the light or the focus than so many breaks"
        evidence.append(Evidence(SEEN, alike, BESIDE_WEIGHT))
    if wanted:
        site = site_probability(pin)
        heard = max(LEAST_HEARD, min(MOST_HEARD, sum(item.weight for item in wanted)))
        with_music = probability_of(log_odds(site) + heard) * read / site
        strongest = max(wanted, key=lambda item: abs(item.weight))
        evidence.append(replace(strongest, weight=log_odds(with_music) - log_odds(read)))
    return finding_at(pin, Kind.STUB, combine(PRIOR_STUB, evidence), *evidence)


def alike_beside(pin: Pin, stubs: Sequence[Pin]) -> int:
    """How many more marks of its face, not surely broken off either, lie within BESIDE_DEG; 0 for a sure one."""
    unsure = [stub for stub in stubs if read_probability(stub, STUB_READ) < SURELY_READ]
    if pin not in unsure:
        return 0
    near = [s for s in unsure if s.side is pin.side and angle_gap_deg(s.theta_deg, pin.theta_deg) <= BESIDE_DEG]
    return len(near) - 1


def site_probability(pin: Pin) -> float:
    """How sure the reading is that there is something here at all; what a person set has none of its doubt."""
    return BY_HAND if pin.confidence is None else min(pin.confidence, BY_HAND)


def read_probability(pin: Pin, unread: float) -> float:
    """How sure the reading is that something is here and is what it is called; unread: without figures."""
    if pin.confidence is None or pin.confidence >= 1.0:
        return BY_HAND
    return pin.confidence * (unread if pin.condition_probability is None else pin.condition_probability)


def judge_track(pin: Pin, plate: Plate, spread: Spread) -> Finding | None:
    """Whether a standing pin is off its tooth's track, or on no track at all."""
    standing = pin.plays or (pin.condition is Condition.EXTRA and bool(pin.height_mm))
    if not standing:
        return None
    if pin.tooth is None or pin.tooth not in spread.track_r_mm:
        evidence = Evidence(SEEN, "it stands on no tooth's track", NO_TRACK_WEIGHT)
        sure = min(combine(PRIOR_NO_TRACK, [evidence]), MOST_SURE_EXTRA)
        return finding_at(pin, Kind.EXTRA, sure * read_probability(pin, 1.0), evidence)
    off = pin.r_mm - spread.track_r_mm[pin.tooth]
    sigma = spread.r_sigma_mm
    if abs(off) < max(OFF_TRACK_TOLERANCE_MM, OFF_TRACK_TOLERANCE_SIGMAS * sigma):
        return None
    weight = limited(-math.log(2.0 * SET_WRONG_MM) - normal_log_density(off, sigma))
    where = "outside" if off > 0 else "inside"
    words = f"{abs(off):.2f} mm {where} its tooth's track; its neighbours lie within {2 * sigma:.2f} mm"
    evidence = Evidence(SEEN, words, weight)
    return finding_at(pin, Kind.OFF_TRACK, combine(PRIOR_OFF, [evidence]), evidence)


def judge_height(pin: Pin, plate: Plate, spread: Spread) -> Finding | None:
    """Whether a standing, straight pin is much taller or shorter than the usual one of its face."""
    usual, sigma = spread.height_mm[pin.side], spread.height_sigma_mm[pin.side]
    if pin.condition is not Condition.SOUND or not pin.height_mm or usual is None or sigma is None:
        return None
    off = pin.height_mm - usual
    if abs(off) < max(HEIGHT_TOLERANCE_SHARE * usual, HEIGHT_TOLERANCE_SIGMAS * sigma):
        return None
    weight = limited(-math.log(2.0 * usual) - normal_log_density(off, sigma))
    word = "taller" if off > 0 else "shorter"
    evidence = Evidence(SEEN, f"{pin.height_mm:.2f} mm high, {abs(off):.2f} mm {word} than usual here", weight)
    return finding_at(pin, Kind.UNEVEN_HEIGHT, combine(PRIOR_OFF, [evidence]), evidence)
