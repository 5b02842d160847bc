"""What the other face explains: a pin that goes through the plate shows its foot on both faces.

A mark on this face at the very place of a standing pin of the other one is that pin's tail, never a pin or stub of its
own; where this face's own track passes there as well, which of the two it is cannot be told from the place alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from disc.frame import to_xy_mm
from disc.records import Pin

# Two marks nearer than this are one hole. The faces of one disc agree to some hundredths of a millimetre on rendered
# photographs (104 of 105 tails within 0.15 mm, tests/bench/measure/chain.py on h6); a pin is about 0.25 mm thick.
SAME_HOLE_MM = 0.20


def tails(pins: Iterable[Pin]) -> dict[int, Pin]:
    """By the number of each pin: the standing pin of the other face in whose hole it lies."""
    pins = tuple(pins)
    return _of_other_face(pins, [pin for pin in pins if pin.plays and pin.tooth is not None])


def holes_through(pins: Iterable[Pin]) -> dict[int, Pin]:
    """By the number of each mark on no track of its face: the hole on a track of the other face that it is."""
    pins = tuple(pins)
    empty = [pin for pin in pins if not pin.plays and pin.tooth is not None]
    return _of_other_face([pin for pin in pins if pin.tooth is None], empty)


def _of_other_face(pins: Sequence[Pin], standing: Sequence[Pin]) -> dict[int, Pin]:
    if not standing:
        return {}
    places = np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in standing], dtype=float)
    found = {}
    for pin in pins:
        apart = np.hypot(*(places - np.array(to_xy_mm(pin.r_mm, pin.theta_deg), dtype=float)).T)
        apart[[other.side is pin.side for other in standing]] = np.inf
        nearest = int(np.argmin(apart))
        if apart[nearest] <= SAME_HOLE_MM:
            found[pin.id] = standing[nearest]
    return found
