"""Findings from clearances: what the tooth, the tip or the plate has no room for.

A disc that has played for a century breaks none of these rules with its own pins, or breaks them everywhere and does
not mind; so a rule is applied only as strictly as the disc itself keeps it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import exp, lgamma, log

import numpy as np

from disc.check.evidence import MECHANICAL, combine
from disc.check.kinds import Kind
from disc.check.mechanics.clearance import (
    HoleWall,
    TipClash,
    TrackGap,
    close_walls,
    depth_in_rest_arc_deg,
    diameter_of,
    hole_distances_mm,
    tip_clashes,
    tip_width_mm,
    track_gaps,
)
from disc.check.photo.photo_findings import finding_at
from disc.comb.pin_spread import Spread
from disc.design.settings import LEAST_WALL_MM
from disc.frame import wrap_deg
from disc.records import USUAL_DIAMETER_MM, Comb, Evidence, Finding, Pin, Plate, Side, Strike

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# What a broken rule of space is worth where the measurement leaves no doubt; the prior is that of a rare slip.
CLEAR_BREACH = 7.0
PRIOR = 0.02  # no source
# A pin in the rest arc must lie in it by more than the reading may be wrong: about a third of a pin at 8 mm radius.
REST_ARC_DOUBT_DEG = 0.5
REST_ARC_STEPS = 12  # places to either side at which the arc is tried
SEVERAL_PINS = 2  # one pin in the arc is a slip; from so many on the arc is taken to lie elsewhere
# The maker is taken to have kept the holes of the faces apart where chance brings so few close pairs this seldom.
KEPT_APART_CHANCE = 0.003
TURNS_FOR_CHANCE = 24  # relative turns of the two faces over which chance is counted


def mechanical_findings(
    pins: Sequence[Pin], comb: Comb, plate: Plate, spread: Spread, strikes: Iterable[Strike]
) -> tuple[Finding, ...]:
    """All findings about space. strikes: of the playing pins, from which the rest arc is judged."""
    return (
        *(close_on_track(gap) for gap in track_gaps(pins, comb, plate) if gap.is_too_close),
        *in_rest_arc(pins, plate, strikes),
        *in_the_way(pins, comb, spread),
        *thin_walls(pins),
    )


def close_on_track(gap: TrackGap) -> Finding:
    """A finding for two pins of one tooth without room between them; placed at the second."""
    if gap.gap_mm < gap.need_mm:
        words = f"{gap.gap_mm:.2f} mm after pin {gap.first.id}; the tip needs {gap.need_mm:.2f} mm to drop between"
    else:
        words = (
            f"{1000 * gap.gap_s:.0f} ms after pin {gap.first.id}; "
            f"the tooth needs {1000 * gap.need_s:.0f} ms to come back and be damped"
        )
    evidence = Evidence(MECHANICAL, words, CLEAR_BREACH)
    return finding_at(gap.second, Kind.CLOSE_ON_TRACK, combine(PRIOR, [evidence]), evidence)


def in_rest_arc(pins: Iterable[Pin], plate: Plate, strikes: Iterable[Strike]) -> tuple[Finding, ...]:
    """Pins that strike while the movement starts or stops."""
    by_id = {pin.id: pin for pin in pins}
    findings = []
    strikes = tuple(strikes)
    middle_deg = middle_of_rest_arc_deg(strikes, plate)
    for strike in strikes:
        depth = depth_in_rest_arc_deg(strike.turn_deg - middle_deg, plate.rest_arc_deg)
        if depth > REST_ARC_DOUBT_DEG and strike.pin_id in by_id:
            evidence = Evidence(MECHANICAL, f"{depth:.1f} degrees inside the rest arc", CLEAR_BREACH)
            pin = by_id[strike.pin_id]
            findings.append(finding_at(pin, Kind.IN_REST_ARC, combine(PRIOR, [evidence]), evidence))
    return tuple(findings)


def middle_of_rest_arc_deg(strikes: Sequence[Strike], plate: Plate) -> float:
    """Where the maker laid the middle of the rest arc, degrees of turn from rest.

    Evenly about rest, unless that would put several pins into it which an arc moved a little leaves out.
    """

    def broken_by(middle_deg: float) -> int:
        depths = (depth_in_rest_arc_deg(strike.turn_deg - middle_deg, plate.rest_arc_deg) for strike in strikes)
        return sum(depth > REST_ARC_DOUBT_DEG for depth in depths)

    half = plate.rest_arc_deg / 2.0
    shifts = sorted(np.linspace(-half, half, 2 * REST_ARC_STEPS + 1).tolist(), key=abs)
    best = min(shifts, key=broken_by)
    return best if broken_by(best) <= broken_by(0.0) - SEVERAL_PINS else 0.0


def in_the_way(pins: Sequence[Pin], comb: Comb, spread: Spread) -> tuple[Finding, ...]:
    """Pins that touch the tip of a tooth not their own."""
    tracks = spread.track_r_mm
    side_of = {tooth.number: tooth.side for tooth in comb.teeth}
    width = {
        side: tip_width_mm(np.array([r for t, r in tracks.items() if side_of[t] is side]), _usual_diameter(pins, side))
        for side in Side
    }
    worst: dict[int, TipClash] = {}
    for clash in tip_clashes(pins, tracks, side_of, width):
        if clash.pin.id not in worst or clash.free_mm < worst[clash.pin.id].free_mm:
            worst[clash.pin.id] = clash
    findings = []
    for clash in worst.values():
        evidence = Evidence(
            MECHANICAL, f"its end overlaps the tip of tooth {clash.tooth} by {-clash.free_mm:.2f} mm", CLEAR_BREACH
        )
        findings.append(finding_at(clash.pin, Kind.IN_THE_WAY, combine(PRIOR, [evidence]), evidence))
    return tuple(findings)


def thin_walls(pins: Sequence[Pin]) -> tuple[Finding, ...]:
    """Holes of the two faces that nearly meet, on a disc whose maker kept them apart.

    Where the maker did not (the holes are blind, and overlap by chance as often as not), none is a fault.
    """
    upper = [pin for pin in pins if pin.side is Side.UPPER]
    lower = [pin for pin in pins if pin.side is Side.LOWER]
    walls = close_walls(upper, lower, LEAST_WALL_MM)
    if not walls:
        return ()
    # That few or fewer, of a Poisson number of close pairs.
    mean = pairs_by_chance(upper, lower, LEAST_WALL_MM)
    if _poisson_at_most(len(walls), mean) > KEPT_APART_CHANCE:
        return ()
    return tuple(_thin_wall(wall) for wall in walls)


def _poisson_at_most(count: int, mean: float) -> float:
    """Chance of so many or fewer of a Poisson number. (scipy.stats would take longer to load than the whole check.)"""
    return sum(exp(-mean + number * log(mean) - lgamma(number + 1)) for number in range(count + 1)) if mean > 0 else 1.0


def pairs_by_chance(upper: Sequence[Pin], lower: Sequence[Pin], least_mm: float) -> float:
    """Mean number of pairs closer than least_mm if the faces had been turned against each other at random."""
    if not upper or not lower:
        return 0.0
    counts = []
    for step in range(1, TURNS_FOR_CHANCE):
        turned = [_turned(pin, 360.0 * step / TURNS_FOR_CHANCE) for pin in lower]
        need = np.add.outer([diameter_of(p) / 2 for p in upper], [diameter_of(p) / 2 for p in turned]) + least_mm
        counts.append(int((hole_distances_mm(upper, turned) < need).sum()))
    return float(np.mean(counts))


def _turned(pin: Pin, by_deg: float) -> Pin:
    return Pin(pin.id, pin.side, pin.r_mm, float(wrap_deg(pin.theta_deg + by_deg)), pin.diameter_mm)


def _thin_wall(wall: HoleWall) -> Finding:
    other = wall.second if wall.first.side is Side.UPPER else wall.first
    words = f"{wall.wall_mm:.2f} mm of metal to the hole of pin {other.id} on the {other.side.value} face"
    evidence = Evidence(MECHANICAL, words, CLEAR_BREACH)
    return finding_at(wall.first, Kind.THIN_WALL, combine(PRIOR, [evidence]), evidence)


def _usual_diameter(pins: Iterable[Pin], side: Side) -> float:
    diameters = [pin.diameter_mm for pin in pins if pin.side is side and pin.diameter_mm]
    return float(np.median(diameters)) if diameters else USUAL_DIAMETER_MM
