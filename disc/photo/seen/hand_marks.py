"""What a person marked on the photograph of a face: points of its rim, a known length, and what is not seen.

Marks are pixels of one photograph and hold for that one only, so its name is kept with them in the job's settings:
"photo.rim_upper", "photo.scale_upper", "photo.unseen_upper". Rim and length take effect at the next reading of that
photograph; what is not seen at once, in every room above, since it goes into the map of what is seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray, to_xy_mm
from disc.job import PHOTO_FOLDER, Job
from disc.photo.plane.view import View
from disc.photo.seen.seen_map import SEEN, SeenMap, Why, cell_places
from disc.records import Pin, Side

FEWEST_RIM = 5  # an ellipse has five parameters, by definition
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class HandMarks:
    """All in pixels of the face's photograph. scale: (u1, v1, u2, v2, mm). unseen: outlines of three points or more."""

    rim: tuple[Point, ...] = ()
    scale: tuple[float, float, float, float, float] | None = None
    unseen: tuple[tuple[Point, ...], ...] = ()


def setting_name(what: str, side: Side) -> str:
    """Where the job keeps a kind of mark: rim, scale or unseen."""
    return f"photo.{what}_{side.value}"


def marks_of(job: Job, side: Side) -> HandMarks:
    """The marks on the photograph that the face was last read from; those of other photographs are left out."""
    rim, scale, unseen = (_marked(job, what, side) for what in ("rim", "scale", "unseen"))
    return HandMarks(
        tuple(_point(at) for at in rim or ()),
        tuple(float(value) for value in scale) if scale else None,  # type: ignore[arg-type]
        tuple(tuple(_point(at) for at in outline) for outline in unseen or ()),
    )


def kept_marks(photo: str, value: Any) -> dict[str, Any] | None:
    """A mark as the job's settings keep it; None where there is nothing to keep."""
    return {"photo": _bare(photo), "marks": value} if value else None


def with_unseen(job: Job, one: SeenMap) -> SeenMap:
    """The map of a face, with what a person said is not seen laid over it."""
    outlines = marks_of(job, one.side).unseen
    if not outlines:
        return one
    view = View.from_json(job.content.faces[one.side.value])
    u, v = view.to_photo_px(*to_xy_mm(*cell_places(one.radius_mm)))
    letters = one.letters()
    for outline in outlines:
        letters = np.where((letters == SEEN) & inside(outline, u, v), Why.COVERED.value, letters)
    return SeenMap.from_letters(one.side, one.radius_mm, letters)


def pins_inside(view: View, pins: Sequence[Pin], outline: Sequence[Point]) -> list[Pin]:
    """The pins of this face whose roots lie within an outline on its photograph."""
    mine = [pin for pin in pins if pin.side is view.side]
    if not mine:
        return []
    u, v = view.to_photo_px(*to_xy_mm(np.array([p.r_mm for p in mine]), np.array([p.theta_deg for p in mine])))
    return [pin for pin, is_in in zip(mine, inside(outline, u, v), strict=True) if is_in]


def inside(outline: Sequence[Point], u: FloatArray, v: FloatArray) -> npt.NDArray[np.bool_]:
    """Which places lie within an outline: a line from them to the right crosses it an odd number of times."""
    odd = np.zeros(np.shape(u), bool)
    for (u1, v1), (u2, v2) in zip(outline, (*outline[1:], outline[0]), strict=True):
        if v1 != v2:
            odd ^= ((v1 > v) != (v2 > v)) & (u < (u2 - u1) * (v - v1) / (v2 - v1) + u1)
    return odd


def _marked(job: Job, what: str, side: Side) -> Any:
    kept, face = job.settings.get(setting_name(what, side)), job.content.faces.get(side.value)
    if not isinstance(kept, dict) or face is None or kept.get("photo") != _bare(str(face.get("photo", ""))):
        return None
    return kept.get("marks")


def _point(at: Any) -> Point:
    return float(at[0]), float(at[1])


def _bare(photo: str) -> str:
    return photo.removeprefix(f"{PHOTO_FOLDER}/")
