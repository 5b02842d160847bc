"""Places in photographs as they are typed: `u,v` in photo pixels, or `NAME=u,v` where a side has several photos."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from disc.errors import BadInput
from disc.records import Side

if TYPE_CHECKING:
    from disc.photo.request import ReadSettings

Place = tuple[float, float]


def numbers(text: str, count: int, option: str, form: str) -> tuple[float, ...]:
    """So many numbers, parted by commas. Raises BadInput."""
    try:
        values = tuple(float(part) for part in text.replace(";", ",").split(","))
    except ValueError:
        values = ()
    if len(values) != count:
        raise BadInput(f"{option}: {text!r} is not {form}. Photo pixels, parted by commas.")
    return values


def given_by_hand(
    side: Side,
    photos: Sequence[Path],
    centre: Sequence[str] | None,
    slot: Sequence[str] | None,
    rim: Sequence[str] | None,
    bar_mm: float | None,
) -> tuple[ReadSettings, dict[Path, ReadSettings]]:
    """What was given for a side's photo without a name, and for those that were named. Raises BadInput."""
    from disc.photo.request import ReadSettings

    marks = [_by_photo(texts or (), f"--{what}-{side}", photos) for what, texts in (("centre", centre), ("slot", slot))]
    rims = _by_photo(rim or (), f"--rim-{side}", photos)

    def settings(photo: Path | None) -> ReadSettings:
        one, two = (
            _only(some.get(photo, []), f"--{w}-{side}") for w, some in zip(("centre", "slot"), marks, strict=True)
        )
        return ReadSettings(one, two, tuple(rims.get(photo, [])), bar_mm=bar_mm if photo is None else None)

    named = {photo for some in (*marks, rims) for photo in some if photo is not None}
    return settings(None), {photo: settings(photo) for photo in photos if photo in named}


def _by_photo(texts: Sequence[str], option: str, photos: Sequence[Path]) -> dict[Path | None, list[Place]]:
    """Places by the photo that they are in; None: no name was given."""
    found: dict[Path | None, list[Place]] = {}
    for text in texts:
        name, equals, places = text.rpartition("=")
        photo = _named(name, option, photos) if equals else None
        for part in places.split():
            u, v = numbers(part, 2, option, "u,v")
            found.setdefault(photo, []).append((u, v))
    return found


def _named(name: str, option: str, photos: Sequence[Path]) -> Path:
    fit = [photo for photo in photos if name in (str(photo), photo.name, photo.stem)]
    if len(fit) != 1:
        names = ", ".join(photo.name for photo in photos) or "none"
        raise BadInput(f"{option}: {name} is not one photo of this side. Given were: {names}.")
    return fit[0]


def _only(places: Sequence[Place], option: str) -> Place | None:
    if len(places) > 1:
        raise BadInput(f"{option}: {len(places)} places were given for one photo. Give one.")
    return places[0] if places else None
