"""Doubts that follow from what the job keeps of a face: a measuring sheet that was left out, a close-up not used."""

from __future__ import annotations

from typing import Any

from disc.errors import BadInput
from disc.photo.board.sheet_told import HIGHEST_MM, LOWEST_MM, SheetTold
from disc.records import About, Doubt, Side


def recorded_doubts(side: Side, face: dict[str, Any], where: str) -> list[Doubt]:
    """Of the sheets and close-ups of a face's record. Raises BadInput, naming where it stood, if that is damaged."""
    try:
        told = {str(name): SheetTold.from_json(item) for name, item in (face.get("sheets") or {}).items()}
        sheets = [doubt for name, sheet in told.items() for doubt in _of_sheet(side, name, sheet)]
        close_ups = [_of_close_up(side, one) for one in face.get("close_ups") or () if one.get("doubtful")]
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise BadInput(f"{where}: damaged ({type(error).__name__}: {error}). Read the photographs again.") from error
    return [*sheets, *close_ups]


def _of_sheet(side: Side, name: str, told: SheetTold) -> list[Doubt]:
    if told.left_out:
        say = f"the measuring sheet in {name} was not used: {told.left_out}"
        advice = f"Lay it flat and read a new photograph of that side: disc read JOB --{side.value} PHOTO"
        return [Doubt(About.SHARP, say, advice, side)]
    if told.height_mm is not None and not LOWEST_MM < told.height_mm < HIGHEST_MM:
        say = f"by the measuring sheet in {name} the face lies {told.height_mm:.1f} mm over the paper, which cannot be."
        advice = "Measure the sheet's bar (--bar-mm) and the disc again; then disc set JOB --diameter-mm D"
        return [Doubt(About.DIAMETER, say, advice, side)]
    return []


def _of_close_up(side: Side, one: dict[str, Any]) -> Doubt:
    say = f"the close-up {one['photo']} was not used: its place on the face is doubtful ({one['doubtful']})."
    return Doubt(About.SHARP, say, f"Take in five pins at least: disc read JOB --closer-{side.value} PHOTO", side)
