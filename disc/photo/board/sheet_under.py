"""The sheet under a disc, as one photo shows it: all that the reader takes from it, or a word why not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.frame import FloatArray
from disc.photo.board.camera_of_board import BoardCamera, SheetNotFlat, Told, solve_camera, told_by_others
from disc.photo.board.disc_on_sheet import (
    Lies,
    clear_of_window,
    edge_in_window,
    exact_rim,
    outline_of,
    plane_of,
    where_it_lies,
)
from disc.photo.board.find_board import Board, find_board
from disc.photo.board.plain_ground import hide_print
from disc.photo.image import Photo
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.known_lens import KnownLens
from disc.photo.plate.find_plate import CoarsePlate, find_plate

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# The rim's outline must lie inside what is kept of the photo, the print outside: of a black field left beside the rim
# the far side would be taken for it. By the rim's own edge its place is told to some hundredths of a millimetre.
KEPT_BEYOND_MM, KEPT_BEYOND_EDGE_MM = 0.2, 0.1
FEWEST_FOR_LENS = 40  # corners, below which a warning stands; chosen by hand
FEW_CORNERS = (
    "the measuring sheet shows {n} corners only: its lens and tilt are told better with {enough} and more. Step back a "
    "little, so that more of the sheet is in the picture."
)


@dataclass(frozen=True, slots=True)
class SheetUnder:
    """camera: None where the sheet was left out, with why in notes. board: its corners as found."""

    board: Board
    camera: BoardCamera | None
    notes: tuple[str, ...] = ()


def look_for_sheets(photos: Sequence[Photo]) -> list[SheetUnder | None]:
    """The sheet in each photo; photos of one size are taken to show one print through one lens."""
    alone = [_alone(photo) for photo in photos]
    cameras = [sheet.camera if sheet else None for sheet in alone]
    found: list[SheetUnder | None] = []
    for sheet, camera in zip(alone, cameras, strict=True):
        others = [other for other in cameras if other is not None and other is not camera]
        told = told_by_others(camera, others) if camera and others else None
        if sheet is None or told is None:
            found.append(sheet)
            continue
        found.append(_solved(sheet.board, told))
    return found


# A photo without the sheet by the camera that took one with it stands nearer or farther and is focused anew (common
# practice, no source).
FOCAL_APART, K1_APART = 0.02, 0.002


def lens_by_sheets(photo: Photo, sheets: Sequence[SheetUnder | None], photos: Sequence[Photo]) -> KnownLens | None:
    """What photos with the sheet, of the same size, tell of another's lens: the one that tells k1 best.

    Photos whose files name another camera, lens or zoom tell nothing of it: a telephone's lenses draw one size.
    """
    cameras = [
        sheet.camera
        for sheet, other in zip(sheets, photos, strict=True)
        if sheet is not None and sheet.camera is not None and one_camera(photo, other)
    ]
    if not cameras:
        return None
    best = min(cameras, key=lambda camera: camera.known.sigmas()[0])
    return best.known.for_another_photo(FOCAL_APART, K1_APART)


def one_camera(a: Photo, b: Photo) -> bool:
    """Whether one camera may have taken both: of one size, and not named otherwise by their files."""
    return {a.width, a.height} == {b.width, b.height} and (a.camera is None or b.camera is None or a.camera == b.camera)


def _alone(photo: Photo) -> SheetUnder | None:
    board = find_board(photo)
    return None if board is None else _solved(board, None)


def _solved(board: Board, told: Told | None) -> SheetUnder:
    try:
        camera = solve_camera(board, told)
    except SheetNotFlat as error:
        return SheetUnder(board, None, (str(error),))
    few = len(board.ids) < FEWEST_FOR_LENS
    return SheetUnder(board, camera, (FEW_CORNERS.format(n=len(board.ids), enough=FEWEST_FOR_LENS),) if few else ())


@dataclass(frozen=True, slots=True)
class PlacedOnSheet:
    """The disc on the sheet: the photo, its print hidden, the disc's outline in it, the face's plane, the window."""

    photo: Photo
    found: CoarsePlate
    plane: Plane
    height_mm: float
    window_mm: float


def place_disc(
    photo: Photo, camera: BoardCamera, radius_mm: float, rim: CoarsePlate | None = None
) -> PlacedOnSheet | None:
    """Where the disc lies; None where the paper is not seen well enough. rim: as a person named it."""
    ground = hide_print(photo, camera)
    if ground is None:
        return None
    found = rim or find_plate(ground.photo)
    # Where the disc reaches over the window's edge its outline was cut off with the print.
    free = found.outline if rim else clear_of_window(camera, found.outline, ground.window_mm)
    lies = where_it_lies(camera, free, radius_mm)
    beyond_mm = KEPT_BEYOND_MM
    edge = np.zeros((0, 2))
    if rim is None:  # a coarse outline may be off by what the face's height hides: what is cut off comes back too small
        edge = edge_in_window(camera, exact_rim(ground.photo, camera, lies, radius_mm), ground.window_mm)
        if len(edge):
            lies, beyond_mm = where_it_lies(camera, edge, radius_mm), KEPT_BEYOND_EDGE_MM
    shown = ground.keeping(photo, outline_of(camera, lies, radius_mm + beyond_mm))
    if rim is None:
        if shown is not ground.photo:  # it reaches over the print, and was cut off there at first
            found = find_plate(shown)
        edge, lies = settled_edge(shown, camera, lies, radius_mm, ground.window_mm, edge)
        found = replace(found, outline=edge) if len(edge) else found
    plane = plane_of(camera, lies)
    return PlacedOnSheet(replace(shown, focal_px=camera.focal_px), found, plane, lies.height_mm, ground.window_mm)


# Edges looked for from where the disc is taken to lie and told so anew, until its middle moves less than this; a disc
# 3.3 mm over the paper under a tilt of 18 degrees took four rounds (h3), all others of twelve one or two.
SETTLED_MM, MOST_ROUNDS = 0.01, 8
# A place told anew lies nearer than this, or too short an arc told it (p3, a quarter of the rim over the window).
MOST_MOVED_MM = 1.0


def settled_edge(
    photo: Photo, camera: BoardCamera, lies: Lies, radius_mm: float, window_mm: float, edge: FloatArray
) -> tuple[FloatArray, Lies]:
    """The rim's edge (n, 2), seen pixels, and where the disc lies by it: an edge found from a place a quarter of a
    millimetre off is in part another line's, beside the rim, and must not have the last word."""
    for _ in range(MOST_ROUNDS):
        again = edge_in_window(camera, exact_rim(photo, camera, lies, radius_mm), window_mm)
        if not len(again):
            break
        there = where_it_lies(camera, again, radius_mm)
        moved = np.hypot(*np.subtract(there.middle_mm, lies.middle_mm))
        if moved > MOST_MOVED_MM:
            break
        edge, lies = again, there
        if moved < SETTLED_MM:
            break
    return edge, lies
