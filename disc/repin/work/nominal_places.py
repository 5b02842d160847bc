"""Where a pin ought to stand: on its tooth's track and on the beat; and how far it may be off before anyone minds.

In: pins with their teeth, comb, plate, the tune as read. Out, for any place: its nominal place and how early and how
far out the found one is. The track is the tip's radius brought to the disc's scale (comb/assign.py). The beat is the
tune's own grid, even over the whole turn; each tooth's usual lateness is added, because a tip's angle is known only to
some tenths of a degree and shifts all pins of its tooth alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from statistics import median

import numpy as np

from disc.check.mechanics.clearance import PASSING_ROOM_MM
from disc.check.mechanics.clearance import tip_width_mm as usual_tip_width_mm
from disc.frame import (
    FULL_TURN_DEG,
    angle_difference_deg,
    onset_s,
    theta_for,
    turn_deg,
    turn_for_onset_deg,
    wrap_deg,
)
from disc.records import USUAL_DIAMETER_MM, About, Comb, Doubt, Pin, Plate, Side, Tooth, Tune
from disc.repin.records import PlaceOnFace, Tolerance, spot
from disc.turn.bars import BarGrid
from disc.turn.places import place_at

# What can be heard: a strike this much off its beat is noticed beside a steady accompaniment. Given by the task this
# program was made for; listening tests on uneven rhythm find thresholds near it at these speeds (from memory).
TIMING_S = 0.010
# The narrower of pin and tip must be covered by this share of its width, or the pin slips off sideways as it lifts.
# Common practice, no source.
COVERED_SHARE = 0.75
LEAST_RADIAL_MM = 0.02  # no hole is set better than this by hand; common practice, no source
# Unless said otherwise: chosen by hand, not measured.
# A place farther than this from any beat is on none: three times a setting error of 20 ms.
REACH_S = 0.060
# Beats are counted in parts of a quarter no finer than this: quavers, semiquavers and triplets of them.
FINEST_PARTS = 24
GRID_SHARE = 0.95  # a stray grace note must not make the grid of all the others finer
FEWEST_FOR_GRID = 8  # pins, from which the error of the maker's setting is told; chosen by hand
FEWEST_ON_TOOTH = 2  # pins that must stand on a tooth before its lateness is looked at


@dataclass(frozen=True, slots=True)
class Nominal:
    """A place as it ought to be. on_grid: its angle is the beat's; otherwise it is the found angle."""

    spot: PlaceOnFace
    on_grid: bool
    early_ms: float
    outward_mm: float


@dataclass(frozen=True, slots=True)
class Layout:
    """The disc as its maker meant it.

    track_mm: radius of each tooth's track on this disc. parts: beats are this many to a quarter, None without a grid.
    late_s: usual lateness of each tooth. note_quarter: onset by pin id. setting_error_s: rms of sound pins, or None.
    tip_width_mm: of the teeth's tips, by face; measured, or what the tracks leave (check/mechanics/clearance.py).
    """

    plate: Plate
    teeth: dict[int, Tooth]
    track_mm: dict[int, float]
    tip_width_mm: dict[Side, float]
    tune: Tune | None = None
    parts: int | None = None
    note_quarter: dict[int, Fraction] = field(default_factory=dict)
    late_s: dict[int, float] = field(default_factory=dict)
    setting_error_s: float | None = None


def lay_out(
    pins: Sequence[Pin],
    comb: Comb | None,
    plate: Plate,
    tune: Tune | None,
    scale: tuple[float, float] = (0.0, 0.0),
    tip_width_mm: float | None = None,
) -> Layout:
    """The layout of a disc. comb None: no track is known. scale: (stretch, offset_mm) of the comb on this disc."""
    teeth = {tooth.number: tooth for tooth in comb.teeth} if comb else {}
    tracks = {n: t.tip_r_mm * (1.0 + scale[0]) + scale[1] for n, t in teeth.items()}
    on_face = {side: np.array([tracks[n] for n, t in teeth.items() if t.side is side]) for side in Side}
    diameter = usual_diameter(pins)
    widths = {side: tip_width_mm or usual_tip_width_mm(radii, diameter) for side, radii in on_face.items()}
    bare = Layout(plate, teeth, tracks, widths)
    if tune is None or not teeth:
        return bare
    quarters = {pin: note.onset_quarter for note in tune.notes for pin in note.pins}
    parts = _parts_of_quarter(tune)
    late = _lateness(bare, tune, pins, quarters)
    left = [seconds - late.get(pin.tooth or 0, 0.0) for pin, seconds in _residuals(bare, tune, pins, quarters)]
    error = math.sqrt(sum(x * x for x in left) / len(left)) if len(left) >= FEWEST_FOR_GRID else None
    return Layout(plate, teeth, tracks, widths, tune, parts, quarters, late, error)


def nominal_place(
    layout: Layout, side: Side, found: PlaceOnFace, tooth: int | None, pin_id: int | None = None
) -> Nominal:
    """Where the pin found here ought to stand. Without track or beat its own radius or angle stands for it."""
    r_mm = layout.track_mm.get(tooth, found.r_mm) if tooth is not None else found.r_mm
    beat_s = _beat_s(layout, found.theta_deg, tooth, pin_id)
    if beat_s is None or tooth is None:
        return Nominal(spot(r_mm, found.theta_deg), False, 0.0, found.r_mm - r_mm)
    tip = layout.teeth[tooth].tip_deg
    theta = theta_for(turn_for_onset_deg(beat_s, layout.plate.revolution_s), tip, layout.plate.turns)
    # A pin that passes the tip after less of a turn than it ought to is early.
    turned, due = (turn_deg(angle, tip, layout.plate.turns) for angle in (found.theta_deg, float(theta)))
    early_ms = 1000.0 * angle_difference_deg(due, turned) / FULL_TURN_DEG * layout.plate.revolution_s
    return Nominal(spot(r_mm, float(wrap_deg(theta))), True, float(early_ms), found.r_mm - r_mm)


def bar_and_beat(
    layout: Layout, theta_deg: float, tooth: int | None, pin_id: int | None = None
) -> tuple[int | None, Fraction | None]:
    """(bar, beat) at which a pin here sounds; both None without a tune or a tooth."""
    tune = layout.tune
    if tune is None or tooth is None or tooth not in layout.teeth:
        return None, None
    grid = BarGrid(tune)
    place = place_at(tune, grid, _onset_s(layout, theta_deg, tooth) - layout.late_s.get(tooth, 0.0), pin_id)
    return place.bar, place.beat


def tolerance_at(layout: Layout, side: Side, r_mm: float, tooth: int | None, diameter_mm: float) -> Tolerance:
    """How far a pin of this tooth may be off.

    Along the motion: what TIMING_S is on this disc. Radially: pin and tip still cover each other by COVERED_SHARE of
    the narrower, and the pin passes the tips beside it with PASSING_ROOM_MM; never less than LEAST_RADIAL_MM.
    """
    along_deg = float(turn_for_onset_deg(TIMING_S, layout.plate.revolution_s))
    along_mm = math.radians(along_deg) * r_mm
    width = layout.tip_width_mm[side]
    narrower = min(width, diameter_mm)
    radial = abs(width - diameter_mm) / 2.0 + (1.0 - COVERED_SHARE) * narrower
    gap_mm = _to_nearest_track_mm(layout, tooth)
    if gap_mm is not None:
        radial = min(radial, gap_mm - (width + diameter_mm) / 2.0 - PASSING_ROOM_MM)
    return Tolerance(along_deg, along_mm, max(radial, LEAST_RADIAL_MM))


def usual_height(pins: Sequence[Pin], side: Side, tooth: int | None) -> float | None:
    """Median height of the standing pins of the same track, else of the face, else None."""
    standing = [p for p in pins if p.plays and p.height_mm and p.side is side]
    on_track = [p.height_mm for p in standing if p.tooth == tooth and p.height_mm] if tooth is not None else []
    heights = on_track if len(on_track) >= 3 else [p.height_mm for p in standing if p.height_mm]
    return float(median(heights)) if heights else None


def usual_diameter(pins: Sequence[Pin]) -> float:
    """Median diameter of the standing pins; USUAL_DIAMETER_MM where none was measured."""
    sizes = [p.diameter_mm for p in pins if p.plays and p.diameter_mm]
    return float(median(sizes)) if sizes else USUAL_DIAMETER_MM


def wire_doubts(pins: Sequence[Pin]) -> list[Doubt]:
    """One doubt where no standing pin's diameter was measured, so that the wire to set is a guess."""
    if any(pin.plays and pin.diameter_mm for pin in pins):
        return []
    return [
        Doubt(
            About.ASSUMED,
            f"no standing pin's diameter was measured; wire of {USUAL_DIAMETER_MM:g} mm is assumed.",
            "Measure a sound pin and write it into pins.csv as diameter_mm.",
        )
    ]


# ---- tracks


def _to_nearest_track_mm(layout: Layout, tooth: int | None) -> float | None:
    """From a tooth's track to the nearest other one of its face; teeth that share a track do not count."""
    if tooth is None or tooth not in layout.teeth:
        return None
    mine, face = layout.track_mm[tooth], layout.teeth[tooth].side
    gaps = [abs(layout.track_mm[n] - mine) for n, t in layout.teeth.items() if t.side is face]
    return min((gap for gap in gaps if gap > 1e-6), default=None)


# ---- beats


def _parts_of_quarter(tune: Tune) -> int | None:
    """The fewest parts of a quarter on which GRID_SHARE of the notes lie; None if finer than a grid can tell."""
    denominators = [note.onset_quarter.denominator for note in tune.notes]
    for parts in range(1, FINEST_PARTS + 1):
        if denominators and sum(parts % d == 0 for d in denominators) >= GRID_SHARE * len(denominators):
            return parts
    return None


def _onset_s(layout: Layout, theta_deg: float, tooth: int) -> float:
    tip = layout.teeth[tooth].tip_deg
    return float(onset_s(turn_deg(theta_deg, tip, layout.plate.turns), layout.plate.revolution_s))


def _residuals(
    layout: Layout, tune: Tune, pins: Sequence[Pin], quarters: dict[int, Fraction]
) -> list[tuple[Pin, float]]:
    """(pin, seconds late) of each playing pin that the tune knows."""
    late = []
    for pin in pins:
        if pin.plays and pin.id in quarters and pin.tooth in layout.teeth and pin.tooth is not None:
            beat = tune.onset_s(quarters[pin.id])
            late.append((pin, _onset_s(layout, pin.theta_deg, pin.tooth) - beat))
    return [(pin, seconds) for pin, seconds in late if abs(seconds) < 0.5]  # beyond that the note is another one


def _lateness(layout: Layout, tune: Tune, pins: Sequence[Pin], quarters: dict[int, Fraction]) -> dict[int, float]:
    """Usual lateness of each tooth, drawn towards 0 as far as the pins' own scatter explains it.

    Empirical Bayes: the teeth's medians scatter by what their tips are off and by chance; chance is known from the
    scatter within the teeth, so the rest is the tips'. With a well measured comb little is corrected, with one off by
    tenths of a degree nearly all. A median of n varies by pi / 2 s^2 / n (large n, normal errors).
    """
    by_tooth: dict[int, list[float]] = {}
    for pin, seconds in _residuals(layout, tune, pins, quarters):
        by_tooth.setdefault(pin.tooth or 0, []).append(seconds)
    told = {n: late for n, late in by_tooth.items() if len(late) >= FEWEST_ON_TOOTH}
    if not told:
        return {}
    middle = {n: float(np.median(late)) for n, late in told.items()}
    free = sum(len(late) - 1 for late in told.values())
    scatter = sum(float((x - np.mean(late)) ** 2) for late in told.values() for x in late) / free
    chance = {n: math.pi / 2.0 * scatter / len(late) for n, late in told.items()}
    tips = max(sum(middle[n] ** 2 - chance[n] for n in told) / len(told), 0.0)
    return {n: middle[n] * tips / (tips + chance[n]) for n in told if tips > 0.0}


def _beat_s(layout: Layout, theta_deg: float, tooth: int | None, pin_id: int | None) -> float | None:
    """When the pin ought to sound, its tooth's lateness included; None if there is no beat near."""
    tune = layout.tune
    if tune is None or tooth is None or tooth not in layout.teeth:
        return None
    late = layout.late_s.get(tooth, 0.0)
    now = _onset_s(layout, theta_deg, tooth) - late
    if pin_id in layout.note_quarter and pin_id is not None:
        beat = tune.onset_s(layout.note_quarter[pin_id])
        return beat + late if abs(now - beat) < 0.5 else None
    if layout.parts is None:
        return None
    step = tune.quarter_s / layout.parts
    beat = tune.onset_s(Fraction(round(tune.quarter_at(now) * layout.parts), layout.parts))
    return beat + late if abs(now - beat) <= min(REACH_S, step / 3.0) else None
