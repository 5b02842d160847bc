"""The sheets of a job: a photograph for each face where there is one, the plate laid flat, and both faces together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from disc.desk.sheets import Placing, Sheet, flat_sheet
from disc.frame import FloatArray
from disc.job import Job
from disc.records import Side

TITLES = {Side.UPPER: "Upper side", Side.LOWER: "Lower side"}


@dataclass(frozen=True, slots=True)
class PlanePlacing:
    """A pinhole camera's picture of the face: homogeneous, row by row, disc axes in mm to pixels."""

    matrix: tuple[float, ...]

    def to_px(self, x_mm: FloatArray, y_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Pixels (u, v)."""
        return _through(np.reshape(self.matrix, (3, 3)), x_mm, y_mm)

    def to_mm(self, u_px: FloatArray, v_px: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Disc axes (x, y)."""
        return _through(np.linalg.inv(np.reshape(self.matrix, (3, 3))), u_px, v_px)


def _through(matrix: FloatArray, a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    top = matrix @ np.vstack([a, b, np.ones_like(a)])
    return top[0] / top[2], top[1] / top[2]


@dataclass(frozen=True, slots=True)
class FaceView:
    """One photographed face. photo: its name in the job folder; sizes of the upright picture."""

    photo: str
    width_px: int
    height_px: int
    placing: Placing


def face_views(job: Job) -> dict[Side, FaceView]:
    """What the photo reader found of each face; faces without a photograph are left out."""
    views = {}
    for side in Side:
        raw = job.content.faces.get(side.value)
        if raw:
            views[side] = _face_view(raw)
    return views


def _face_view(raw: dict[str, Any]) -> FaceView:
    return FaceView(raw["photo"], raw["width_px"], raw["height_px"], PlanePlacing(tuple(raw["plane"])))


def sheets_of_job(job: Job) -> dict[str, Sheet]:
    """By name: "upper", "lower" (photographs, or the plate drawn flat), "through" (both faces seen from above)."""
    views = face_views(job)
    sheets = [_face_sheet(job, side, views.get(side)) for side in Side]
    through = flat_sheet(job.plate, "through", "Through the plate", tuple(Side), _any_picture(views))
    return {sheet.name: sheet for sheet in (*sheets, through)}


def _any_picture(views: Iterable[Side]) -> str | None:
    return "flat" if list(views) else None


def _face_sheet(job: Job, side: Side, view: FaceView | None) -> Sheet:
    if view is None:
        return flat_sheet(job.plate, side.value, TITLES[side], (side,))
    return Sheet(side.value, TITLES[side], (side,), view.width_px, view.height_px, view.placing, side.value)
