"""Where everything lies in the pictures of the page.

A sheet is one picture on which the disc is looked at: the photograph of a face, or the plate laid flat as seen through
from the upper side. The page knows only sheet pixels (u right, v down); every place goes through here and through
frame.py, so that no mirror or sign is decided in the browser.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from disc.frame import FloatArray, disc_to_view_mm, to_polar, to_xy_mm, turns_seen, view_to_disc_mm
from disc.records import Comb, Pin, Plate, Side, Turns

# Unless said otherwise: chosen by eye at the desk.
# Pixels across a plate laid flat: an eye cannot use more on a tablet's screen, and two such pictures are made in 0.3 s.
FLAT_SIZE_PX = 1600
FLAT_MARGIN = 1.04  # the rim and its shadow stay in the picture
CIRCLE_POINTS = 97  # of a drawn circle, 3.75 degrees apart: within 0.1 % of its radius; chosen by that


class Placing(Protocol):
    """Disc axes (mm) to the pixels of a picture and back; arrays of equal shape. photo/plane/view.py's View is one."""

    def to_photo_px(self, x_mm: Any, y_mm: Any, height_mm: Any = 0.0) -> tuple[FloatArray, FloatArray]:
        """Pixels (u, v) of places on the face, or standing above it."""

    def to_disc_mm(self, u: Any, v: Any) -> tuple[FloatArray, FloatArray]:
        """Disc axes (x, y)."""


@dataclass(frozen=True, slots=True)
class FlatPlacing:
    """The plate squared up: seen looking at `side`, the stop slot to the right, its middle in the picture's middle."""

    side: Side
    px_per_mm: float
    middle_px: float = FLAT_SIZE_PX / 2.0

    def to_photo_px(self, x_mm: Any, y_mm: Any, height_mm: Any = 0.0) -> tuple[FloatArray, FloatArray]:
        """Pixels (u, v) of places on the face, or standing above it."""
        right, up = disc_to_view_mm(x_mm, y_mm, self.side)
        return self.middle_px + right * self.px_per_mm, self.middle_px - up * self.px_per_mm

    def to_disc_mm(self, u: Any, v: Any) -> tuple[FloatArray, FloatArray]:
        """Disc axes (x, y)."""
        right, up = (u - self.middle_px) / self.px_per_mm, (self.middle_px - v) / self.px_per_mm
        return view_to_disc_mm(right, up, self.side)


@dataclass(frozen=True, slots=True)
class PageSheet:
    """One picture. sides: which pins are seen on it. picture: its address in the page, None where there is no photo."""

    name: str
    title: str
    sides: tuple[Side, ...]
    width_px: int
    height_px: int
    placing: Placing
    picture: str | None = None

    def disc_place(self, u_px: float, v_px: float) -> tuple[float, float]:
        """(r_mm, theta_deg) of a pixel."""
        x_mm, y_mm = self.placing.to_disc_mm(np.array([float(u_px)]), np.array([float(v_px)]))
        r_mm, theta_deg = to_polar(x_mm, y_mm)
        return float(r_mm[0]), float(theta_deg[0])

    def points(self, r_mm: FloatArray, theta_deg: FloatArray) -> list[list[float]]:
        """[[u, v], ...] of places given as arrays of shape (n,)."""
        return _rounded(*self.placing.to_photo_px(*to_xy_mm(r_mm, theta_deg)))


def flat_px_per_mm(plate: Plate) -> float:
    """Scale of a plate laid flat."""
    return FLAT_SIZE_PX / (plate.diameter_mm * FLAT_MARGIN)


def flat_sheet(plate: Plate, name: str, title: str, sides: tuple[Side, ...], picture: str | None = None) -> PageSheet:
    """The plate squared up: of one side as one looks at it; of both, as seen through from the upper side."""
    side = sides[0] if len(sides) == 1 else Side.UPPER
    placing = FlatPlacing(side, flat_px_per_mm(plate))
    return PageSheet(name, title, sides, FLAT_SIZE_PX, FLAT_SIZE_PX, placing, picture)


def sheet_marks(sheet: PageSheet, pins: Iterable[Pin]) -> dict[int, tuple[list[float], list[float] | None]]:
    """By pin id: where its root is on this sheet, and where its tip is, if a lean was measured."""
    mine = [pin for pin in pins if pin.side in sheet.sides]
    if not mine:
        return {}
    x_mm, y_mm = to_xy_mm(np.array([p.r_mm for p in mine]), np.array([p.theta_deg for p in mine]))
    lean_x = np.array([p.lean_x_mm or 0.0 for p in mine])
    lean_y = np.array([p.lean_y_mm or 0.0 for p in mine])
    roots = _rounded(*sheet.placing.to_photo_px(x_mm, y_mm))
    # A lean without a height is drawn on the face itself, off by what the slant would shift it: left out, a bent pin
    # would look sound. Without a lean no tip is told at all (below), whatever stands here.
    height = np.array([0.0 if p.height_mm is None else p.height_mm for p in mine])
    tips = _rounded(*sheet.placing.to_photo_px(x_mm + lean_x, y_mm + lean_y, height))
    return {
        pin.id: (root, tip if pin.lean_x_mm is not None else None)
        for pin, root, tip in zip(mine, roots, tips, strict=True)
    }


def sheet_lines(sheet: PageSheet, plate: Plate, comb: Comb | None) -> dict[str, Any]:
    """Rim, centre, stop slot, and of each tooth on this sheet its track and its tip."""
    round_deg = np.linspace(0.0, 360.0, CIRCLE_POINTS)
    teeth = [tooth for tooth in comb.teeth if tooth.side in sheet.sides] if comb else []
    return {
        "rim": sheet.points(np.full(CIRCLE_POINTS, plate.radius_mm), round_deg),
        "centre": sheet.points(np.zeros(1), np.zeros(1))[0],
        "slot": sheet.points(np.array([plate.radius_mm]), np.zeros(1))[0],
        "tracks": [
            {
                "tooth": tooth.number,
                "circle": sheet.points(np.full(CIRCLE_POINTS, tooth.tip_r_mm), round_deg),
                "tip": None
                if tooth.tip_theta_deg is None
                else sheet.points(np.array([tooth.tip_r_mm]), np.array([tooth.tip_theta_deg]))[0],
            }
            for tooth in teeth
        ],
    }


def screen_turn(plate: Plate) -> int:
    """Which way the disc goes on a flat sheet seen from above: +1 clockwise on the screen, -1 the other way."""
    return +1 if turns_seen(plate.turns, Side.UPPER) is Turns.CLOCKWISE else -1


def _rounded(u_px: FloatArray, v_px: FloatArray) -> list[list[float]]:
    return np.round(np.column_stack([u_px, v_px]), 2).tolist()  # type: ignore[no-any-return]
