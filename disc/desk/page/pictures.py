"""The pictures behind the sheets: photographs as they are, and plates laid flat from them.

A laid-flat picture is computed by asking, for each of its pixels, where in the photograph that place of the disc lies;
so both faces come out in the disc's own axes and can be laid over each other.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

from disc.desk.open_job.saved import own_file
from disc.desk.open_job.session import Session
from disc.desk.page.sheets import FLAT_SIZE_PX, FlatPlacing, flat_px_per_mm
from disc.desk.page.views import face_views, photo_name
from disc.errors import DiscError, MissingPart
from disc.job import open_job
from disc.photo.image import Pixels, load_photo, opencv
from disc.photo.plane.view import View
from disc.records import Side

JPEG_QUALITY = 88  # no visible loss at the desk, by eye; half the bytes of 95
OUTSIDE_BGR = (215, 228, 233)  # the page's ground, base.css --table in its light form; by definition
BROWSER_KINDS = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}


def picture(session: Session, earlier: Path | None, name: str) -> tuple[str, bytes]:
    """(kind, bytes) of a picture by its name: upper, lower, flat-upper, flat-lower, earlier-upper, earlier-lower."""
    job = session.job
    if name.startswith("earlier-"):
        if earlier is None:
            raise MissingPart("no earlier job was given.")
        job, name = open_job(earlier), name.removeprefix("earlier-")
        name = f"flat-{name}"
    if job is None:
        raise MissingPart("There is no job here yet.")
    side = Side(name.removeprefix("flat-")) if name.removeprefix("flat-") in set(Side) else None
    view = face_views(job).get(side) if side else None
    if view is None:
        raise MissingPart(f"there is no photograph {name}.")
    path = job.path(photo_name(job, view))
    if not own_file(job, path).is_file():
        raise MissingPart(f"{path}: the photograph is gone from the job. Copy it back from a backup.")
    if name.startswith("flat-"):
        return "image/jpeg", _flat(path, path.stat().st_mtime_ns, view, flat_px_per_mm(job.plate))
    return browser_picture(path)


@lru_cache(maxsize=6)
def _flat(path: Path, changed_ns: int, view: View, px_per_mm: float) -> bytes:
    """The face laid flat in the disc's own axes. changed_ns: so that a new photograph of the same name counts."""
    cv2 = opencv()
    placing = FlatPlacing(Side.UPPER, px_per_mm)
    v, u = np.mgrid[0:FLAT_SIZE_PX, 0:FLAT_SIZE_PX].astype(np.float64)
    from_u, from_v = view.to_photo_px(*placing.to_disc_mm(u, v))
    flat = cv2.remap(
        load_photo(path).pixels,
        from_u.astype(np.float32),
        from_v.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=OUTSIDE_BGR,
    )
    return as_jpeg(flat)


def browser_picture(path: Path) -> tuple[str, bytes]:
    """(kind, bytes) of a picture file: as it is if browsers know it (they turn it upright), otherwise as a JPEG."""
    if path.suffix.lower() in BROWSER_KINDS:
        return BROWSER_KINDS[path.suffix.lower()], path.read_bytes()
    return "image/jpeg", as_jpeg(load_photo(path).pixels)


def as_jpeg(pixels: Pixels) -> bytes:
    """A picture, shape (height, width, 3), blue-green-red, as JPEG."""
    cv2 = opencv()
    done, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        raise DiscError("the picture could not be written as JPEG.")
    return bytes(data)
