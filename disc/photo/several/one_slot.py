"""Photographs of one face have one slot: laid on one another by their pins, they tell it together.

A photograph by itself may misread its slot: a stain, a nick, paper under it, a finger over it. The pins, of which there
are many, lay the photographs of a face on one another to a hundredth of a millimetre; a place is then weighed by what
all of them show there, and the slots of the two faces are chosen together as before (which_slot.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.photo.plate.one_width import EDGE_MM_NOISES, width_by
from disc.photo.plate.slot import USUAL_MM, Slot
from disc.photo.plate.slot_signs import SlotPlace
from disc.photo.plate.which_slot import ChosenSlot, FaceMarks, choose_slots
from disc.photo.several.lay_on import lay_on

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
SAME_SLOT_MM = 0.35  # a slot read on two photographs lies nearer than this; what lies farther is another place
# Log-odds of a place by a photograph that shows no edges there; covers and glare hide some slots, so that no photograph
# speaks more strongly than this against what another shows.
NO_EDGES = -4.0
NAMED = 12.0  # of a place that a person named
# A slot's edges that stand out of the noise by so much are as good as can be; slots that lie farther apart are not one.
CLEAR, ONE_SLOT_DEG = 25.0, 0.6


@dataclass(frozen=True, slots=True)
class _Face:
    """Photographs that lie on one another: by their place in the list, and how each is turned onto the first."""

    photos: list[int]
    turns: list[float]


def slots_of_disc(
    places: Sequence[Sequence[SlotPlace]], marks: Sequence[FaceMarks], named: Sequence[float | None]
) -> list[ChosenSlot]:
    """The slot of each photograph, all weighed together. named: angles that a person gave, None where none."""
    faces = _faces(marks)
    common = [_common_places(face, places, named, marks[face.photos[0]].radius_mm) for face in faces]
    chosen = choose_slots(common, [marks[face.photos[0]] for face in faces])
    out: list[ChosenSlot] = [ChosenSlot(None, 0.0)] * len(places)
    for face, slot in zip(faces, chosen, strict=True):
        for k, turn in zip(face.photos, face.turns, strict=True):
            out[k] = _in_photo(slot, turn, places[k], marks[k].radius_mm)
    seen = [one.place.slot if one.place is not None and not one.by_pins else None for one in out]
    return [
        replace(one, width=width_by([slot for slot in (*seen[:k], *seen[k + 1 :]) if slot is not None]))
        for k, one in enumerate(out)
    ]


def slot_off_deg(slots: Sequence[tuple[float, Slot | None]], width_mm: float | None = None) -> float:
    """How far the slot of a face lies from its first photograph's own, by all its photographs' slots.

    slots: by how many degrees each photograph was turned onto the first, and its slot, None where it shows no edges.
    The more a slot's edges stand out, the better they tell its middle; where it is wider or narrower than the disc's
    photographs show it (width_mm), one of its edges is a shadow's or a wall's: the middle is off by half of that.
    """
    told = [
        (turn, 1 / _middle_variance_mm2(slot, width_mm))
        for turn, slot in slots
        if slot is not None and slot.strength > 0 and abs(turn) < ONE_SLOT_DEG
    ]
    weight = sum(w for _, w in told)
    return sum(turn * w for turn, w in told) / weight if weight > 0 else 0.0


def _middle_variance_mm2(slot: Slot, width_mm: float | None) -> float:
    over = 0.0 if width_mm is None else (slot.width_mm - width_mm) / 2
    return EDGE_MM_NOISES**2 / 2 / min(slot.strength, CLEAR) ** 2 + over**2


def _faces(marks: Sequence[FaceMarks]) -> list[_Face]:
    """Photographs of one side that lie on one another; what lies on none stands by itself."""
    faces: list[_Face] = []
    for k, mine in enumerate(marks):
        for face in faces:
            first = marks[face.photos[0]]
            if first.upper is mine.upper and (laid := lay_on(first.xy, mine.xy)).fits:
                face.photos.append(k)
                face.turns.append(laid.turn_rad)
                break
        else:
            faces.append(_Face([k], [0.0]))
    return faces


def _common_places(
    face: _Face, places: Sequence[Sequence[SlotPlace]], named: Sequence[float | None], radius_mm: float
) -> list[SlotPlace]:
    """The likely places of a face in its first photograph's axes, by all its photographs, the surest first."""
    members = list(zip(face.photos, face.turns, strict=True))
    told = [angle + turn for k, turn in members if (angle := named[k]) is not None]
    if told:
        return [SlotPlace(Slot(told[0], USUAL_MM, 0.0), NAMED)]
    if len(members) == 1:
        return list(places[face.photos[0]])
    found = [_turned(place, turn) for k, turn in members for place in places[k]]
    found.sort(key=lambda place: -place.odds)
    apart: list[SlotPlace] = []
    for place in found:
        if all(_gap_mm(place, other, radius_mm) > SAME_SLOT_MM for other in apart):
            apart.append(place)
    seen = [[_turned(place, turn) for place in places[k]] for k, turn in members]
    weighed = [SlotPlace(one.slot, sum(_odds_there(one, some, radius_mm) for some in seen)) for one in apart]
    return sorted(weighed, key=lambda place: -place.odds)


def _odds_there(place: SlotPlace, seen: Sequence[SlotPlace], radius_mm: float) -> float:
    """What a photograph makes of a place."""
    near = [one.odds for one in seen if _gap_mm(place, one, radius_mm) < SAME_SLOT_MM]
    return max(max(near, default=NO_EDGES), NO_EDGES)


def _turned(place: SlotPlace, turn_rad: float) -> SlotPlace:
    return replace(place, slot=replace(place.slot, angle_rad=place.slot.angle_rad + turn_rad))


def _in_photo(slot: ChosenSlot, turn_rad: float, mine: Sequence[SlotPlace], radius_mm: float) -> ChosenSlot:
    """A face's slot as one of its photographs has it; where that shows no edges there, by the pins alone."""
    other = None if slot.runner_up_rad is None else slot.runner_up_rad - turn_rad
    if slot.place is None:
        return ChosenSlot(None, slot.probability, other, slot.runner_up)
    there = _turned(slot.place, -turn_rad)
    own = next((place for place in mine if _gap_mm(place, there, radius_mm) < SAME_SLOT_MM), None)
    return ChosenSlot(own or there, slot.probability, other, slot.runner_up, by_pins=own is None)


def _gap_mm(a: SlotPlace, b: SlotPlace, radius_mm: float) -> float:
    off = a.slot.angle_rad - b.slot.angle_rad
    return float(abs((off + np.pi) % (2 * np.pi) - np.pi)) * radius_mm
