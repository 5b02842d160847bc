"""Where the close-ups of a reading lie, drawn on the whole face's picture."""

from __future__ import annotations

from typing import Any

import numpy as np

from disc.desk.open_job.session import Session
from disc.job import Job


def close_ups_shown(session: Session, job: Job) -> dict[str, list[dict[str, Any]]]:
    """By side: name, outline in pixels of the face's sheet, and why its place is doubted (empty where it is not)."""
    shown: dict[str, list[dict[str, Any]]] = {}
    for side, face in job.content.faces.items():
        sheet = session.sheets.get(side)
        for one in face.get("close_ups") or ():
            if sheet is None or not one.get("outline_mm"):
                continue
            xy_mm = np.asarray(one["outline_mm"], float)
            u, v = sheet.placing.to_photo_px(xy_mm[:, 0], xy_mm[:, 1])
            outline = np.round(np.column_stack([u, v]), 1).tolist()
            shown.setdefault(side, []).append(
                {"name": str(one.get("photo")), "outline": outline, "doubt": str(one.get("doubtful") or "")}
            )
    return shown
