"""Several photos of one disc read together: lens and slot are told by all; what cannot be used is set aside."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import replace
from typing import TypeVar

from disc.errors import BadInput
from disc.photo.board.sheet_under import look_for_sheets
from disc.photo.face.face_slot import angle_of
from disc.photo.image import Photo, opencv
from disc.photo.marks.other_face import own_pins
from disc.photo.read_face import FaceReading, PhotoLook, finish, look_at
from disc.photo.request import ReadSettings
from disc.photo.several.lens_told import lenses_told
from disc.photo.several.one_slot import slots_of_disc
from disc.photo.solved_together import solved_together, told_by_others
from disc.records import Plate, Side

T = TypeVar("T")


def read_faces(
    photos: Sequence[tuple[Photo, Side]], plate: Plate, settings: Sequence[ReadSettings] | None = None
) -> list[FaceReading]:
    """As read_usable, but raises BadInput if any photo cannot be used."""
    readings = []
    for reading in read_usable(photos, plate, settings):
        if isinstance(reading, BadInput):
            raise reading
        readings.append(reading)
    return readings


def read_usable(
    photos: Sequence[tuple[Photo, Side]], plate: Plate, settings: Sequence[ReadSettings] | None = None
) -> list[FaceReading | BadInput]:
    """Several photos of one disc, side by side on the machine's cores: OpenCV and numpy let each other work.

    settings: what was given by hand for each. In the place of a photo that cannot be used stands why, and the others
    do without it. Raises that BadInput where it is its face's only one.

    Where OpenCV was told to keep to one thread (OPENCV_FOR_THREADS_NUM=1), one after the other.
    """
    by_hand = settings or [ReadSettings()] * len(photos)
    sides = [side for _, side in photos]
    sheets = look_for_sheets([photo for photo, _ in photos])
    lenses = lenses_told([photo for photo, _ in photos], sheets)
    with ThreadPoolExecutor(max_workers=min(2, opencv().getNumThreads())) as pool:
        looks = _tried(
            pool,
            [
                lambda a=(photo, side, plate, given, sheet, told.lens, told.own): look_at(*a)  # type: ignore[misc]
                for (photo, side), given, sheet, told in zip(photos, by_hand, sheets, lenses, strict=True)
            ],
        )
        readings = _finished(pool, looks, sides)
    whole = [reading for reading in readings if isinstance(reading, FaceReading)]
    return [_without_others(reading, whole) if isinstance(reading, FaceReading) else reading for reading in readings]


def _tried(pool: Executor, steps: Iterable[Callable[[], T]]) -> list[T | BadInput]:
    """What comes of each step, or why nothing does."""

    def attempt(step: Callable[[], T]) -> T | BadInput:
        try:
            return step()
        except BadInput as error:
            return error

    return list(pool.map(attempt, steps))


def _finished(
    pool: Executor, looks: Sequence[PhotoLook | BadInput], sides: Sequence[Side]
) -> list[FaceReading | BadInput]:
    """The readings of what can be used. What shows itself to be no disc only at the end is not heard by the others."""
    _refuse_without_any(looks, sides)
    usable = [k for k, look in enumerate(looks) if isinstance(look, PhotoLook)]
    kept = [look for look in looks if isinstance(look, PhotoLook)]
    kept, shared = solved_together(kept)
    others = [told_by_others(look, kept) if own is None else None for look, own in zip(kept, shared, strict=True)]
    marks = [look.slot_marks() for look in kept]
    chosen = slots_of_disc([look.places for look in kept], marks, [_named(look) for look in kept])
    ends = _tried(pool, [lambda a=one: finish(*a) for one in zip(kept, others, chosen, strict=True)])  # type: ignore[misc]
    ends = [
        end if isinstance(end, BadInput) else replace(end, shared=own) for end, own in zip(ends, shared, strict=True)
    ]
    refused = {k: end for k, end in zip(usable, ends, strict=True) if isinstance(end, BadInput)}
    if refused:
        return _finished(pool, [refused.get(k, look) for k, look in enumerate(looks)], sides)
    done = dict(zip(usable, ends, strict=True))
    return [look if isinstance(look, BadInput) else done[k] for k, look in enumerate(looks)]


def _refuse_without_any(looks: Sequence[PhotoLook | BadInput], sides: Sequence[Side]) -> None:
    """Raises the first photo's BadInput of a face that has no other."""
    for face in dict.fromkeys(sides):
        mine = [look for look, side in zip(looks, sides, strict=True) if side is face]
        faults = [look for look in mine if isinstance(look, BadInput)]
        if len(faults) == len(mine):
            raise faults[0]


def _named(look: PhotoLook) -> float | None:
    """The slot's angle in the plane's axes as a person gave it."""
    return None if look.settings.slot is None else angle_of(look.settings.slot, look.joint.plane)


def _without_others(reading: FaceReading, readings: Sequence[FaceReading]) -> FaceReading:
    """The reading without the tails and through holes that a reading of the other face explains."""
    pins = reading.pins
    for other in readings:
        if other.view.side is not reading.view.side and _slot_told(reading) and _slot_told(other):
            pins = own_pins(pins, other.pins)
    return replace(reading, pins=tuple(replace(pin, id=k + 1) for k, pin in enumerate(pins)))


def _slot_told(reading: FaceReading) -> bool:
    """Whether places are counted from a slot that is likelier right than not; by hand it is."""
    return reading.slot_odds is None or reading.slot_odds.probability > 0.5
