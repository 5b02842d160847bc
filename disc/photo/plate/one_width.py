"""The slot is one cut, of one width on all photographs: where one edge is hardly seen, the other tells its place.

Paper seen through a slot may be as light as the plate beside it; then one edge stands out and the other is lost in the
shade of the wall. The middle of both would be off by half of what the lost edge is off. The width that the disc's other
photographs show, upper and lower alike, says which of both to believe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.photo.plate.slot import Slot

# An edge that stands out of the noise by so much is placed to this, one sigma, and never better than the second: on
# composed and rendered photographs of seven discs edges of 5 to 16 noises were off by 0.02 to 0.05 mm, of 30 by 0.01.
EDGE_MM_NOISES, EDGE_LEAST_MM = 0.25, 0.006
# Edges are broken: by the light the outer or the inner side of the bevel is seen, on both sides of a slot alike. Chosen
# by hand, about half a usual bevel (common practice, no source).
BEVEL_MM = 0.012
# Widths that differ by more are not one cut's, or one was not read right: then nothing is said of the edges. Chosen.
FARTHEST_MM = 0.15


@dataclass(frozen=True, slots=True)
class KnownWidth:
    """Of the disc's slot, as other photographs show it, with one sigma; mm."""

    mm: float
    sigma_mm: float


def edge_sigmas(slot: Slot) -> tuple[float, float] | None:
    """How well each edge is placed, mm; None where they were not read."""
    if slot.edges is None:
        return None
    first, last = (float(np.hypot(EDGE_MM_NOISES / max(edge, 1.0), EDGE_LEAST_MM)) for edge in slot.edges)
    return first, last


def width_by(slots: Sequence[Slot]) -> KnownWidth | None:
    """What some photographs' slots say of the width together; None where none says anything."""
    weight = pull = 0.0
    for slot in slots:
        sigmas = edge_sigmas(slot)
        if sigmas is None:
            continue
        w = 1 / (sigmas[0] ** 2 + sigmas[1] ** 2 + BEVEL_MM**2)
        weight, pull = weight + w, pull + w * slot.width_mm
    return KnownWidth(pull / weight, float(weight**-0.5)) if weight else None


def common_width_mm(slots: Sequence[Slot | None]) -> float | None:
    """How wide most photographs of a disc, of both faces, show its slot; None by fewer than three: no majority.

    A median, where width_by takes a mean: it is to tell the one photograph whose edge is a shadow's.
    """
    told = [slot.width_mm for slot in slots if slot is not None and slot.strength > 0]
    return float(np.median(told)) if len(told) >= 3 else None


def with_width(slot: Slot, known: KnownWidth | None, radius_mm: float) -> Slot:
    """The slot with its edges as far apart as is known, each moved by as much as it may be off. radius_mm: theirs."""
    sigmas = edge_sigmas(slot)
    if known is None or sigmas is None:
        return slot
    over = slot.width_mm - known.mm
    if abs(over) > FARTHEST_MM:
        return slot
    first, last = (one**2 for one in sigmas)
    part = over / (first + last + known.sigma_mm**2 + BEVEL_MM**2)
    # The first moves up by first * part, the last down by last * part.
    turn = (first - last) * part / 2 / radius_mm
    return replace(slot, angle_rad=slot.angle_rad + turn, width_mm=slot.width_mm - (first + last) * part)
