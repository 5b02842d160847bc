"""What the other face explains: a pin's own tail, or a hole drilled through, is no pin, stub or hole of this face.

A hole through the plate has one place on both faces, and one pin stands in it. So of two sites at one place one belongs
to the other face: what only looks like a stub behind a standing pin is that pin's tail. Where both look alike, the one
belongs to the face whose tracks pass there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.frame import FloatArray, to_xy_mm
from disc.records import SOUNDING, Condition, Pin

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Two readings of one hole, each good to 0.05 mm or so, lie nearer than this; two holes of a plate cannot.
SAME_HOLE_MM = 0.18
ON_TRACK_MM = 0.06  # setting and measuring together, two sigma
STANDS = 0.8  # confidence from which a standing pin explains what lies behind it
# Tails that are plain as such from which a face shows tails at all: only then may what seems to stand be one. Pins set
# into blind holes from either side may stand back to back.
FEWEST_TAILS = 3


def own_pins(mine: Sequence[Pin], others: Sequence[Pin]) -> tuple[Pin, ...]:
    """The pins of a face without those that the other face's pins explain; places in the disc's axes."""
    if not mine or not others:
        return tuple(mine)
    a, b = _places(mine), _places(others)
    apart = np.linalg.norm(a[:, None] - b[None], axis=2)
    behind = np.where(apart.min(1) < SAME_HOLE_MM, apart.argmin(1), -1)
    shared = set(behind[behind >= 0].tolist())
    my_tracks = [pin.r_mm for pin, k in zip(mine, behind, strict=True) if k < 0]
    their_tracks = [pin.r_mm for j, pin in enumerate(others) if j not in shared]
    pairs = [(pin, others[k]) for pin, k in zip(mine, behind, strict=True) if k >= 0]
    # Of whichever face: pins that go through show on both.
    plain = [sum(_stands(two) and not _stands(one) for one, two in way) for way in (pairs, [p[::-1] for p in pairs])]
    tracks = np.array(my_tracks), np.array(their_tracks)
    return tuple(
        pin
        for pin, k in zip(mine, behind, strict=True)
        if k < 0 or not _is_others(pin, others[k], *tracks, shows_tails=max(plain) >= FEWEST_TAILS)
    )


def _places(pins: Sequence[Pin]) -> FloatArray:
    return np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in pins]).reshape(-1, 2)


def _is_others(pin: Pin, other: Pin, my_tracks: FloatArray, their_tracks: FloatArray, shows_tails: bool) -> bool:
    """Whether the site is but the back of the other face's at the same place."""
    mine, theirs = _stands(pin), _stands(other)
    if theirs and not mine:
        return (other.confidence or 0.0) >= STANDS
    if mine and (not theirs or not shows_tails):
        return False
    here, there = _nearest(pin.r_mm, my_tracks), _nearest(other.r_mm, their_tracks)
    if (here < ON_TRACK_MM) != (there < ON_TRACK_MM):
        return there < ON_TRACK_MM
    # No track tells: of two that seem to stand the surer one does; holes are left to both faces.
    return mine and theirs and (pin.confidence or 0.0) < (other.confidence or 0.0)


def _stands(pin: Pin) -> bool:
    return pin.condition in SOUNDING or (pin.condition is Condition.EXTRA and bool(pin.height_mm))


def _nearest(r_mm: float, tracks: FloatArray) -> float:
    return float(np.abs(tracks - r_mm).min()) if len(tracks) else np.inf
