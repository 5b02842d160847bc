"""Mechanical clearances: what is too near to what, on a face, through the plate and in time. Pure geometry.

In: pins with their teeth, comb, plate. Out: small records with the distance found and the distance needed, for every
pair or pin that breaks a rule. Nothing is weighed here; mechanical.py makes findings of it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from disc.comb.bar import return_time_s
from disc.frame import FloatArray, angle_gap_deg, onset_s, to_xy_mm, turn_deg, wrap_deg
from disc.records import USUAL_DIAMETER_MM, Comb, Condition, Pin, Plate, Side

# A tooth's tip must drop into the gap behind a pin before the next one lifts it: it needs a little more room than the
# pin is thick. Common practice, no source.
DROP_ROOM_MM = 0.02
# Free space wanted between a pin and the tip of a tooth that it must pass. Common practice, no source.
PASSING_ROOM_MM = 0.03
# A tip is filed narrow enough to pass between the neighbours' tracks, and no wider than this. No source.
WIDEST_TIP_MM = 0.25
NARROWEST_TIP_MM = 0.05  # of a tip that still lifts, where tracks leave less; chosen by hand


@dataclass(frozen=True, slots=True)
class TrackGap:
    """Two neighbouring pins of one tooth, in order of the turn, and what lies between them.

    gap_mm, gap_s: from axis to axis along the track, and the time the disc takes for it. need_mm, need_s: least.
    """

    first: Pin
    second: Pin
    gap_mm: float
    gap_s: float
    need_mm: float
    need_s: float

    @property
    def is_too_close(self) -> bool:
        """Whether the tooth cannot drop between the pins, or not come to rest."""
        return self.gap_mm < self.need_mm or self.gap_s < self.need_s


@dataclass(frozen=True, slots=True)
class TipClash:
    """A pin that touches the tip of a tooth not its own: free_mm between pin and tip (negative: overlap)."""

    pin: Pin
    tooth: int
    free_mm: float


@dataclass(frozen=True, slots=True)
class HoleWall:
    """Metal between two holes, mm (negative: they overlap as seen along the arbor)."""

    first: Pin
    second: Pin
    wall_mm: float


def diameter_of(pin: Pin) -> float:
    """The pin's thickness, mm; the usual one where it was not measured."""
    return pin.diameter_mm or USUAL_DIAMETER_MM


def track_gaps(pins: Iterable[Pin], comb: Comb, plate: Plate) -> tuple[TrackGap, ...]:
    """Every pair of neighbouring playing pins on one tooth, all the way round; a lone pin has no neighbour.

    The gap is taken at the roots: a leaning pin is judged as it will stand once straightened.
    """
    teeth = {tooth.number: tooth for tooth in comb.teeth}
    tracks: dict[int, list[Pin]] = defaultdict(list)
    for pin in pins:
        if pin.plays and pin.tooth in teeth:
            tracks[pin.tooth].append(pin)
    gaps = []
    for number, members in sorted(tracks.items()):
        tip = teeth[number].tip_deg
        ordered = sorted(members, key=lambda pin: turn_deg(pin.theta_deg, tip, plate.turns))
        need_s = return_time_s(teeth[number].pitch)
        for first, second in zip(ordered, (*ordered[1:], ordered[0]), strict=True):
            if first is not second:
                ahead = turn_deg(second.theta_deg, tip, plate.turns) - turn_deg(first.theta_deg, tip, plate.turns)
                gaps.append(_gap(first, second, float(wrap_deg(ahead)), plate, need_s))
    return tuple(gaps)


def _gap(first: Pin, second: Pin, angle: float, plate: Plate, need_s: float) -> TrackGap:
    r_mm = (first.r_mm + second.r_mm) / 2.0
    need_mm = (diameter_of(first) + diameter_of(second)) / 2.0 + DROP_ROOM_MM
    time_s = float(onset_s(angle, plate.revolution_s))
    return TrackGap(first, second, float(np.deg2rad(angle)) * r_mm, time_s, need_mm, need_s)


def depth_in_rest_arc_deg(turned_deg: float, rest_arc_deg: float) -> float:
    """How deep a strike lies inside the rest arc, degrees; negative outside.

    The arc lies evenly about the place where the stop lever falls in: half of it passes before, half after.
    """
    return rest_arc_deg / 2.0 - float(angle_gap_deg(turned_deg, 0.0))


def tip_width_mm(track_r_mm: FloatArray, pin_diameter_mm: float) -> float:
    """The width that the tips of one face can have at most: what the closest two tracks leave, shape (n,) radii."""
    spaces = np.diff(np.sort(track_r_mm))
    if spaces.size == 0:
        return WIDEST_TIP_MM
    room = 2.0 * (float(spaces.min()) - pin_diameter_mm / 2.0 - PASSING_ROOM_MM)
    return float(np.clip(room, NARROWEST_TIP_MM, WIDEST_TIP_MM))


def tip_clashes(
    pins: Iterable[Pin], track_r_mm: dict[int, float], side_of: dict[int, Side], width_mm: dict[Side, float]
) -> tuple[TipClash, ...]:
    """Pins whose tip end meets a tip that is not theirs.

    track_r_mm, side_of: by tooth; width_mm: of the tips, by face. A pin is taken where its tip stands, lean included.
    """
    clashes = []
    for pin in pins:
        if not pin.plays and pin.condition is not Condition.EXTRA:
            continue
        if pin.condition is Condition.EXTRA and not pin.height_mm:
            continue
        r_tip = tip_radius_mm(pin)
        for tooth, r_mm in sorted(track_r_mm.items()):
            if tooth == pin.tooth or side_of[tooth] is not pin.side:
                continue
            free = abs(r_tip - r_mm) - (diameter_of(pin) + width_mm[pin.side]) / 2.0
            if free < 0.0:
                clashes.append(TipClash(pin, tooth, free))
    return tuple(clashes)


def tip_radius_mm(pin: Pin) -> float:
    """From the arbor's centre to the pin's free end, mm."""
    x_mm, y_mm = to_xy_mm(pin.r_mm, pin.theta_deg)
    return float(np.hypot(x_mm + (pin.lean_x_mm or 0.0), y_mm + (pin.lean_y_mm or 0.0)))


def close_walls(first: Sequence[Pin], second: Sequence[Pin], least_mm: float) -> tuple[HoleWall, ...]:
    """Pairs, one of each list, with less metal between their holes than least_mm, the thinnest first.

    A hole has the same (r, theta) on both faces, so pins of the upper and the lower face compare directly. A pin given
    in both lists is not compared with itself.
    """
    if not first or not second:
        return ()
    gaps = hole_distances_mm(first, second) - _half_widths(first)[:, None] - _half_widths(second)[None, :]
    rows, columns = np.nonzero(gaps < least_mm)
    pairs = {
        frozenset((first[i].id, second[j].id)): HoleWall(first[i], second[j], float(gaps[i, j]))
        for i, j in zip(rows.tolist(), columns.tolist(), strict=True)
        if first[i].id != second[j].id
    }
    return tuple(sorted(pairs.values(), key=lambda wall: (wall.wall_mm, wall.first.id, wall.second.id)))


def hole_distances_mm(first: Sequence[Pin], second: Sequence[Pin]) -> FloatArray:
    """Centre to centre in the plane of the plate, shape (len(first), len(second))."""
    ax, ay = _places(first)
    bx, by = _places(second)
    return np.hypot(ax[:, None] - bx[None, :], ay[:, None] - by[None, :])


def _places(pins: Sequence[Pin]) -> tuple[FloatArray, FloatArray]:
    return to_xy_mm(np.array([p.r_mm for p in pins]), np.array([p.theta_deg for p in pins]))


def _half_widths(pins: Sequence[Pin]) -> FloatArray:
    return np.array([diameter_of(pin) / 2.0 for pin in pins])
