"""How exactly this disc was made and read: the spread of its sound pins, against which single ones are judged.

A pin is off its track or too tall only against its own neighbours: a coarse disc has coarse limits. Spreads are robust
(from the median of absolute deviations), so that the few faulty pins do not widen the limits that should show them.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from disc.frame import FloatArray
from disc.records import Comb, Condition, Pin, Side

MAD_TO_SIGMA = 1.4826  # 1 / Phi^-1(3/4): of a normal distribution
# Setting by hand is not better than this, whatever the median says: about 0.01 mm along each axis. Common practice.
LEAST_R_SIGMA_MM = 0.01
LEAST_LEAN_SIGMA_MM = 0.012  # wire that stands straight to the eye; common practice, no source
LEAST_HEIGHT_SHARE = 0.04  # of the usual height; common practice, no source
RAYLEIGH_MEDIAN = 1.1774  # median of a Rayleigh distribution with sigma 1: sqrt(2 ln 2)


@dataclass(frozen=True, slots=True)
class Spread:
    """track_r_mm: the circle each tooth's pins stand on, as found. Sigmas are one standard deviation, by face.

    r_sigma_mm: of a pin about its track. lean_sigma_mm: of a straight pin's lean along each axis, reading included.
    height_mm, height_sigma_mm: the usual height, None where none was measured.
    """

    track_r_mm: dict[int, float] = field(default_factory=dict)
    r_sigma_mm: dict[Side, float] = field(default_factory=dict)
    lean_sigma_mm: dict[Side, float] = field(default_factory=dict)
    height_mm: dict[Side, float | None] = field(default_factory=dict)
    height_sigma_mm: dict[Side, float | None] = field(default_factory=dict)


def robust_sigma(values: Sequence[float] | FloatArray) -> float:
    """Standard deviation from the median of absolute deviations about the median; 0 for fewer than two values."""
    array = np.asarray(values, dtype=float)
    return float(MAD_TO_SIGMA * np.median(np.abs(array - np.median(array)))) if array.size > 1 else 0.0


def measure_spread(pins: Iterable[Pin], comb: Comb, stretch: float = 0.0, offset_mm: float = 0.0) -> Spread:
    """The spread of a disc's pins. stretch, offset_mm: from the comb's table to the disc (comb/assign.py)."""
    sound = [pin for pin in pins if pin.plays and pin.condition is not Condition.EXTRA]
    tracks = _tracks(sound, comb, stretch, offset_mm)
    r_sigma, lean_sigma, height, height_sigma = {}, {}, {}, {}
    for side in Side:
        mine = [pin for pin in sound if pin.side is side]
        counts = Counter(pin.tooth for pin in mine)
        # A pin pulls its own track's radius towards itself: n pins and the table's two leave (n + 1) / (n + 2) of it.
        off = [
            (pin.r_mm - tracks[pin.tooth]) * float(np.sqrt((counts[pin.tooth] + 2) / (counts[pin.tooth] + 1)))
            for pin in mine
            if pin.tooth in tracks
        ]
        r_sigma[side] = max(robust_sigma(off), LEAST_R_SIGMA_MM)
        lean_sigma[side] = _lean_sigma(mine)
        height[side], height_sigma[side] = _heights(mine)
    return Spread(tracks, r_sigma, lean_sigma, height, height_sigma)


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
