"""The pictures behind the sheets: photographs as they are, and plates laid flat from them.

A laid-flat picture is computed by asking, for each of its pixels, where in the photograph that place of the disc lies;
so both faces come out in the disc's own axes and can be laid over each other.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from disc.desk.session import Session
from disc.desk.sheets import FLAT_SIZE_PX, FlatPlacing, flat_px_per_mm
from disc.desk.uploads import browser_picture
from disc.desk.views import FaceView, face_views
from disc.errors import MissingPart
from disc.job import Job, open_job
from disc.records import Side

JPEG_QUALITY = 88  # no visible loss at the desk; half the bytes of 95
OUTSIDE = (246, 244, 239)  # the page's paper colour


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
    path = job.path(view.photo)
    if not path.is_file():
        raise MissingPart(f"{path}: the photograph is gone from the job. Copy it back from a backup.")
    if name.startswith("flat-"):
        return "image/jpeg", _flat(job, view, path)
    return browser_picture(path)


def _flat(job: Job, view: FaceView, path: Path) -> bytes:
    return _flat_kept(path, path.stat().st_mtime_ns, view, flat_px_per_mm(job.plate))


@lru_cache(maxsize=6)
def _flat_kept(path: Path, changed_ns: int, view: FaceView, px_per_mm: float) -> bytes:
    import cv2

    image = photo_array(path)
    placing = FlatPlacing(Side.UPPER, px_per_mm)
    v, u = np.mgrid[0:FLAT_SIZE_PX, 0:FLAT_SIZE_PX].astype(np.float64)
    x_mm, y_mm = placing.to_mm(u.ravel(), v.ravel())
    from_u, from_v = view.placing.to_px(x_mm, y_mm)
    shape = (FLAT_SIZE_PX, FLAT_SIZE_PX)
    flat = cv2.remap(
        image,
        from_u.reshape(shape).astype(np.float32),
        from_v.reshape(shape).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=OUTSIDE[::-1],
    )
    done, data = cv2.imencode(".jpg", flat, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    assert done
    return bytes(data)


def photo_array(path: Path) -> npt.NDArray[np.uint8]:
    """A photograph, upright, shape (height, width, 3), blue-green-red."""
    import io

    import cv2
    from PIL import Image, ImageOps

    _, data = browser_picture(path)
    with Image.open(io.BytesIO(data)) as image:
        upright = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
    return cv2.cvtColor(upright, cv2.COLOR_RGB2BGR)  # type: ignore[return-value]
