"""How much metal is left between a hole and whatever is near it: other holes of either face, rim, bore, slot, windows.

Holes are straight cylinders from a face to a depth; a hole whose depth nobody knows is taken as going through, which
can only make a wall look thinner than it is. A window is a crossing's opening: a part of a ring between two radii and
two angles. All in the disc's axes, where a through hole has one place for both faces, so nothing is mirrored here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from disc.design.arrange.free_places import SLOT_DEPTH_MM, SLOT_WIDTH_MM
from disc.design.settings import LEAST_WALL_MM
from disc.frame import angle_gap_deg, to_xy_mm, wrap_deg
from disc.records import Plate, Side
from disc.repin.records import MetalWall

Window = tuple[float, float, float, float]  # r_in_mm, r_out_mm, from_deg, to_deg counter-clockwise


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole drilled, standing or planned. depth_mm: from its own face; None: not known, taken as through."""

    side: Side
    x_mm: float
    y_mm: float
    diameter_mm: float
    depth_mm: float | None = None
    name: str = ""


def wall_between(a: Hole, b: Hole, thickness_mm: float | None) -> float:
    """Least metal between two holes, mm; negative: how far they run into each other sideways.

    Of opposite faces with known depths that do not overlap, the way between the rims of the two hole bottoms counts.
    """
    sideways = math.hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm) - (a.diameter_mm + b.diameter_mm) / 2.0
    if a.side is b.side or thickness_mm is None or a.depth_mm is None or b.depth_mm is None:
        return sideways
    between = thickness_mm - a.depth_mm - b.depth_mm
    if between <= 0.0:
        return sideways
    return math.hypot(max(sideways, 0.0), between)


def least_wall(hole: Hole, others: Iterable[Hole], plate: Plate, windows: Sequence[Window] = ()) -> MetalWall | None:
    """The thinnest metal beside a hole and what stands beyond it; None if there is nothing to be near to.

    The hole itself must not be among the others. The metal under a blind hole is bottom_wall()'s.
    """
    walls = [MetalWall(wall_between(hole, other, plate.thickness_mm), other.name) for other in others]
    walls += [
        MetalWall(gap - hole.diameter_mm / 2.0, name) for gap, name in edge_gaps(hole.x_mm, hole.y_mm, plate, windows)
    ]
    return min(walls, key=lambda wall: wall.wall_mm, default=None)


def edge_gaps(x_mm: float, y_mm: float, plate: Plate, windows: Sequence[Window] = ()) -> list[tuple[float, str]]:
    """Distance of a point from each edge of the metal, with the edge's name; negative outside the metal.

    A stop slot that was not measured is taken at a usual size.
    """
    r_mm = math.hypot(x_mm, y_mm)
    gaps = [(plate.radius_mm - r_mm, "the rim")]
    if plate.bore_mm is not None:
        gaps.append((r_mm - plate.bore_mm / 2.0, "the bore"))
    gaps.append((_slot_gap(x_mm, y_mm, plate.radius_mm, *slot_size_mm(plate)), "the stop slot"))
    gaps += [(window_gap(x_mm, y_mm, window), "a crossing's edge") for window in windows]
    return gaps


def slot_size_mm(plate: Plate) -> tuple[float, float]:
    """Width and depth of the stop slot; a usual size where it was not measured."""
    return plate.slot_width_mm or SLOT_WIDTH_MM, plate.slot_depth_mm or SLOT_DEPTH_MM


def _slot_gap(x_mm: float, y_mm: float, radius_mm: float, width_mm: float, depth_mm: float) -> float:
    """Distance from the notch, a strip of the given width from radius - depth outwards along the x axis."""
    inward = (radius_mm - depth_mm) - x_mm
    sideways = abs(y_mm) - width_mm / 2.0
    if inward > 0.0 and sideways > 0.0:
        return math.hypot(inward, sideways)
    return max(inward, sideways)


def window_gap(x_mm: float, y_mm: float, window: Window) -> float:
    """Distance of a point from a window's edge, negative inside it."""
    r_in, r_out, from_deg, to_deg = window
    r_mm = math.hypot(x_mm, y_mm)
    theta = math.degrees(math.atan2(y_mm, x_mm))
    span = float(wrap_deg(to_deg - from_deg))
    turned = float(wrap_deg(theta - from_deg))
    is_between = turned <= span
    corners = [(r, angle) for r in (r_in, r_out) for angle in (from_deg, to_deg)]
    to_edges = [_to_ray(r_mm, float(angle_gap_deg(theta, angle)), r_in, r_out) for angle in (from_deg, to_deg)]
    to_edges += [_to_corner(x_mm, y_mm, *corner) for corner in corners]
    if is_between:
        to_edges += [abs(r_mm - r_in), abs(r_mm - r_out)]
    gap = min(to_edges)
    return -gap if is_between and r_in <= r_mm <= r_out else gap


def _to_ray(r_mm: float, gap_deg: float, r_in: float, r_out: float) -> float:
    """Distance to the straight side of a window, infinite where the foot of the perpendicular is not on it."""
    along = r_mm * math.cos(math.radians(gap_deg))
    return r_mm * math.sin(math.radians(gap_deg)) if r_in <= along <= r_out else math.inf


def _to_corner(x_mm: float, y_mm: float, r_mm: float, theta_deg: float) -> float:
    corner_x, corner_y = to_xy_mm(r_mm, theta_deg)
    return float(np.hypot(x_mm - corner_x, y_mm - corner_y))


@dataclass(frozen=True, slots=True)
class Depth:
    """How deep to drill, and why not deeper. depth_mm None: the thickness is not known."""

    depth_mm: float | None
    words: str = ""
    is_tight: bool = False


# A pin should sit at least this many of its own diameters deep, and three are plenty. Common practice, no source.
LEAST_SEAT_DIAMETERS = 1.5
# Unless said otherwise: chosen by hand, not measured.
USUAL_SEAT_DIAMETERS = 3.0  # what is drilled where the plate allows it


def drill_depths(planned: Sequence[Hole], standing: Sequence[Hole], plate: Plate) -> tuple[Depth, ...]:
    """Depth of each hole to be drilled: three diameters, or what plate and the other face leave.

    LEAST_WALL_MM of metal is kept under it. Where two planned holes of opposite faces lie so near that they would meet,
    each gets half of what the plate has. The depth of a standing hole is not known; one that comes near leaves only the
    advice to gauge it first. depth_mm of the given holes is not used.
    """
    return tuple(_depth(hole, planned, standing, plate.thickness_mm) for hole in planned)


def _depth(hole: Hole, planned: Sequence[Hole], standing: Sequence[Hole], thickness_mm: float | None) -> Depth:
    if thickness_mm is None:
        return Depth(None, "the plate's thickness is not known: measure it before drilling")
    depth = min(USUAL_SEAT_DIAMETERS * hole.diameter_mm, thickness_mm - LEAST_WALL_MM)
    words, is_tight = "", False
    for other in planned:
        shared = (thickness_mm - LEAST_WALL_MM) / 2.0
        if shared < depth and _are_opposite(hole, other):
            depth, words = shared, f"no deeper: {other.name} comes from the other face"
    for other in standing:
        if _are_opposite(hole, other):
            words, is_tight = f"{other.name} of the other face may come through here: gauge its depth first", True
    if depth < LEAST_SEAT_DIAMETERS * hole.diameter_mm - 1e-9:
        words, is_tight = words or "the plate is too thin for a firm seat", True
    return Depth(round(max(depth, 0.0), 3), words, is_tight)


def _are_opposite(a: Hole, b: Hole) -> bool:
    """Whether two holes come from different faces and, going through, would leave less than LEAST_WALL_MM."""
    return a.side is not b.side and wall_between(a, b, None) < LEAST_WALL_MM
