"""Where each note's pin would stand on each tooth's track, and which of these places are free.

A place is free if the pin keeps its distance from the rim, the bore or boss, the stop slot, the keep-out zones and the
pins that stay. What two new pins may not do to each other is in conflicts.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.design.arrange.pitches import PlayingComb
from disc.design.settings import DesignSettings, KeepOut, Opening, Spot
from disc.frame import FULL_TURN_DEG, FloatArray, angle_difference_deg, theta_for, to_xy_mm, wrap_deg
from disc.records import Pin, Plate

BoolArray = npt.NDArray[np.bool_]
# Unless said otherwise: chosen by hand, not measured.
# The pin table is written to 0.0001 mm and 0.0001 degrees; distances are planned this much wider, so that what is read
# back from the table still keeps the rules.
ROUNDING_MM = 0.0002
# A slot whose depth or width was not measured is taken as this large: common practice, no source.
SLOT_WIDTH_MM, SLOT_DEPTH_MM = 1.0, 0.9


@dataclass(frozen=True, slots=True)
class Places:
    """All thinkable places: rows are notes, columns teeth. turn_deg: shape (n,); the others shape (n, k)."""

    turn_deg: FloatArray
    theta_deg: FloatArray
    r_mm: FloatArray
    free: BoolArray


def find_places(
    turn_deg: FloatArray, comb: PlayingComb, plate: Plate, settings: DesignSettings, kept: Sequence[Pin] = ()
) -> Places:
    """Every note on every tooth. turn_deg: turn of each note, shape (n,). kept: old pins that stay."""
    tips = np.array([tooth.tip_theta_deg for tooth in comb.teeth])
    radii = np.array([tooth.tooth.tip_r_mm for tooth in comb.teeth])
    theta = theta_for(turn_deg[:, None], tips[None, :], plate.turns)
    r = np.broadcast_to(radii, theta.shape)
    free = _ring_is_free(radii, plate, settings)[None, :] & ~_in_slot(r, theta, plate, settings)
    free &= _in_playing_arc(turn_deg, plate)[:, None]
    for zone in settings.keep_out:
        free &= ~_in_zone(r, theta, zone, settings)
    for pin in kept:
        free &= _gap_mm(r, theta, pin.r_mm, pin.theta_deg) >= settings.hole_distance_mm + ROUNDING_MM
    return Places(turn_deg, theta, r, free)


def _in_playing_arc(turn_deg: FloatArray, plate: Plate) -> BoolArray:
    """Whether a strike falls outside the rest arc, half of which lies before the stop and half after it."""
    half = plate.rest_arc_deg / 2
    return (turn_deg >= half - 1e-9) & (turn_deg <= FULL_TURN_DEG - half + 1e-9)


def _ring_is_free(radii: FloatArray, plate: Plate, settings: DesignSettings) -> BoolArray:
    """Whether the whole track keeps off the rim and off the bore or boss."""
    reach = settings.pin_diameter_mm / 2 + settings.edge_mm + ROUNDING_MM
    inner = max(plate.bore_mm or 0.0, settings.hub_mm) / 2
    return (radii + reach <= plate.radius_mm) & (radii - reach >= inner)


def _in_slot(r: FloatArray, theta: FloatArray, plate: Plate, settings: DesignSettings) -> BoolArray:
    """Whether a pin would come too near the stop slot, a notch of the rim at theta 0."""
    width, depth = plate.slot_width_mm or SLOT_WIDTH_MM, plate.slot_depth_mm or SLOT_DEPTH_MM
    x, y = to_xy_mm(r, theta)
    beside = np.maximum(np.abs(y) - width / 2, 0.0)
    inside = np.maximum(plate.radius_mm - depth - x, 0.0)
    return np.hypot(beside, inside) < settings.pin_diameter_mm / 2 + settings.edge_mm + ROUNDING_MM


def _in_zone(r: FloatArray, theta: FloatArray, zone: KeepOut, settings: DesignSettings) -> BoolArray:
    reach = settings.pin_diameter_mm / 2 + settings.edge_mm + ROUNDING_MM
    if isinstance(zone, Spot):
        return _gap_mm(r, theta, zone.r_mm, zone.theta_deg) < zone.diameter_mm / 2 + reach
    return _sector_gap_mm(r, theta, zone) < reach


def _sector_gap_mm(r: FloatArray, theta: FloatArray, zone: Opening) -> FloatArray:
    """Distance from a place to a ring sector, 0 inside: to its arcs where level with it, else to its straight sides."""
    low, high, start = zone.from_r_mm, zone.to_r_mm, zone.from_theta_deg
    width = float(wrap_deg(zone.to_theta_deg - start))
    along = wrap_deg(theta - start)
    level = np.maximum(np.maximum(low - r, r - high), 0.0)
    sides = np.minimum(
        _gap_to_side(r, angle_difference_deg(theta, np.full_like(theta, start)), low, high),
        _gap_to_side(r, angle_difference_deg(theta, np.full_like(theta, start + width)), low, high),
    )
    return np.where(along <= width, level, sides)


def _gap_to_side(r: FloatArray, off_deg: FloatArray, low: float, high: float) -> FloatArray:
    """Distance to a radial edge from low to high, off_deg away in angle."""
    along = np.clip(r * np.cos(np.deg2rad(off_deg)), low, high)
    across = r * np.exp(1j * np.deg2rad(off_deg))
    return np.abs(across - along)


def _gap_mm(r: FloatArray, theta: FloatArray, r_mm: float, theta_deg: float) -> FloatArray:
    x, y = to_xy_mm(r, theta)
    x0, y0 = to_xy_mm(r_mm, theta_deg)
    return np.hypot(x - x0, y - y0)


def least_turn_deg(r_mm: float, distance_mm: float) -> float:
    """The turn between two pins of one track whose centres are this far apart; 360 if the track is too small."""
    share = distance_mm / (2 * r_mm) if r_mm > 0 else 2.0
    return 360.0 if share >= 1 else 2 * math.degrees(math.asin(share))


def passing_pairs(comb: PlayingComb, settings: DesignSettings) -> tuple[tuple[int, int], ...]:
    """Pairs of teeth (columns) of one face so close in radius that a pin of one would touch the other's tip."""
    pairs = []
    for a, first in enumerate(comb.teeth):
        for b in range(a + 1, len(comb.teeth)):
            second = comb.teeth[b]
            near = abs(first.tooth.tip_r_mm - second.tooth.tip_r_mm) < settings.passing_distance_mm
            if near and first.tooth.side is second.tooth.side:
                pairs.append((a, b))
    return tuple(pairs)
