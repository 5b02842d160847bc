"""Sites at places that no photograph shows: what is read there is neither a pin nor the lack of one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.frame import to_polar, to_xy_mm
from disc.photo.seen.seen_map import SeenMap, Why
from disc.records import Condition, Pin

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# A site this near to a hidden part's edge is hidden only if most of what is about it is: the edge is good to a cell.
ABOUT_MM, MOST = 0.3, 0.75
HIDES_ALL = (Why.COVERED, Why.FRAME)  # glare and blur leave a plain pin to be seen


def mark_unseen(pins: Sequence[Pin], seen: SeenMap) -> tuple[Pin, ...]:
    """The pins, those at unseen places with that condition; what was read of their length and lean means nothing."""
    return tuple(
        replace(pin, condition=Condition.UNSEEN, height_mm=None, lean_x_mm=None, lean_y_mm=None)
        if is_hidden(pin, seen)
        else pin
        for pin in pins
    )


def is_hidden(pin: Pin, seen: SeenMap) -> bool:
    """Whether a pin was read where nothing can be told."""
    why = seen.why_unseen(pin.r_mm, pin.theta_deg)
    if why is None or (why not in HIDES_ALL and not pin.presence_is_doubtful):
        return False
    x, y = to_xy_mm(pin.r_mm, pin.theta_deg)
    around = [(dx, dy) for dx in (-ABOUT_MM, 0.0, ABOUT_MM) for dy in (-ABOUT_MM, 0.0, ABOUT_MM)]
    places = [to_polar(float(x) + dx, float(y) + dy) for dx, dy in around]
    return float(np.mean([not seen.is_seen(float(r), float(theta)) for r, theta in places])) >= MOST
