"""A picture of each finding's place, cut from the photograph of its face."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from disc.check.store import load_findings
from disc.frame import to_xy_mm
from disc.job import PHOTO_FOLDER, Job
from disc.photo.plane.view import View
from disc.records import Finding, Side
from disc.report.pictures import in_rgb, open_picture

# Unless said otherwise: laid out by eye on printed pages.
# Half the side of what is shown around a place: a pin, its neighbours on the track, and the tracks beside it.
AROUND_MM = 1.5
SHOWN_PX = 320  # of a cut-out's side; chosen by hand
MOST_PICTURES = 80  # in one report, to keep it to some megabytes; chosen by hand
# What is left round the rim of a disc that is cut out of its photograph, a share of its radius.
RIM_MARGIN = 0.05


def pictures_of_findings(job: Job) -> dict[Finding, bytes]:
    """JPEG of each finding's place; findings on a face without a photograph are left out."""
    shown: dict[Finding, bytes] = {}
    findings = load_findings(job)[:MOST_PICTURES]
    for side in Side:
        mine = [finding for finding in findings if finding.side is side]
        found = photographed_view(job, side) if mine else None
        if found is None:
            continue
        view, path = found
        picture = in_rgb(open_picture(path))
        for finding in mine:
            box = _box(view, finding)
            cut = picture.crop(box).resize((SHOWN_PX, SHOWN_PX))
            out = io.BytesIO()
            cut.save(out, "JPEG", quality=88)
            shown[finding] = out.getvalue()
    return shown


def photographed_view(job: Job, side: Side) -> tuple[View, Path] | None:
    """A face's view and its photograph in the job folder, None if it was not read from one."""
    face = job.content.faces.get(side.value)
    if not isinstance(face, dict) or "plane_to_px" not in face:
        return None
    view = View.from_json(face)
    path = job.path(f"{PHOTO_FOLDER}/{Path(view.photo).name}")
    return (view, path) if path.is_file() else None


def rim_outline(job: Job, side: Side) -> list[tuple[float, float]] | None:
    """The disc with a little around it in the photograph of a face, (u, v) in px; None if it was not read from one."""
    found = photographed_view(job, side)
    if found is None:
        return None
    view, _ = found
    around = np.arange(0.0, 360.0, 2.0)
    u, v = view.to_photo_px(*to_xy_mm(np.full_like(around, view.radius_mm * (1.0 + RIM_MARGIN)), around))
    return list(zip(u.tolist(), v.tolist(), strict=True))


def _box(view: View, finding: Finding) -> tuple[int, int, int, int]:
    u, v = view.to_photo_px(*to_xy_mm(finding.r_mm, finding.theta_deg))
    half = int(np.ceil(AROUND_MM * view.px_per_mm))
    return int(u) - half, int(v) - half, int(u) + half, int(v) + half
