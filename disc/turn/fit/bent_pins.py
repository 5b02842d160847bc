"""Which way the disc turns, by its bent pins: a tooth holds a pin back, so that what bends on it leans back.

A hand that slips bends pins in any direction. Which of the two has bent a disc's pins is not known beforehand: where
they lean along their tracks, nearly all to one side, it was the teeth, and the disc moves to the other; where they lean
anyhow they say nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.frame import FloatArray, along_motion_mm
from disc.records import Condition, Pin, Turns

# Chosen by hand, by what bends a pin, and looked at on sixteen discs of development: how many discs' pins were bent by
# teeth; how many of such a disc's pins lean back for that reason, the others anyhow; and how narrowly about the track.
BY_TEETH, BACK, SPREAD_DEG = 0.4, 0.8, 35.0
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
SEEN = 0.7  # a pin that is less surely bent does not count
LEAST_LEAN_MM = 0.08  # less is a maker's hand or the reading's own error (chosen, as BENT_MM of photo/marks)
MOST = 3.0  # nats; as many discs were tried
TELLING = 1.0  # nats from which the leans are named beside the music


def lean_odds(pins: Sequence[Pin], turns: Turns) -> float:
    """Log-odds by the leans of bent pins that the disc turns the other way."""
    back_deg = leans_back(pins, turns)
    if not len(back_deg):
        return 0.0
    return float(np.clip(_log_chance(back_deg + 180.0) - _log_chance(back_deg), -MOST, MOST))


def leans_back(pins: Sequence[Pin], turns: Turns) -> FloatArray:
    """For each pin that is surely bent, the angle of its lean from straight back along its track, degrees, (n,).

    0: it leans back, as the teeth bend it; 180: it leans the way the disc moves.
    """
    told = []
    for pin in pins:
        sure = pin.condition_probability is None or pin.condition_probability >= SEEN
        if pin.condition is not Condition.BENT or not sure or pin.lean_x_mm is None or pin.lean_y_mm is None:
            continue
        if np.hypot(pin.lean_x_mm, pin.lean_y_mm) >= LEAST_LEAN_MM:
            ahead, outward = along_motion_mm(pin.lean_x_mm, pin.lean_y_mm, pin.theta_deg, turns)
            told.append(np.degrees(np.arctan2(outward, -ahead)))
    return np.array(told, float)


def _log_chance(off_deg: FloatArray) -> FloatArray:
    """ln of the density of such leans if 0 is straight back, against leans in any direction."""
    narrow = 1.0 / np.radians(SPREAD_DEG) ** 2
    usual = np.exp(narrow * np.cos(np.radians(off_deg))) / np.i0(narrow)
    by_teeth = np.sum(np.log(BACK * usual + 1.0 - BACK))
    return np.logaddexp(np.log(BY_TEETH) + by_teeth, np.log(1.0 - BY_TEETH))
