"""The stop slot or the centre of a face, marked on its photograph, as one step of the history."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from disc.desk.work.changes import datum_changes
from disc.desk.work.datum import datum_from_mark
from disc.desk.work.session import Session
from disc.errors import BadInput, MissingPart

WORDS = {"slot": "marked the stop slot", "centre": "marked the centre"}


def mark_place(session: Session, asked: Mapping[str, Any]) -> None:
    """asked: {"what": "slot" or "centre", "sheet": "upper" or "lower", "at": [u, v]}. Raises BadInput."""
    job, sheet = session.job, session.sheets.get(str(asked.get("sheet")))
    if job is None or sheet is None or sheet.picture != sheet.name:
        raise MissingPart("there is no photograph of that side to mark on.")
    try:
        u_px, v_px = (float(value) for value in asked["at"])
    except (KeyError, TypeError, ValueError):
        raise BadInput("the mark has no place.") from None
    side, what = sheet.sides[0], str(asked.get("what"))
    datum = datum_from_mark(what, side, *sheet.disc_place(u_px, v_px), job.plate.radius_mm)
    session.set_values(f"{WORDS[what]}, {side.value} side", datum_changes(job, datum, what, (u_px, v_px)))
