"""Stop slot and centre marked by hand: the face's axes move, and with them every pin, correction and the camera.

What is seen stays where it is in the photograph; only the numbers by which the disc calls it change. The mark itself is
kept in the job's settings ("photo.slot_upper", pixels), for a new reading of the photographs.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from disc.errors import BadInput
from disc.frame import disc_to_view_mm, to_polar, to_xy_mm, view_to_disc_mm, wrap_deg
from disc.job.corrections import Correction
from disc.photo.plane.view import View
from disc.records import Pin, Side

# Unless said otherwise: chosen by hand, not measured.
# A slot marked nearer to the centre than this share of the radius gives no direction.
NEAREST_SLOT = 0.3
FARTHEST_CENTRE = 0.25  # a centre this far off, in radii, is a slip of the hand


@dataclass(frozen=True, slots=True)
class Datum:
    """New axes of one face in its old ones: the origin's place, and the old angle that becomes zero."""

    side: Side
    x_mm: float
    y_mm: float
    turn_deg: float


def datum_from_mark(what: str, side: Side, r_mm: float, theta_deg: float, radius_mm: float) -> Datum:
    """what: "slot" (its middle in the rim is marked) or "centre". The place is in the old axes. Raises BadInput."""
    if what == "slot":
        if r_mm < NEAREST_SLOT * radius_mm:
            raise BadInput("the stop slot is a notch in the rim; that mark lies too near to the centre.")
        return Datum(side, 0.0, 0.0, theta_deg)
    if what != "centre":
        raise BadInput(f"the desk marks slot or centre, not {what!r}.")
    if r_mm > FARTHEST_CENTRE * radius_mm:
        raise BadInput(f"that centre is {r_mm:.1f} mm from the one found; mark the middle of the arbor.")
    x_mm, y_mm = to_xy_mm(r_mm, theta_deg)
    _, turn_deg = to_polar(radius_mm - x_mm, -y_mm)  # the slot, at angle 0 before, stays at angle 0
    return Datum(side, float(x_mm), float(y_mm), float(turn_deg))


def inverse(datum: Datum) -> Datum:
    """The datum that leads back."""
    r_mm, theta_deg = to_polar(-datum.x_mm, -datum.y_mm)
    x_mm, y_mm = to_xy_mm(r_mm, theta_deg - datum.turn_deg)
    return Datum(datum.side, float(x_mm), float(y_mm), float(wrap_deg(-datum.turn_deg)))


def moved_place(r_mm: float, theta_deg: float, datum: Datum) -> tuple[float, float]:
    """(r_mm, theta_deg) of a place of this face in the new axes."""
    x_mm, y_mm = to_xy_mm(r_mm, theta_deg)
    r_new, theta_new = to_polar(x_mm - datum.x_mm, y_mm - datum.y_mm)
    return float(r_new), float(wrap_deg(theta_new - datum.turn_deg))


def _moved_lean(x_mm: float, y_mm: float, datum: Datum) -> tuple[float, float]:
    length, direction_deg = to_polar(x_mm, y_mm)
    x_new, y_new = to_xy_mm(length, direction_deg - datum.turn_deg)
    return float(x_new), float(y_new)


def moved_pin(pin: Pin, datum: Datum) -> Pin:
    """The same pin in the new axes; pins of the other face are left alone."""
    if pin.side is not datum.side:
        return pin
    r_mm, theta_deg = moved_place(pin.r_mm, pin.theta_deg, datum)
    lean = (pin.lean_x_mm, pin.lean_y_mm)
    if pin.lean_x_mm is not None and pin.lean_y_mm is not None:
        lean = _moved_lean(pin.lean_x_mm, pin.lean_y_mm, datum)
    return replace(pin, r_mm=r_mm, theta_deg=theta_deg, lean_x_mm=lean[0], lean_y_mm=lean[1])


def moved_corrections(corrections: Iterable[Correction], datum: Datum) -> tuple[Correction, ...]:
    """Corrections with their places, and the places and leans they set, in the new axes."""
    return tuple(_moved_correction(c, datum) if c.side is datum.side else c for c in corrections)


def _moved_correction(correction: Correction, datum: Datum) -> Correction:
    r_mm, theta_deg = moved_place(correction.r_mm, correction.theta_deg, datum)
    values = dict(correction.changes)
    if "r_mm" in values or "theta_deg" in values:
        old = (values.get("r_mm", correction.r_mm), values.get("theta_deg", correction.theta_deg))
        values["r_mm"], values["theta_deg"] = moved_place(*old, datum)
    if values.get("lean_x_mm") is not None and values.get("lean_y_mm") is not None:
        values["lean_x_mm"], values["lean_y_mm"] = _moved_lean(values["lean_x_mm"], values["lean_y_mm"], datum)
    return replace(correction, r_mm=r_mm, theta_deg=theta_deg, changes=tuple(values.items()))


def moved_view(view: View, datum: Datum) -> View:
    """The same camera, speaking of the new axes."""
    corners = [_old_view_mm(x, y, datum) for x, y in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))]
    origin = np.array(corners[0])
    to_old = np.eye(3)
    to_old[:2, 0], to_old[:2, 1], to_old[:2, 2] = corners[1] - origin, corners[2] - origin, origin
    eye = np.linalg.solve(to_old, [view.eye_mm[0], view.eye_mm[1], 1.0])
    matrix = view.matrix @ to_old
    return replace(
        view,
        plane_to_px=tuple(float(value) for value in matrix.ravel()),
        eye_mm=(float(eye[0]), float(eye[1]), view.eye_mm[2]),
    )


def _old_view_mm(x_mm: float, y_mm: float, datum: Datum) -> np.ndarray:
    """A place of the new view axes in the old view axes, shape (2,)."""
    new_r, new_theta = to_polar(*view_to_disc_mm(x_mm, y_mm, datum.side))
    old_x, old_y = to_xy_mm(new_r, new_theta + datum.turn_deg)
    return np.array(disc_to_view_mm(old_x + datum.x_mm, old_y + datum.y_mm, datum.side), dtype=float)
