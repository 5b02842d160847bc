"""How the reading of a photo begins: plate and first plane, by the measuring sheet or by what is known of the lens."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from disc.frame import FloatArray
from disc.photo.board.camera_of_board import BoardCamera
from disc.photo.board.disc_on_sheet import edge_in_window
from disc.photo.board.sheet_under import SheetUnder, place_disc
from disc.photo.image import Photo
from disc.photo.plane.face_plane import Plane, plane_from_ellipse
from disc.photo.plane.known_lens import KnownLens
from disc.photo.plane.settle import EXPECTED, Perspective
from disc.photo.plane.view import undistort
from disc.photo.plate.ellipse import fit_ellipse
from disc.photo.plate.find_plate import CoarsePlate, find_plate, plate_by_hand

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Over a sheet the first plane's perspective is the last one's but for where the disc lies; and k1 is known.
PERSPECTIVE_SIGMA = 0.002
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class BegunPhoto:
    """photo: over a sheet with the print hidden. known, perspective: of lens and tilt, None where nothing is known.
    over: the sheet's camera and window, where the disc was placed by them."""

    photo: Photo
    found: CoarsePlate
    first: Plane
    known: KnownLens | None = None
    perspective: Perspective | None = None
    over: tuple[BoardCamera, float] | None = None

    def clear_rim(self, points_px: FloatArray) -> FloatArray:
        """Of points on the rim (n, 2) those beside which no print, hidden or seen, makes edges of its own."""
        if self.over is None:
            return points_px
        camera, window_mm = self.over
        return edge_in_window(camera, points_px, window_mm)

    @property
    def k1_sigma(self) -> float:
        """How far the first plane's k1 may be off."""
        return float(EXPECTED[7]) if self.known is None else float(max(self.known.sigmas()[3], 1e-4))


def begin(
    photo: Photo,
    radius_mm: float,
    rim: tuple[Point, ...],
    centre: Point | None,
    sheet: SheetUnder | None = None,
    lens: KnownLens | None = None,
) -> BegunPhoto:
    """rim, centre: as a person named them. sheet: under the disc. lens: known from elsewhere. Raises BadInput."""
    if sheet is not None and sheet.camera is not None:
        placed = place_disc(photo, sheet.camera, radius_mm, plate_by_hand(photo, rim) if rim else None)
        if placed is not None:
            found = _centred(placed.found, centre)
            perspective = perspective_of(placed.plane, radius_mm)
            over = sheet.camera, placed.window_mm
            return BegunPhoto(placed.photo, found, placed.plane, sheet.camera.known, perspective, over)
    found = _centred(plate_by_hand(photo, rim) if rim else find_plate(photo), centre)
    size = (photo.width, photo.height)
    plain = BegunPhoto(photo, found, plane_from_ellipse(found.ellipse, found.centre, radius_mm, size))
    return plain if lens is None else through_lens(plain, radius_mm, lens) or plain


def through_lens(begun: BegunPhoto, radius_mm: float, lens: KnownLens) -> BegunPhoto | None:
    """The same with a lens known from elsewhere; None where the outline makes no ellipse through it."""
    photo = begun.photo
    first = _plane_by_lens(begun.found, radius_mm, (photo.width, photo.height), lens)
    if first is None:
        return None
    perspective = perspective_of(first, radius_mm) if lens.tells_line else None
    focal_px = lens.focal_px(photo.width) or photo.focal_px
    return BegunPhoto(replace(photo, focal_px=focal_px), begun.found, first, lens, perspective)


def _centred(found: CoarsePlate, centre: Point | None) -> CoarsePlate:
    return replace(found, centre=centre, centre_seen=True) if centre else found


def _plane_by_lens(found: CoarsePlate, radius_mm: float, size: tuple[int, int], lens: KnownLens) -> Plane | None:
    """As plane_from_ellipse, from what a lens without distortion would have drawn; a scanner has no perspective."""
    points = np.vstack([found.outline, [found.centre]])
    u, v = undistort(lens.k1, size, points[:, 0], points[:, 1])
    ellipse = fit_ellipse(u[:-1], v[:-1])
    if ellipse is None:
        return None
    centre = (ellipse.u, ellipse.v) if lens.tells_line else (float(u[-1]), float(v[-1]))
    return replace(plane_from_ellipse(ellipse, centre, radius_mm, size), k1=lens.k1)


def perspective_of(plane: Plane, radius_mm: float) -> Perspective:
    """The plane's own, for settle to keep."""
    depth: FloatArray = plane.plane_to_px[2]
    gx, gy = depth[:2] / depth[2] * radius_mm
    return Perspective(float(gx), float(gy), PERSPECTIVE_SIGMA, PERSPECTIVE_SIGMA)
