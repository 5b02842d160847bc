"""The stop slots of a job's photographs, where one is in doubt: weighed by the music; the command that settles it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from disc.frame import to_xy_mm
from disc.job import Job
from disc.photo.plane.view import View
from disc.photo.plate.which_slot import SLOT_SURE, SlotOdds
from disc.records import About, Doubt, Side
from disc.turn.fit.slot_places import slot_doubt, weigh_slots
from disc.turn.one_turn import OneTurn

SLOT_DEPTH_MM = 0.8  # of a slot whose depth nobody measured: the middle of 0.4 to 1.2 mm; common practice, no source


def with_slots_weighed(job: Job, turn: OneTurn, doubts: Sequence[Doubt]) -> list[Doubt]:
    """The doubts with those about a slot weighed anew, where a photograph names the next likely place.

    A slot that the photograph is sure of is only asked about where the music does not agree with it.
    """
    if not any(doubt.about is About.SLOT for doubt in doubts):
        return list(doubts)
    odds = {side: found for side in Side if (found := _odds(job.content.faces.get(side.value))) is not None}
    misfit = any(doubt.about is About.SLOT for doubt in turn.doubts)
    asked = {side: one for side, one in odds.items() if misfit or one.probability < SLOT_SURE}
    if not asked:
        return list(doubts)
    made = []
    for side, weighed in weigh_slots(turn.pins, turn.comb, turn.plate, asked).items():
        doubt = slot_doubt(side, weighed, _command(job, side, weighed.other_theta_deg))
        made += [] if doubt is None else [doubt]
    kept = [d for d in doubts if d.about is not About.SLOT or not (d.side in asked or (d.side is None and made))]
    return [*kept, *made]


def _odds(face: dict[str, Any] | None) -> SlotOdds | None:
    """What the reader said of a face's slot; None where it named one place only, or a person named it."""
    told = (face or {}).get("slot_odds")
    if not isinstance(told, dict) or told.get("other_theta_deg") is None:
        return None
    return SlotOdds(float(told["probability"]), float(told["other_theta_deg"]), float(told["other_probability"]))


def _command(job: Job, side: Side, theta_deg: float) -> str:
    """Reads the face again with the slot at this angle."""
    face = job.content.faces[side.value]
    view = View.from_json(face)
    depth_mm = job.content.plate.slot_depth_mm or SLOT_DEPTH_MM
    r_mm = view.radius_mm - depth_mm / 2.0
    u, v = view.to_photo_px(*to_xy_mm(r_mm, theta_deg))
    photo = job.path(str(face.get("photo", f"photos/{side.value}.jpg")))
    return f"disc read {job.folder} --{side.value} {photo} --slot-{side.value} {float(u):.0f},{float(v):.0f}"
