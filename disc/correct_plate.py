"""What was said of the plate at the start, corrected; the reading and the teeth follow.

All that is made from them later (tune, findings, plan, report) is stale from then on and says so.
"""

from __future__ import annotations

from typing import Any

from disc.errors import MissingPart
from disc.job import PHOTO_FOLDER, PINS_FILE, Job
from disc.job.places_said import NOTES, grown_notes
from disc.records import Side
from disc.words import Advance, no_progress

MEASURES_THE_PHOTO = ("diameter_mm", "slot_width_mm", "slot_depth_mm")


def correct_plate(job: Job, values: dict[str, Any], advance: Advance = no_progress) -> list[str]:
    """Lay new values of the plate into a job open for writing; None forgets one. Returns what followed, in words.

    With a new diameter the photographs are read anew, since it is what gives them their scale. Raises BadInput for a
    value that cannot be; then the job is as it was.
    """
    before = job.content.plate
    job.content.change_plate(values)
    changed = [name for name in values if getattr(before, name) != getattr(job.content.plate, name)]
    if not changed:
        return ["Nothing changed: these values stood already."]
    photos = _photos_of(job)
    if any(name in MEASURES_THE_PHOTO for name in changed) and photos:
        from disc.comb.comb_job import read_and_name
        from disc.photo.request import ReadRequest

        # The same photographs at another scale: every site moves, which is meant and no sign of another disc.
        now = job.content.plate.diameter_mm
        by = now / before.diameter_mm if now and before.diameter_mm else 1.0
        request = ReadRequest(photos.get("upper", ()), photos.get("lower", ()), replace=True, grown_by=by)
        notes = job.settings.get(NOTES)
        if notes and by != 1.0:
            job.settings[NOTES] = grown_notes(job.settings, by)
        try:
            read_and_name(job, request, advance)
        except BaseException:
            job.content.plate = before
            if notes:
                job.settings[NOTES] = notes
            raise
        return ["The photographs were read anew with it."]
    with job.step("set"):
        pass
    if "diameter_mm" in changed and job.has(PINS_FILE):
        return ["The pins did not come from photographs of this job and keep their places in millimetres."]
    return []


def _photos_of(job: Job) -> dict[str, Any]:
    """The photographs that the faces in force were read from, as read_job takes them."""
    from disc.photo.read_photos import photos_of_face

    found: dict[str, Any] = {}
    for side in Side:
        paths = photos_of_face(job, side)
        for path in paths:
            if not path.is_file():
                raise MissingPart(
                    f"{path}: the photograph of the {side.value} side is gone. Put it back into {PHOTO_FOLDER}/."
                )
        if paths:
            found[side.value] = paths
    return found
