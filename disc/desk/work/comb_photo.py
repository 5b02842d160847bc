"""The comb from marks on a photograph of it in place.

The person marks the arbor's centre, the direction of the stop slot with the disc at rest (or any point on the line from
the centre through it), two points a known distance apart, and the tip of each tooth. The photograph is taken squarely
over the disc, so one scale and one turning serve the whole of it (a similarity; a camera 300 mm away that looks 5
degrees aslant shortens one direction by 0.4 %, 0.05 mm at 12 mm from the centre).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from disc.desk.open_job.changes import comb_change
from disc.desk.open_job.session import Session
from disc.errors import BadInput, MissingPart
from disc.frame import to_polar, view_to_disc_mm, wrap_deg
from disc.records import Comb, Side, Tooth
from disc.tables import format_comb
from disc.words import counted

# Unless said otherwise: chosen by hand, not measured.
SHORTEST_BASE_PX = 20.0  # a known length shorter than this on the picture measures nothing
# How far a marked tip may lie from a tooth of the table and still be that tooth: half the usual step between tracks.
SAME_TIP_MM = 0.2


@dataclass(frozen=True, slots=True)
class MarkedTips:
    """What was marked, pixels (u right, v down). side: which face of the disc the picture looks at."""

    side: Side
    centre: tuple[float, float]
    slot: tuple[float, float]
    length_from: tuple[float, float]
    length_to: tuple[float, float]
    length_mm: float
    tips: tuple[tuple[float, float], ...]


def tips_from_marks(marks: MarkedTips) -> list[tuple[float, float]]:
    """(tip_r_mm, tip_theta_deg) of each marked tip, in disc axes. Raises BadInput where nothing can be measured."""
    base_px = float(np.hypot(*np.subtract(marks.length_to, marks.length_from)))
    if base_px < SHORTEST_BASE_PX:
        raise BadInput("the two ends of the known length lie too close together on the picture. Mark a longer one.")
    if not marks.length_mm > 0:
        raise BadInput("give the known length in millimetres.")
    px_per_mm = base_px / marks.length_mm
    if float(np.hypot(*np.subtract(marks.slot, marks.centre))) < SHORTEST_BASE_PX:
        raise BadInput("the mark of the stop slot lies on the centre. Mark it near the rim.")
    _, slot_deg = _view_polar(marks, [marks.slot], px_per_mm)
    r_mm, theta_deg = _view_polar(marks, marks.tips, px_per_mm)
    return [(float(r), float(t)) for r, t in zip(r_mm, wrap_deg(theta_deg - slot_deg[0]), strict=True)]


def _view_polar(marks: MarkedTips, points: Sequence[tuple[float, float]], px_per_mm: float) -> tuple[Any, Any]:
    places = np.asarray(points, dtype=float).reshape(-1, 2)
    right = (places[:, 0] - marks.centre[0]) / px_per_mm
    up = (marks.centre[1] - places[:, 1]) / px_per_mm
    return to_polar(*view_to_disc_mm(right, up, marks.side))


def marks_from_request(body: Mapping[str, Any]) -> MarkedTips:
    """Marks as the page sends them. Raises BadInput."""
    try:
        return MarkedTips(
            Side(body["side"]),
            _point(body["centre"]),
            _point(body["slot"]),
            _point(body["length"][0]),
            _point(body["length"][1]),
            float(body["length_mm"]),
            tuple(_point(tip) for tip in body["tips"]),
        )
    except (KeyError, ValueError, TypeError, IndexError):
        raise BadInput(
            "the marks are not complete: centre, stop slot, two ends of a known length, its millimetres, and the tips."
        ) from None


def _point(value: Any) -> tuple[float, float]:
    u_px, v_px = (float(part) for part in value)
    return u_px, v_px


def comb_with_tips(old: Comb | None, side: Side, tips: Sequence[tuple[float, float]]) -> Comb:
    """The comb table with these tips. A tip near a tooth of the table corrects that tooth and keeps its pitch.

    If none is near, the tips become the teeth of this face, numbered after those of the other face, from the centre
    outwards; teeth of the other face stay. Raises BadInput if there are no tips.
    """
    if not tips:
        raise BadInput("no tip is marked yet.")
    left = list(old.teeth) if old else []
    placed: list[Tooth] = []
    fresh: list[tuple[float, float]] = []
    for r_mm, theta_deg in sorted(tips):
        near = min((t for t in left if t.side is side), key=lambda t: abs(t.tip_r_mm - r_mm), default=None)
        if near is not None and abs(near.tip_r_mm - r_mm) <= SAME_TIP_MM:
            left.remove(near)
            placed.append(replace(near, tip_r_mm=r_mm, tip_theta_deg=theta_deg))
        else:
            fresh.append((r_mm, theta_deg))
    number = max((tooth.number for tooth in (*left, *placed)), default=0)
    placed += [Tooth(number + i, side, r, theta) for i, (r, theta) in enumerate(fresh, start=1)]
    return Comb(tuple(sorted((*left, *placed), key=lambda tooth: tooth.number)))


def measured(session: Session, body: Mapping[str, Any]) -> dict[str, Any]:
    """What the marks say, without keeping it: {"tips": [[r_mm, theta_deg], ...]}."""
    tips = tips_from_marks(marks_from_request(body))
    return {"tips": [[round(r, 3), round(theta, 2)] for r, theta in tips]}


def keep(session: Session, body: Mapping[str, Any], uploads: Path) -> None:
    """Make the marked tips the job's comb, as one step that can be undone."""
    if session.job is None:
        raise MissingPart("There is no job here yet. Start one first.")
    marks = marks_from_request(body)
    tips = tips_from_marks(marks)
    outside = [r for r, _ in tips if r > session.job.plate.radius_mm]
    if outside:
        raise BadInput(
            f"a tip lies {outside[0]:.2f} mm from the centre, outside the plate ({session.job.plate.radius_mm:g} mm). "
            "Check the known length."
        )
    comb = comb_with_tips(session.comb, marks.side, tips)
    session.set_values(f"marked {counted(len(tips), 'tip')}", comb_change(session.job, format_comb(comb), False))
