"""The exact stop slot of one photograph, once it is decided which place is the slot's."""

from __future__ import annotations

import numpy as np

from disc.photo.face.seen_marks import Seen
from disc.photo.plane.face_plane import Plane
from disc.photo.plate.one_width import with_width
from disc.photo.plate.slot import EDGES_BELOW_MM, Slot, find_slot
from disc.photo.plate.slot_signs import LensOver
from disc.photo.plate.which_slot import SLOT_SURE, ChosenSlot
from disc.photo.request import ReadSettings

# A slot's edges over the noise of the band beside it: on rendered faces those placed to 0.03 mm stood out by 6 or more.
FAINT_SLOT = 6.0
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
MEANT_MM = 0.6  # edges farther from where the slot is known to be are another thing's
# A plane made exact moves a slot by hundredths of a millimetre; edges this much fainter, farther off, are a shade's.
MOVED_MM, FAINTER = 0.1, 0.5
# For whoever types commands and for whoever works at the desk, where the page says its own tab in this place.
MARK_IT = "mark it: disc read JOB ... --slot-SIDE u,v (pixels), or at the desk."


def place_slot(
    seen: Seen,
    plane: Plane,
    settings: ReadSettings,
    chosen: ChosenSlot,
    over: LensOver = LensOver(),
) -> tuple[Slot | None, float, tuple[str, ...]]:
    """The exact slot, its angle in the plane's axes, and words where a person must look. over: the lens."""
    photo, radius = seen.photo, seen.radius_mm
    if settings.slot is not None:
        near = angle_of(settings.slot, plane)
        slot = find_slot(photo.pixels, plane, radius, near)
        # The person meant another place than the edges found, where these lie far off.
        return (slot, slot.angle_rad, ()) if slot and _is_near(slot, near, radius) else (None, near, ())
    if chosen.place is None and seen.found.slot is not None:
        unclear = f"the stop slot's edges are not clear; check its place on the overlay, or {MARK_IT}"
        return None, angle_of(seen.found.slot, plane), (unclear,)
    if chosen.place is None:
        return None, 0.0, (f"the stop slot was not found: angles count from an arbitrary place; {MARK_IT}",)
    if chosen.by_pins:  # no edges were seen there: what may be found now is something else's
        return None, chosen.place.slot.angle_rad, ()
    # The plane may have moved by a hair since the places were looked at.
    near = chosen.place.slot.angle_rad
    slot = find_slot(photo.pixels, plane, radius, near, over.wall(near, radius))
    if slot is None or _is_another(slot, chosen.place.slot, radius):
        slot = chosen.place.slot
    slot = with_width(slot, chosen.width, radius - EDGES_BELOW_MM)
    words: tuple[str, ...] = ()
    if chosen.probability < SLOT_SURE:
        words = (f"the stop slot is doubtful; check it on the overlay, or {MARK_IT}",)
    elif slot.strength < FAINT_SLOT:
        words = (
            f"the stop slot's edges are faint; check on the overlay that the arrow points to its middle, or {MARK_IT}",
        )
    return slot, slot.angle_rad, words


def _is_another(again: Slot, before: Slot, radius_mm: float) -> bool:
    """Whether looking again found fainter edges beside those seen before."""
    return again.strength < FAINTER * before.strength and not _is_near(again, before.angle_rad, radius_mm, MOVED_MM)


def _is_near(slot: Slot | None, angle_rad: float, radius_mm: float, within_mm: float = MEANT_MM) -> bool:
    """Whether edges were found where the slot is known to be."""
    return slot is not None and abs(np.angle(np.exp(1j * (slot.angle_rad - angle_rad)))) * radius_mm < within_mm


def angle_of(px: tuple[float, float], plane: Plane) -> float:
    """Of a photo point, rad in the plane's axes."""
    x, y = plane.to_mm(np.array([px]))[0]
    return float(np.arctan2(y, x))
