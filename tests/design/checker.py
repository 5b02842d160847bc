"""An independent check of a finished layout: from the pins, the comb and the plate, with none of the planner's code.

Clearances with shapely, timing with its own strike equation (conventions: turn = s (phi - theta) mod 360). Each broken
rule is one line of words.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from shapely import STRtree, box
from shapely.geometry import Point, Polygon

from disc.records import Comb, Pin, Plate, Tooth
from tests.bench.truth.known import known

TOLERANCE_MM = 1e-4  # half of what a polygon of 2000 sides cuts off a 17 mm circle is far below this


@dataclass(frozen=True)
class Rules:
    """The clearances asked for, mm and degrees."""

    pin_diameter_mm: float = 0.25
    wall_mm: float = 0.10
    tip_room_mm: float = 0.12
    tip_width_mm: float = 0.20
    passing_air_mm: float = 0.05
    edge_mm: float = 0.25
    hub_mm: float = 0.0
    slot_width_mm: float = 1.0
    slot_depth_mm: float = 0.9
    keep_out: tuple[Polygon, ...] = ()


def circle(r: float, x: float = 0.0, y: float = 0.0) -> Polygon:
    """A circle as a polygon of 2000 sides."""
    steps = [2 * math.pi * i / 2000 for i in range(2000)]
    return Polygon([(x + r * math.cos(a), y + r * math.sin(a)) for a in steps])


def metal(plate: Plate, rules: Rules) -> Polygon:
    """The plate's metal: the disc without bore or boss, stop slot and keep-out zones."""
    radius = plate.diameter_mm / 2
    left = circle(radius)
    inner = max(plate.bore_mm or 0.0, rules.hub_mm) / 2
    if inner:
        left = left.difference(circle(inner))
    half = rules.slot_width_mm / 2
    left = left.difference(box(radius - rules.slot_depth_mm, -half, radius + 1, half))
    for zone in rules.keep_out:
        left = left.difference(zone)
    return left


def place(r: float, theta: float) -> Point:
    return Point(r * math.cos(math.radians(theta)), r * math.sin(math.radians(theta)))


def turned_deg(theta: float, phi: float, turns: str) -> float:
    sign = {"clockwise": -1, "counterclockwise": 1}[turns]
    return (sign * (phi - theta)) % 360.0


def broken_rules(pins: Sequence[Pin], comb: Comb, plate: Plate, rules: Rules) -> list[str]:
    """Every rule a layout breaks, one line each; empty if it can be made and plays."""
    teeth = {tooth.number: tooth for tooth in comb.teeth}
    where = [place(p.r_mm, p.theta_deg) for p in pins]
    return [
        *_holes(pins, where, rules),
        *_edges(pins, where, metal(plate, rules), rules),
        *_timing(pins, teeth, plate),
        *_passing(pins, teeth, rules),
    ]


def _holes(pins: Sequence[Pin], where: Sequence[Point], rules: Rules) -> list[str]:
    tree = STRtree(where)
    on_track = rules.pin_diameter_mm + max(rules.wall_mm, rules.tip_room_mm)
    apart = rules.pin_diameter_mm + rules.wall_mm
    found = []
    for i, point in enumerate(where):
        for j in tree.query(point, predicate="dwithin", distance=on_track + 1.0):
            if j <= i:
                continue
            least = on_track if pins[i].tooth == pins[j].tooth else apart
            gap = point.distance(where[j])
            if gap < least - TOLERANCE_MM:
                found.append(f"pins {pins[i].id} and {pins[j].id}: {gap:.3f} mm apart, least {least:.3f}")
    return found


def _edges(pins: Sequence[Pin], where: Sequence[Point], plate: Polygon, rules: Rules) -> list[str]:
    found = []
    edge = plate.boundary
    for pin, point in zip(pins, where, strict=True):
        if not plate.contains(point):
            found.append(f"pin {pin.id} does not stand in the metal")
        elif point.distance(edge) - rules.pin_diameter_mm / 2 < rules.edge_mm - TOLERANCE_MM:
            found.append(f"pin {pin.id}: {point.distance(edge):.3f} mm from an edge")
    return found


def _timing(pins: Sequence[Pin], teeth: dict[int, Tooth], plate: Plate) -> list[str]:
    found = []
    by_tooth: dict[int, list[float]] = defaultdict(list)
    for pin in pins:
        tooth = teeth[known(pin.tooth, "a pin's tooth")]
        turn = turned_deg(pin.theta_deg, known(tooth.tip_theta_deg, "a tip's angle"), plate.turns.value)
        by_tooth[tooth.number].append(turn)
        if not plate.rest_arc_deg / 2 - 1e-3 <= turn <= 360 - plate.rest_arc_deg / 2 + 1e-3:
            found.append(f"pin {pin.id} sounds in the rest arc, at {turn:.2f} degrees")
    for number, turns in by_tooth.items():
        hertz = 440.0 * 2 ** ((known(teeth[number].pitch, "a tooth's pitch") - 69) / 12)
        least_s = 0.06 + 20 / hertz  # the house rule: 60 ms to fall back and 20 swings to be damped
        turns.sort()
        for a, b in pairwise([*turns, turns[0] + 360.0]):
            gap_s = (b - a) / 360.0 * plate.revolution_s
            if gap_s < least_s - 1e-5:
                found.append(f"tooth {number}: struck again after {gap_s:.3f} s, needs {least_s:.3f}")
    return found


def _passing(pins: Sequence[Pin], teeth: dict[int, Tooth], rules: Rules) -> list[str]:
    found = []
    least = rules.pin_diameter_mm / 2 + rules.tip_width_mm / 2 + rules.passing_air_mm
    for pin in pins:
        own = teeth[known(pin.tooth, "a pin's tooth")]
        if pin.side is not own.side or abs(pin.r_mm - own.tip_r_mm) > 1e-3:
            found.append(f"pin {pin.id} is off its tooth's track")
        for tooth in teeth.values():
            near = tooth.side is pin.side and abs(tooth.tip_r_mm - pin.r_mm) < least - TOLERANCE_MM
            if near and tooth.number != pin.tooth:
                found.append(f"pin {pin.id} touches the tip of tooth {tooth.number}")
    return found
