"""How well pins lie on the comb's tracks: as given, with the faces swapped, at another scale, on another comb.

A pin belongs near a tip's radius; how much likelier a face's pins are on this comb's tracks than anywhere, in nats a
pin, tells whether the comb, the diameter and the faces are the right ones. Alternatives are held against each other on
the same pins, so that a coarse disc does not look like a wrong one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.frame import FloatArray
from disc.records import Comb, Condition, Pin, Side

# Width of the curve that a pin's distance from the nearest tip's radius is held against, mm. Not comb/assign.py's
# SPREAD_MM (0.04), which is only where a re-estimated spread begins: this one stays, so it is wider. Chosen by hand.
SPREAD_MM = 0.05
STRAY = 0.1  # share of marks that are no pin of a track; chosen, the answer hardly depends on it (0.03 to 0.2)
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
SURE_SITE = 0.9  # only sites that the reading is sure of are asked
MARGIN_MM = 0.5  # pins may stand so far beyond the outermost tips
# Scales tried between comb and disc: as measured to within 3 %, or a diameter that was written down wrongly.
NEAR = np.linspace(0.97, 1.03, 31)
WIDE = np.exp(np.linspace(np.log(0.80), np.log(1.25), 224))  # steps of 0.2 %, as NEAR's; the bounds chosen by hand
OFFSETS_MM = np.linspace(-0.12, 0.12, 7)  # of the comb, to and from the arbor: one and a half sigmas of comb/assign.py


@dataclass(frozen=True, slots=True)
class Lay:
    """Pins of one face laid on tips. nats: a pin, against lying anywhere; scale: disc over comb; pins: how many."""

    nats: float
    scale: float
    pins: int

    @property
    def total(self) -> float:
        """Of all pins together."""
        return self.nats * self.pins


def sure_radii(pins: Sequence[Pin], side: Side) -> FloatArray:
    """Radii of the sites of a face that are surely there and belong to it."""
    told = (Condition.SOUND, Condition.BENT, Condition.MISSING)
    mine = [p for p in pins if p.side is side and p.condition in told]
    return np.array([p.r_mm for p in mine if p.confidence is None or p.confidence >= SURE_SITE])


def lay(radii: FloatArray, comb: Comb, side: Side, scales: FloatArray) -> Lay:
    """The best of the scales for these radii on the tips of a face."""
    tips = np.array([tooth.tip_r_mm for tooth in comb.teeth if tooth.side is side])
    if not len(radii) or not len(tips):
        return Lay(0.0, 1.0, len(radii))
    best = Lay(-np.inf, 1.0, len(radii))
    for scale in scales:
        moved = tips * scale
        low, high = min(moved.min(), radii.min()) - MARGIN_MM, max(moved.max(), radii.max()) + MARGIN_MM
        apart = radii[None, :, None] - moved[None, None, :] - OFFSETS_MM[:, None, None]
        near = np.exp(-0.5 * (apart / SPREAD_MM) ** 2).mean(2) / (SPREAD_MM * np.sqrt(2 * np.pi))
        nats = np.log((1 - STRAY) * near * (high - low) + STRAY).mean(1)
        if nats.max() > best.nats:
            best = Lay(float(nats.max()), float(scale), len(radii))
    return best


def lay_both(radii: dict[Side, FloatArray], comb: Comb, scales: FloatArray, swapped: bool = False) -> dict[Side, Lay]:
    """Both faces at one common scale, the best of these; by the face as photographed. swapped: on the other's tips.

    One caliper measured the disc, so that one scale holds for both faces.
    """
    other = {Side.UPPER: Side.LOWER, Side.LOWER: Side.UPPER}
    sides = [side for side in Side if len(radii[side])]
    best: dict[Side, Lay] = {}
    for scale in scales:
        now = {s: lay(radii[s], comb, other[s] if swapped else s, np.array([scale])) for s in sides}
        if not best or sum(one.total for one in now.values()) > sum(one.total for one in best.values()):
            best = now
    return best
