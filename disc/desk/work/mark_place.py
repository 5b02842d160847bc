"""What a person marks on a face's photograph, each act one step of the history.

Stop slot and centre move the places of all pins at once; points of the rim and a known length wait for the next
reading of the photograph; what is not seen here counts at once, and the pins read there become "not seen".
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from disc.desk.open_job.changes import datum_changes, setting_change
from disc.desk.open_job.datum import datum_from_mark
from disc.desk.open_job.edits import BY_HAND
from disc.desk.open_job.session import Session
from disc.desk.page.sheets import PageSheet
from disc.desk.page.views import face_views
from disc.errors import BadInput, MissingPart
from disc.job import Job
from disc.job.corrections import Action, Correction
from disc.job.schema import now_text
from disc.measures.length import length_mm
from disc.photo.seen.hand_marks import FEWEST_RIM, kept_marks, marks_of, pins_inside, setting_name
from disc.records import Condition, Side
from disc.words import counted

WORDS = {"slot": "marked the stop slot", "centre": "marked the centre"}
MOST_POINTS = 200  # of one act; a rim needs three, an area some tens (chosen, nothing hangs on it)
LEAST_APART_PX = 10.0  # ends of a known length; nearer is a double click, and a px of slip 10 % (chosen)
MM_LOW, MM_HIGH = 0.1, 300.0  # a known length's bounds: a wire's thickness to a long ruler; outside is a slip (chosen)
NO_PHOTO = "there is no photograph of that side to mark on."


def mark_place(session: Session, asked: Mapping[str, Any]) -> None:
    """asked: {"what", "sheet": "upper" or "lower"} and, by what it is:

    slot, centre: "at" [u, v]. rim: "points", none to forget them. scale: two "points" and "mm", none to forget it.
    unseen: "points" of one more outline, none to forget all. Raises BadInput.
    """
    job, sheet = session.job, session.sheets.get(str(asked.get("sheet")))
    if job is None or sheet is None or sheet.picture != sheet.name:
        raise MissingPart(NO_PHOTO)
    what = str(asked.get("what"))
    kinds = {"rim": _rim, "scale": _scale, "unseen": _unseen}
    if what in kinds:
        kinds[what](session, job, sheet, asked)
        return
    try:
        u_px, v_px = (float(value) for value in asked["at"])
    except (KeyError, TypeError, ValueError):
        raise BadInput("the mark has no place.") from None
    side = sheet.sides[0]
    datum = datum_from_mark(what, side, *sheet.disc_place(u_px, v_px), job.plate.radius_mm)
    session.set_values(f"{WORDS[what]}, {side.value} side", datum_changes(job, datum, what, (u_px, v_px)))


def marks_shown(job: Job) -> dict[str, Any]:
    """By side with a photograph: what is marked on it, for the page to draw."""
    shown = {}
    for side in face_views(job):
        marks = marks_of(job, side)
        shown[side.value] = {"rim": marks.rim, "scale": marks.scale, "unseen": marks.unseen}
    return shown


def _rim(session: Session, job: Job, sheet: PageSheet, asked: Mapping[str, Any]) -> None:
    points = _points(asked, sheet)
    if points and len(points) < FEWEST_RIM:
        few = f"{counted(len(points), 'point')} of the rim {'is' if len(points) == 1 else 'are'}"
        raise BadInput(f"{few} too few: mark {FEWEST_RIM} or more, all around.")
    side = sheet.sides[0]
    words = f"marked {counted(len(points), 'point')} of the rim" if points else "forgot the points of the rim"
    _keep(session, job, side, "rim", points, words)


def _scale(session: Session, job: Job, sheet: PageSheet, asked: Mapping[str, Any]) -> None:
    points = _points(asked, sheet)
    side = sheet.sides[0]
    if not points:
        _keep(session, job, side, "scale", None, "forgot the known length")
        return
    if len(points) != 2 or abs(points[0][0] - points[1][0]) + abs(points[0][1] - points[1][1]) < LEAST_APART_PX:
        raise BadInput("a known length has two ends that lie apart: mark both.")
    mm = length_mm(str(asked.get("mm", "")), "the known length")
    if not MM_LOW <= mm <= MM_HIGH:
        raise BadInput(f"the known length: {mm:g} mm; it must be {MM_LOW:g} to {MM_HIGH:g} mm.")
    _keep(session, job, side, "scale", [*points[0], *points[1], mm], f"marked a known length of {mm:g} mm")


def _unseen(session: Session, job: Job, sheet: PageSheet, asked: Mapping[str, Any]) -> None:
    points = _points(asked, sheet)
    side = sheet.sides[0]
    if not points:
        _keep(session, job, side, "unseen", None, "forgot what was not seen")
        return
    if len(points) < 3:
        raise BadInput("an outline of what is not seen has three corners or more.")
    before = [[list(at) for at in outline] for outline in marks_of(job, side).unseen]
    within = pins_inside(face_views(job)[side], session.pins, [(u, v) for u, v in points])
    changes = (("condition", Condition.UNSEEN), BY_HAND)
    corrections = tuple(
        Correction(Action.CHANGE, pin.side, pin.r_mm, pin.theta_deg, changes, "", now_text())
        for pin in within
        if pin.condition is not Condition.UNSEEN
    )
    words = f"marked a part that is not seen, with {counted(len(within), 'pin')}"
    _keep(session, job, side, "unseen", [*before, points], words, corrections)


def _keep(
    session: Session, job: Job, side: Side, what: str, value: Any, words: str, corrections: tuple[Correction, ...] = ()
) -> None:
    photo = str(job.content.faces[side.value]["photo"])
    change = setting_change(job, setting_name(what, side), kept_marks(photo, value))
    session.set_values(f"{words}, {side.value} side", (change,), corrections)


def _points(asked: Mapping[str, Any], sheet: PageSheet) -> list[list[float]]:
    given = asked.get("points")
    try:
        points = [[round(float(u), 2), round(float(v), 2)] for u, v in given or ()]
    except (TypeError, ValueError):
        raise BadInput("the marks have no places.") from None
    if len(points) > MOST_POINTS:
        raise BadInput(f"{len(points)} points are too many; {MOST_POINTS} are enough.")
    for u, v in points:
        if not (-1 <= u <= sheet.width_px and -1 <= v <= sheet.height_px):
            raise BadInput("a mark lies outside the photograph.")
    return points
