"""The sheets of a job: a photograph for each face where there is one, and both faces together, laid flat."""

from __future__ import annotations

from disc.desk.page.sheets import PageSheet, flat_sheet
from disc.job import PHOTO_FOLDER, Job
from disc.photo.plane.view import View
from disc.records import Side

TITLES = {Side.UPPER: "Upper side", Side.LOWER: "Lower side"}


def face_views(job: Job) -> dict[Side, View]:
    """What the photo reader found of each face; faces without a photograph are left out."""
    return {side: View.from_json(raw) for side in Side if (raw := job.content.faces.get(side.value))}


def photo_name(job: Job, view: View) -> str:
    """The photograph's name in the job folder."""
    return view.photo if job.has(view.photo) else f"{PHOTO_FOLDER}/{view.photo}"


def sheets_of_job(job: Job) -> dict[str, PageSheet]:
    """By name: "upper", "lower" (photographs, or the plate drawn flat), "through" (both faces seen from above)."""
    views = face_views(job)
    sheets = [_face_sheet(job, side, views.get(side)) for side in Side]
    through = flat_sheet(job.plate, "through", "Through the plate", tuple(Side), "flat" if views else None)
    return {sheet.name: sheet for sheet in (*sheets, through)}


def _face_sheet(job: Job, side: Side, view: View | None) -> PageSheet:
    if view is None:
        return flat_sheet(job.plate, side.value, TITLES[side], (side,))
    return PageSheet(side.value, TITLES[side], (side,), view.width_px, view.height_px, view, side.value)
