"""Where the stop slot may be: the likely places round the rim, and the signs by which a bite out of the plate is told.

Where the plate ends, its outline ends too: across a slot the rim's own edge is missing, what lies below shows through
in the colour that it has beside the plate, and the sides run straight inwards from the outline. A stain, a plug or a
shadow may be as dark and as wide, but the rim goes on across it. Each place gets log-odds from these signs; which is
taken is decided over all photographs of the disc together (which_slot.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from disc.fitted import fitted_part
from disc.frame import FloatArray
from disc.photo.fitted import FITTED
from disc.photo.image import Pixels
from disc.photo.plane.face_plane import Plane
from disc.photo.plate.slot import USUAL_MM, Slot, WallSeen, find_slot, search_slots, slot_picture, wall_seen

MOST_PLACES = 12  # looked at in full; chosen: the signs tell, more cost time
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
SAME_PLACE_MM = 0.5  # two finds nearer than this are one
# The signs of a place; what each weighs was fitted (fitted.json). The finder's heat is no part of the fit, and counts
# at most HEAT_MOST: it has seen faces of the fit, and elsewhere it took a stain for the slot with a heat of 0.9.
SIGNS = ("open", "ground", "sides", "bottom", "width")
HEAT_WEIGHT, HEAT_MOST = 1.0, 1.5  # chosen by hand


@dataclass(frozen=True, slots=True)
class SlotPlace:
    """One place that may be the slot, in the plane's axes, with its log-odds by this photograph alone."""

    slot: Slot
    odds: float


@dataclass(frozen=True, slots=True)
class LensOver:
    """What tells how much of a slot's wall is seen: the lens over the face, view mm, and the plate's thickness; each
    None where it is not known."""

    eye_mm: tuple[float, float, float] | None = None
    thickness_mm: float | None = None

    def wall(self, angle_rad: float, radius_mm: float) -> WallSeen | None:
        """Of a slot at that angle."""
        return None if self.eye_mm is None else wall_seen(angle_rad, radius_mm, self.eye_mm, self.thickness_mm)


def slot_places(
    pixels: Pixels,
    plane: Plane,
    radius_mm: float,
    seen: tuple[float, float] | None,
    heat: float,
    over: LensOver = LensOver(),
) -> tuple[SlotPlace, ...]:
    """The likely places, surest first. seen, heat: where the finder saw the slot, photo (u, v), and how surely."""
    near = list(search_slots(pixels, plane, radius_mm, MOST_PLACES))
    by_finder = None
    if seen is not None:
        x, y = plane.to_mm(np.array([seen]))[0]
        by_finder = float(np.arctan2(y, x))
        near.insert(0, by_finder)
    slots = _apart(
        [find_slot(pixels, plane, radius_mm, angle, over.wall(angle, radius_mm)) for angle in near], radius_mm
    )
    places = []
    for slot in slots:
        mine = by_finder is not None and _gap(slot.angle_rad, by_finder) * radius_mm < 2 * SAME_PLACE_MM
        signs = slot_signs(pixels, plane, radius_mm, slot, heat if mine else 0.0)
        places.append(SlotPlace(slot, _odds(signs)))
    return tuple(sorted(places, key=lambda place: -place.odds))


def _odds(signs: FloatArray) -> float:
    weights, constant = _weights()
    return float(np.dot(weights, signs[:-1]) + HEAT_WEIGHT * signs[-1] + constant)


@cache
def _weights() -> tuple[tuple[float, ...], float]:
    fitted = fitted_part(FITTED, "slot")
    return tuple(fitted["weights"][name] for name in SIGNS), fitted["constant"]


def _gap(a: float, b: float) -> float:
    return abs((a - b + np.pi) % (2 * np.pi) - np.pi)


def _apart(slots: Sequence[Slot | None], radius_mm: float) -> list[Slot]:
    """Each place once."""
    kept: list[Slot] = []
    for slot in slots:
        if slot and all(_gap(slot.angle_rad, other.angle_rad) * radius_mm > SAME_PLACE_MM for other in kept):
            kept.append(slot)
    return kept


def slot_signs(pixels: Pixels, plane: Plane, radius_mm: float, slot: Slot, heat: float) -> FloatArray:
    """The signs, in the order of SIGNS, and the finder's heat as far as it counts.

    open: 1 where the outline is missing across the slot, 0 where it goes on; ground: 1 where the inside looks as what
    lies beside the plate; sides, bottom: how far those edges stand out, logarithms; width: squared, from the usual.
    """
    depth, across, colour = slot_picture(pixels, plane, radius_mm, slot.angle_rad)
    half = slot.width_mm / 2
    inside = np.abs(across) < 0.7 * half
    beside = (np.abs(across) > half + 0.2) & (np.abs(across) < half + 1.4)
    rows = lambda low, high: (depth > low) & (depth < high)  # noqa: E731
    ground = colour[rows(-0.28, -0.08)][:, inside].mean((0, 1))
    within = colour[rows(0.10, 0.48)][:, inside].mean((0, 1))
    plate = np.median(colour[rows(0.42, 0.56)][:, beside], (0, 1))
    apart = max(float(np.linalg.norm(plate - ground)), 20.0)
    like_ground = 1 - float(np.linalg.norm(within - ground)) / apart
    at_rim = np.flatnonzero(rows(-0.12, 0.12))
    about = slice(at_rim[0] - 1, at_rim[-1] + 2)
    down = np.linalg.norm(np.gradient(colour[about], axis=0)[1:-1], axis=2)
    mean_down = np.linalg.norm(np.gradient(colour[:, inside].mean(1), axis=0), axis=1)
    whole = float(np.quantile(down[:, beside].max(0), 0.6))
    missing = 1 - float(mean_down[at_rim].max()) / max(whole, 2.0)
    over = np.linalg.norm(np.gradient(colour[rows(0.12, 0.50)], axis=1), axis=2)
    noise = float(np.median(over[:, beside])) + 1.0
    side = [float(np.median(over[:, np.abs(across - x) < 0.08].max(1))) for x in (-half, half)]
    bottom = float(mean_down[rows(0.45, 1.35)].max())
    return np.array(
        [
            np.clip(missing, -0.5, 1.0),
            np.clip(like_ground, -1.0, 1.0),
            np.log(max(min(side), 0.1) / noise),
            np.log(max(bottom, 0.1) / noise),
            min((np.log(slot.width_mm / USUAL_MM) / 0.35) ** 2, 4.0),
            min(2.5 * heat, HEAT_MOST),
        ]
    )
