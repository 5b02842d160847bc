"""How exactly this disc was made and read: the spread of its sound pins, against which single ones are judged.

A pin is off its track or too tall only against its own neighbours: a coarse disc has coarse limits. Spreads are robust
(from the median of absolute deviations), so that the few faulty pins do not widen the limits that should show them.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from disc.comb.assign import Assignment, assign_teeth, fit_scale
from disc.frame import FloatArray
from disc.records import Comb, Condition, Pin, Side

MAD_TO_SIGMA = 1.4826  # 1 / Phi^-1(3/4): of a normal distribution, by definition
# Setting by hand is not better than this, whatever the median says: about 0.01 mm along each axis. Common practice.
LEAST_R_SIGMA_MM = 0.01
LEAST_LEAN_SIGMA_MM = 0.012  # wire that stands straight to the eye; common practice, no source
LEAST_HEIGHT_SHARE = 0.04  # of the usual height; common practice, no source
# A pin this far inside or outside its track still lifts the tooth: half a tip's width. Common practice, no source.
LIFTS_WITHIN_MM = 0.12
FEWEST_TO_FIT = 12  # a reading of fewer pins says little about the scale; then the pins in force are fitted instead
RAYLEIGH_MEDIAN = 1.1774  # median of a Rayleigh distribution with sigma 1: sqrt(2 ln 2), by definition


@dataclass(frozen=True, slots=True)
class Spread:
    """track_r_mm: the circle each tooth's pins stand on, as found. Sigmas are one standard deviation.

    r_sigma_mm: of a pin about its track. By face: lean_sigma_mm of a straight pin's lean along each axis, reading
    included; height_mm, height_sigma_mm: the usual height, None where too few were measured.
    """

    track_r_mm: dict[int, float] = field(default_factory=dict)
    r_sigma_mm: float = LEAST_R_SIGMA_MM
    lean_sigma_mm: dict[Side, float] = field(default_factory=dict)
    height_mm: dict[Side, float | None] = field(default_factory=dict)
    height_sigma_mm: dict[Side, float | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Ground:
    """How the comb lies on the disc: its scale (see assign.fit_scale) and the tracks as found.

    Fitted once to a reading, so that a pin's tooth does not hang on what else was edited.
    """

    scale: tuple[float, float, float]
    track_r_mm: Mapping[int, float]


@dataclass(frozen=True, slots=True)
class Teeth:
    """Pins with their teeth: as assigned by radius, and with the strays near a track adopted by it."""

    pins: tuple[Pin, ...]
    assignment: Assignment
    spread: Spread


def ground_of(pins: Sequence[Pin], comb: Comb) -> Ground:
    """How the comb lies on the disc that these pins stand on."""
    scale = fit_scale(pins, comb)
    return Ground(scale, measure_spread(assign_teeth(pins, comb, None, scale), comb).track_r_mm)


def give_teeth(
    pins: Sequence[Pin], comb: Comb, fixed: Mapping[int, int] | None = None, ground: Ground | None = None
) -> Teeth:
    """Every pin with its tooth, and the spread of the sound ones. fixed: teeth set by a person, by pin id.

    ground: fitted to the reading that the pins come from; None: to these pins.
    """
    ground = ground_of(pins, comb) if ground is None else ground
    assignment = assign_teeth(pins, comb, fixed, ground.scale)
    return Teeth(adopt_strays(assignment.pins, comb, ground), assignment, measure_spread(assignment, comb))


def robust_sigma(values: Sequence[float] | FloatArray) -> float:
    """Standard deviation from the median of absolute deviations about the median; 0 for fewer than two values."""
    array = np.asarray(values, dtype=float)
    return float(MAD_TO_SIGMA * np.median(np.abs(array - np.median(array)))) if array.size > 1 else 0.0


def measure_spread(assignment: Assignment, comb: Comb) -> Spread:
    """The spread of a disc's pins. assignment: the pins with their teeth and the scale between comb and disc."""
    sound = [pin for pin in assignment.pins if pin.plays and pin.condition is not Condition.EXTRA]
    tracks = _tracks(sound, comb, assignment.stretch, assignment.offset_mm)
    lean_sigma, height, height_sigma = {}, {}, {}
    for side in Side:
        mine = [pin for pin in sound if pin.side is side]
        lean_sigma[side] = _lean_sigma(mine)
        height[side], height_sigma[side] = _heights(mine)
    # One hand set both faces and one camera read them: together they give a steadier figure than each alone. Medians
    # of small tracks hide part of the spread, the assignment's root mean square is blown up by strays: the larger.
    r_sigma = max(robust_sigma(_off_track(sound, tracks)), assignment.spread_mm, LEAST_R_SIGMA_MM)
    return Spread(tracks, r_sigma, lean_sigma, height, height_sigma)


def adopt_strays(pins: Iterable[Pin], comb: Comb, ground: Ground) -> tuple[Pin, ...]:
    """Standing pins that were given no tooth, but stand so near a track that they lift its tooth all the same, get it.

    The assignment leaves out what is too far off for the spread of the others; such a pin is a badly set one.
    """
    return tuple(_adopted(pin, comb, ground) for pin in pins)


def _adopted(pin: Pin, comb: Comb, ground: Ground) -> Pin:
    if pin.tooth is not None or not (pin.plays or pin.height_mm) or pin.condition is Condition.STUB:
        return pin
    tracks = [(abs(pin.r_mm - ground.track_r_mm[t.number]), t.number) for t in comb.teeth if t.side is pin.side]
    if not tracks or min(tracks)[0] > LIFTS_WITHIN_MM:
        return pin
    return replace(pin, tooth=min(tracks)[1])


def lean_mm(pin: Pin) -> float | None:
    """How far the tip stands off the root, mm; None if it was not measured."""
    if pin.lean_x_mm is None or pin.lean_y_mm is None:
        return None
    return float(np.hypot(pin.lean_x_mm, pin.lean_y_mm))


def _tracks(sound: Sequence[Pin], comb: Comb, stretch: float, offset_mm: float) -> dict[int, float]:
    """Track radii: the median of a tooth's pins, drawn towards the comb's table as if that were two pins more."""
    by_tooth: dict[int, list[float]] = defaultdict(list)
    for pin in sound:
        if pin.tooth is not None:
            by_tooth[pin.tooth].append(pin.r_mm)
    tracks = {}
    for tooth in comb.teeth:
        table = tooth.tip_r_mm * (1.0 + stretch) + offset_mm
        radii = by_tooth.get(tooth.number, [])
        n = len(radii)
        tracks[tooth.number] = (n * float(np.median(radii)) + 2.0 * table) / (n + 2) if n else table
    return tracks


def _off_track(sound: Sequence[Pin], tracks: dict[int, float]) -> list[float]:
    """Pins from their tracks, mm. A pin pulls its own track towards itself: with n pins on it and the table counted as
    two, (n + 1) / (n + 2) of the variance is left, which is put back."""
    counts = Counter(pin.tooth for pin in sound)
    return [
        (pin.r_mm - tracks[pin.tooth]) * float(np.sqrt((counts[pin.tooth] + 2) / (counts[pin.tooth] + 1)))
        for pin in sound
        if pin.tooth in tracks
    ]


def _lean_sigma(pins: Sequence[Pin]) -> float:
    leans = [lean for pin in pins if (lean := lean_mm(pin)) is not None]
    if not leans:
        return LEAST_LEAN_SIGMA_MM
    return max(float(np.median(leans)) / RAYLEIGH_MEDIAN, LEAST_LEAN_SIGMA_MM)


def _heights(pins: Sequence[Pin]) -> tuple[float | None, float | None]:
    heights = [pin.height_mm for pin in pins if pin.height_mm]
    if len(heights) < 5:  # too few to call any of them unusual
        return None, None
    usual = float(np.median(heights))
    return usual, max(robust_sigma(heights), LEAST_HEIGHT_SHARE * usual)
