"""The close-ups of a request laid onto the faces' pins, and what the job keeps of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from disc.errors import BadInput
from disc.photo.close_up.lay_in import lay_in
from disc.photo.close_up.read_close_up import CloseUp, read_close_up
from disc.photo.image import Photo
from disc.records import Pin, Side


@dataclass(frozen=True, slots=True)
class WithCloseUps:
    """pins: of all faces. notes: by face. close_ups: as read."""

    pins: tuple[Pin, ...]
    notes: tuple[str, ...]
    close_ups: tuple[CloseUp, ...]

    def records(self, side: Side, names: Mapping[str, str]) -> list[dict[str, Any]]:
        """What the job keeps of one face's close-ups. names: in the photo folder, by path."""
        return [_record(one, names[str(one.photo.path)]) for one in self.close_ups if one.side is side]


def with_close_ups(
    pins: Sequence[Pin],
    closer: Mapping[Side, Sequence[Path]],
    photos: Mapping[Path, Photo],
    radii_mm: Mapping[Side, float],
) -> WithCloseUps:
    """radii_mm: of the faces that have a whole reading. Raises BadInput for a close-up of a face that has none."""
    out, notes, read = list(pins), [], []
    for side, paths in closer.items():
        if not paths:
            continue
        mine = [pin for pin in out if pin.side is side]
        if side not in radii_mm or not mine:
            raise BadInput(
                f"{paths[0]}: a close-up is laid onto the whole {side.value} face, which has not been read yet. Give a "
                f"photograph of the whole face first: --{side.value} PHOTO"
            )
        seen = [read_close_up(photos[path], side, mine, radii_mm[side]) for path in paths]
        laid = lay_in(mine, seen)
        out = [pin for pin in out if pin.side is not side] + list(laid.pins)
        notes += [f"{side.value}: {note}" for note in laid.notes]
        read += seen
    return WithCloseUps(tuple(out), tuple(notes), tuple(read))


def _record(one: CloseUp, name: str) -> dict[str, Any]:
    return {
        "photo": name,
        "outline_mm": [[round(float(x), 3), round(float(y), 3)] for x, y in one.outline_mm],
        "px_per_mm": round(one.px_per_mm, 1),
        "mirrored": one.mirrored,
        "matched": one.matched,
        "over_chance": round(one.score, 1),
        "ahead": round(one.ahead, 1),
        "doubtful": one.reason,
    }
