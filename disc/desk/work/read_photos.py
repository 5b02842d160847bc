"""Photographs brought to the page, read into the job; the reader itself minds what was marked on the same picture."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from disc.desk.page.views import face_views, photo_name
from disc.errors import BadInput
from disc.job import Job, open_for_writing
from disc.records import Side
from disc.words import Advance


def read_photos(folder: Path, brought: Mapping[str, Path], advance: Advance) -> str:
    """Read the faces brought ("upper", "lower") into the job; a face not brought anew is read from its old photograph.

    Returns what was found, in words. Raises BadInput if a photograph cannot be used; then the job is as it was.
    """
    from disc.comb.comb_job import teeth_after_reading
    from disc.photo.read_photos import read_job
    from disc.photo.request import ReadRequest

    with open_for_writing(folder) as job:
        photos = _photos_of(job) | {Side(side): path for side, path in brought.items()}
        if not photos:
            raise BadInput("bring a photograph of each side first.")
        paths = {side: (path,) for side, path in photos.items()}
        request = ReadRequest(paths.get(Side.UPPER, ()), paths.get(Side.LOWER, ()))
        reading = read_job(job, request, advance)
        teeth_after_reading(job)
    words = f"{len(reading.pins)} pins and holes were read."
    if reading.unfit:
        words += f" {len(reading.unfit)} earlier corrections no longer fit a pin."
    return " ".join([words, *reading.notes[:2]])


def _photos_of(job: Job) -> dict[Side, Path]:
    found = {side: job.path(photo_name(job, view)) for side, view in face_views(job).items()}
    return {side: path for side, path in found.items() if path.is_file()}
