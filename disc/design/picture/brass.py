"""The look of the plate: turned brass, its rim, bore, stop slot, screws and openings, lit from a window.

A turned face carries fine circles; light glances off them in two bright sectors towards and away from the lamp, which
is what makes it look turned. All edges are drawn from distances in mm, so that they are smooth at any size.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from disc.design.arrange.free_places import SLOT_DEPTH_MM, SLOT_WIDTH_MM
from disc.design.settings import KeepOut, Opening, Spot
from disc.frame import FloatArray, disc_to_view_mm, to_xy_mm, wrap_deg
from disc.records import Plate, Side

BRASS = (0.80, 0.615, 0.295)  # linear-light colour of clean brass under daylight, by eye
STEEL = (0.60, 0.61, 0.63)  # polished steel likewise, by eye
BEVEL_MM = 0.12  # broken edge of the plate, by eye
# Unless said otherwise: chosen by eye on the drawn disc.
SLOT_EDGE_MM = 0.04  # a screw's slot is not drawn sharper than this
GROOVE_MM = 0.045  # spacing of the turning marks


@dataclass(frozen=True, slots=True)
class Light:
    """Where the window is, in face axes, and how strong against the light from all round."""

    azimuth_deg: float = 125.0
    elevation_deg: float = 48.0
    strength: float = 0.75

    @property
    def flat(self) -> tuple[float, float]:
        """Unit vector along the face towards the window."""
        return math.cos(math.radians(self.azimuth_deg)), math.sin(math.radians(self.azimuth_deg))


def edge_distance_mm(x: FloatArray, y: FloatArray, plate: Plate, zones: tuple[KeepOut, ...], side: Side) -> FloatArray:
    """How far inside the metal a place of the view lies, mm; negative in bore, slot and openings, and outside."""
    r = np.hypot(x, y)
    inside = plate.radius_mm - r
    if plate.bore_mm:
        inside = np.minimum(inside, r - plate.bore_mm / 2)
    width, depth = plate.slot_width_mm or SLOT_WIDTH_MM, plate.slot_depth_mm or SLOT_DEPTH_MM
    from_slot = np.maximum(np.abs(y) - width / 2, plate.radius_mm - depth - x)
    inside = np.minimum(inside, np.where(x > 0, from_slot, np.inf))
    for zone in zones:
        if isinstance(zone, Opening):
            inside = np.minimum(inside, -_sector_depth_mm(x, y, zone, side))
    return inside


def _sector_depth_mm(x: FloatArray, y: FloatArray, zone: Opening, side: Side) -> FloatArray:
    """How deep inside an opening a place lies, mm, negative outside."""
    back_x, back_y = disc_to_view_mm(x, y, side)  # the mirror undoes itself
    r, theta = np.hypot(back_x, back_y), np.rad2deg(np.arctan2(back_y, back_x))
    start = zone.from_theta_deg
    half = float(wrap_deg(zone.to_theta_deg - start)) / 2
    off = (theta - start - half + 180.0) % 360.0 - 180.0
    middle = (zone.from_r_mm + zone.to_r_mm) / 2
    band = (zone.to_r_mm - zone.from_r_mm) / 2 - np.abs(r - middle)
    across = np.deg2rad(half - np.abs(off)) * r
    return np.minimum(band, across)


def brass_colour(x: FloatArray, y: FloatArray, inside_mm: FloatArray, light: Light, seed: int) -> FloatArray:
    """Colour of the plate at each place of the view, shape (..., 3), linear light. seed: of the turning marks."""
    r = np.hypot(x, y)
    toward = (x * light.flat[0] + y * light.flat[1]) / np.maximum(r, 1e-6)
    glance = np.abs(toward) ** 6
    marks = _turning_marks(r, seed)
    shade = 0.52 + light.strength * (0.20 + 0.42 * glance) * (1.0 + 0.5 * marks) + 0.05 * marks
    slope = (x * light.flat[0] + y * light.flat[1]) / 40.0  # the window is nearer on one side
    bevel = np.clip(1.0 - inside_mm / BEVEL_MM, 0.0, 1.0)
    shade = shade * (1.0 + slope) + bevel * (0.28 * toward * light.strength)
    colour = np.array(BRASS) * shade[..., None]
    # Glancing light keeps the lamp's own white rather than the brass's yellow.
    return (
        colour + (0.16 * light.strength * glance)[..., None] * np.array([0.9, 0.95, 1.0]) * (1 + 0.6 * marks)[..., None]
    )


def _turning_marks(r: FloatArray, seed: int) -> FloatArray:
    """Height of the turning marks at a radius, about -1 to 1: noise over the radius, the same all round."""
    rng = np.random.default_rng(seed)
    table = rng.normal(0.0, 1.0, 4096)
    table = 0.6 * table + 0.4 * np.convolve(table, np.ones(9) / 3.0, mode="same")
    place = r / GROOVE_MM
    low = np.floor(place).astype(int) % table.size
    part = place - np.floor(place)
    return np.clip((1 - part) * table[low] + part * table[(low + 1) % table.size], -2, 2) / 2


def screw_colour(x: FloatArray, y: FloatArray, zone: Spot, side: Side, light: Light) -> tuple[FloatArray, FloatArray]:
    """(how far inside the screw's head in mm, its colour): a polished steel head with a slot."""
    cx, cy = disc_to_view_mm(*to_xy_mm(zone.r_mm, zone.theta_deg), side)
    radius = zone.diameter_mm / 2
    dx, dy = x - cx, y - cy
    distance = np.hypot(dx, dy)
    toward = (dx * light.flat[0] + dy * light.flat[1]) / max(radius, 1e-6)
    shade = 0.62 + 0.25 * toward
    turned = math.radians(37.0 + 11.0 * zone.theta_deg)
    across = np.abs(-dx * math.sin(turned) + dy * math.cos(turned))
    slot = np.clip((0.12 * radius - across) / SLOT_EDGE_MM + 0.5, 0.0, 1.0)
    shade = shade * (1 - slot) + 0.12 * slot
    return radius - distance, np.array(STEEL) * shade[..., None]
