"""Sides, turning and the strike equation: the only place where a sign of rotation or a mirror is decided.

Angles are degrees counter-clockwise from the stop slot, seen looking at the upper side. A photograph or a drawing of
the lower side shows the disc mirrored. A pin at theta sounds the tooth with its tip at phi after the disc has turned
through (s * (phi - theta)) mod 360, with s = -1 for clockwise and +1 for counter-clockwise.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

from disc.records import Side, Turns

FloatArray = npt.NDArray[np.float64]
# A plain float or an array of them: the same formula serves both.
Angle = TypeVar("Angle", float, FloatArray)

FULL_TURN_DEG = 360.0  # exact: a turn in degrees


def turning_sign(turns: Turns) -> int:
    """-1 for clockwise, +1 for counter-clockwise, seen looking at the upper side."""
    return -1 if turns is Turns.CLOCKWISE else +1


def view_sign(side: Side) -> int:
    """+1 where the disc's angles run counter-clockwise in a view of this side, -1 where they run clockwise (mirror)."""
    return +1 if side is Side.UPPER else -1


def carried_deg(theta_deg: Angle, turned_deg: Angle, turns: Turns) -> Angle:
    """Where a point of the disc that stands at theta at rest has been carried after this turn, in the axes at rest."""
    return wrap_deg(theta_deg + turning_sign(turns) * turned_deg)


def turns_seen(turns: Turns, side: Side) -> Turns:
    """Which way something goes in a view of this side that goes `turns` as seen on the upper side."""
    return Turns.COUNTERCLOCKWISE if turning_sign(turns) * view_sign(side) > 0 else Turns.CLOCKWISE


def work_turns(side: Side) -> Turns:
    """Which way the plate must be turned, seen on this face, to bring rising theta under a tool that stands still.

    Where the angles run counter-clockwise in the view, the plate goes clockwise under the tool, and the reverse.
    """
    return Turns.CLOCKWISE if view_sign(side) > 0 else Turns.COUNTERCLOCKWISE


def wrap_deg(angle_deg: Angle) -> Angle:
    """The same angle in 0 <= angle < 360. Also right where the remainder of a tiny negative angle rounds up to 360."""
    wrapped = angle_deg % FULL_TURN_DEG
    return np.where(wrapped >= FULL_TURN_DEG, 0.0, wrapped)[()]  # type: ignore[return-value]


def angle_gap_deg(a_deg: Angle, b_deg: Angle) -> Angle:
    """Smallest angle between two directions, 0 to 180 degrees."""
    return abs(angle_difference_deg(a_deg, b_deg))  # type: ignore[return-value]


def angle_difference_deg(a_deg: Angle, b_deg: Angle) -> Angle:
    """a - b as the shortest way round, -180 <= difference < 180 degrees."""
    return (a_deg - b_deg + 180.0) % FULL_TURN_DEG - 180.0  # type: ignore[return-value]


def turn_deg(theta_deg: Angle, tip_theta_deg: Angle, turns: Turns) -> Angle:
    """Degrees the disc has turned since rest when a pin at theta passes a tip at tip_theta; 0 <= turn < 360.

    Source: the strike equation of the project's conventions.
    """
    return wrap_deg(turning_sign(turns) * (tip_theta_deg - theta_deg))


def theta_for(turned_deg: Angle, tip_theta_deg: Angle, turns: Turns) -> Angle:
    """Where a pin must stand to sound the tip after this turn: the inverse of turn_deg; 0 <= theta < 360."""
    return wrap_deg(tip_theta_deg - turning_sign(turns) * turned_deg)


def tip_for(turned_deg: Angle, theta_deg: Angle, turns: Turns) -> Angle:
    """Where a tip must stand for a pin at theta to sound it after this turn: where the turn carries the pin."""
    return carried_deg(theta_deg, turned_deg, turns)


def onset_s(turned_deg: Angle, revolution_s: float) -> Angle:
    """Seconds since the disc started, at a steady speed. Raises ValueError if revolution_s is not positive."""
    if not revolution_s > 0:
        raise ValueError(f"revolution_s must be positive, not {revolution_s}")
    return turned_deg / FULL_TURN_DEG * revolution_s


def turn_for_onset_deg(onset: Angle, revolution_s: float) -> Angle:
    """Degrees turned since rest at this onset (seconds): the inverse of onset_s."""
    if not revolution_s > 0:
        raise ValueError(f"revolution_s must be positive, not {revolution_s}")
    return onset / revolution_s * FULL_TURN_DEG


def to_xy_mm(r_mm: Angle, theta_deg: Angle) -> tuple[Angle, Angle]:
    """Disc axes in mm: x towards the stop slot, y 90 degrees counter-clockwise from it, seen on the upper side."""
    theta_rad = np.deg2rad(theta_deg)
    return r_mm * np.cos(theta_rad), r_mm * np.sin(theta_rad)


def to_polar(x_mm: Angle, y_mm: Angle) -> tuple[Angle, Angle]:
    """(r_mm, theta_deg) of a place in disc axes, 0 <= theta < 360: the inverse of to_xy_mm."""
    return np.hypot(x_mm, y_mm), wrap_deg(np.rad2deg(np.arctan2(y_mm, x_mm)))


def disc_to_view_mm(x_mm: Angle, y_mm: Angle, side: Side) -> tuple[Angle, Angle]:
    """Disc axes to the axes of a view of one side: x right (towards the stop slot), y up, mm.

    Looking at the lower side mirrors the disc about the line through the stop slot: y changes its sign.
    """
    return x_mm, view_sign(side) * y_mm


def view_to_disc_mm(x_mm: Angle, y_mm: Angle, side: Side) -> tuple[Angle, Angle]:
    """View axes of one side back to disc axes, mm: a mirror undoes itself."""
    return x_mm, view_sign(side) * y_mm


def along_motion_mm(lean_x_mm: Angle, lean_y_mm: Angle, theta_deg: Angle, turns: Turns) -> tuple[Angle, Angle]:
    """A lean in disc axes split at a pin's place: (along the motion, outward), both mm.

    Along is positive where the tip leans the way the disc goes: such a pin strikes early, since the tip is ahead of
    its root.
    """
    theta_rad = np.deg2rad(theta_deg)
    outward = lean_x_mm * np.cos(theta_rad) + lean_y_mm * np.sin(theta_rad)
    tangential = -lean_x_mm * np.sin(theta_rad) + lean_y_mm * np.cos(theta_rad)
    return turning_sign(turns) * tangential, outward


def axis_setting_deg(seen_deg: Angle, table_turns: Turns) -> Angle:
    """What a rotary table under the tool must be set to so that a place comes under it; 0 <= setting < 360.

    seen_deg: the place's angle, counter-clockwise as seen from above. table_turns: which way the table itself goes,
    seen from above, for rising numbers. Clockwise is ISO 841's rule: numbers rise as the tool goes
    counter-clockwise round the work.
    """
    return wrap_deg(-turning_sign(table_turns) * seen_deg)
