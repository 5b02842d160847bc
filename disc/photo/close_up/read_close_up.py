"""One close-up: placed among the face's pins, then read like a face, as far as it shows one.

Its scale is not known beforehand: marks are looked for at several, and the place that the pins bear out best is taken.
Pictures that a microscope mirrors are noticed by that, and turned back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.frame import FloatArray, disc_to_view_mm, to_xy_mm, view_to_disc_mm
from disc.photo.close_up.match_pins import PinMatch, Scene, is_same, match
from disc.photo.image import Photo, opencv
from disc.photo.marks.close_looks import find_spots
from disc.photo.marks.coarse_spots import coarse_spots
from disc.photo.marks.networks import SITES_PX_PER_MM
from disc.photo.marks.pins_from_sites import FaceDoubt, Sites, kinds_by_slant, make_pins
from disc.photo.marks.site_odds import common_slant, site_odds
from disc.photo.marks.spots import Spots
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.flatten import Flat, flatten
from disc.records import Pin, Side

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Scales looked at, px a mm: from a phone close to the disc to a microscope, in steps that the match bridges.
SCALES = 45.0 * 1.27 ** np.arange(11)
FEWEST_MATCHED = 4  # pins, besides the sure score; a similarity takes two, chosen by hand
# Log-odds over chance, and over the next best place, under which a place is doubtful. Of crops of two discs (p3, h3)
# laid on their own faces all had -5.0 and 5.5 at least, on one another's faces -9.7 and 4.0 at most.
SURE_SCORE, SURE_AHEAD = -7.0, 4.5
LEAST_HEAT, BELIEVED, FAINTEST = 0.35, 0.0, -4.0  # of the first look; log-odds of the last, and of what is kept aside
# Of a face's pin under a close-up, less by the root of their number; never less than the second.
FACE_SIGMA_MM, FLOOR_MM = 0.015, 0.004
EDGE_MM = 0.25  # a mark this near to the picture's edge is seen in part
TOO_LARGE_PX = 700  # of the small copy, longer side: a picture of much more than the disc


@dataclass(frozen=True, slots=True)
class CloseUp:
    """What one picture of a part shows. pins: of its own reading, in the disc's axes; faint: marks that it alone does
    not believe. outline_mm (4, 2): its corners, disc axes. score, ahead: log-odds of the place, over chance and over
    the next best. reason: why it is doubtful."""

    photo: Photo
    side: Side
    pins: tuple[Pin, ...]
    outline_mm: FloatArray
    px_per_mm: float
    mirrored: bool
    matched: int
    score: float
    ahead: float
    reason: str | None = None
    faint: tuple[Pin, ...] = ()

    @property
    def doubtful(self) -> bool:
        """Whether its place is not borne out; nothing of it is used then."""
        return self.reason is not None


def read_close_up(photo: Photo, side: Side, pins: Sequence[Pin], radius_mm: float) -> CloseUp:
    """Place a picture of a part of a face and read it. pins: of the whole face."""
    face = _face_mm(pins, side)
    sure = np.array([pin.confidence if pin.confidence is not None else 1.0 for pin in pins])
    best: tuple[float, PinMatch] | None = None
    for scale in SCALES:
        found = _placed_at(photo, float(scale), face, sure)
        if found is not None and (best is None or found.score > best[1].score):
            rival = best[1].score if best and not is_same(best[1], found) else -np.inf
            best = (float(scale), replace(found, ahead=min(found.ahead, found.score - rival)))
        elif found is not None and best is not None and not is_same(best[1], found):
            best = (best[0], replace(best[1], ahead=min(best[1].ahead, best[1].score - found.score)))
    if best is None:
        return _unplaced(photo, side, "it shows too few marks")
    scale, place = best
    reason = None
    if len(place.pairs) < FEWEST_MATCHED or place.score < SURE_SCORE:
        reason = f"its marks fit the face's pins no better than by chance ({len(place.pairs)} of them)"
    elif place.ahead < SURE_AHEAD:
        reason = "its marks fit the face's pins in two places"
    plane = _plane(photo, scale, place)
    seen, faint = ((), ()) if reason else _read(photo, plane, side, len(place.pairs), radius_mm)
    corners = _corners(photo)
    x, y = plane.to_mm(corners).T
    outline = np.stack(view_to_disc_mm(x, y, side), 1)
    return CloseUp(
        photo=photo,
        side=side,
        pins=seen,
        outline_mm=outline,
        px_per_mm=scale / place.scale,
        mirrored=place.mirrored,
        matched=len(place.pairs),
        score=place.score,
        ahead=place.ahead,
        reason=reason,
        faint=faint,
    )


def _unplaced(photo: Photo, side: Side, reason: str) -> CloseUp:
    return CloseUp(photo, side, (), np.zeros((0, 2)), 0.0, False, 0, 0.0, 0.0, reason)


def _face_mm(pins: Sequence[Pin], side: Side) -> FloatArray:
    """Roots (n, 2) in view mm, as one looks at the face."""
    xy = np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in pins]).reshape(-1, 2)
    return np.stack(disc_to_view_mm(xy[:, 0], xy[:, 1], side), 1)


def _corners(photo: Photo) -> FloatArray:
    w, h = photo.width - 1.0, photo.height - 1.0
    return np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]])


def _centred_mm(photo: Photo, px: FloatArray, scale: float) -> FloatArray:
    """Pixels to mm by a guessed scale, from the picture's middle, y up."""
    middle = np.array([photo.width - 1, photo.height - 1]) / 2
    return (px - middle) * [1, -1] / scale


def _placed_at(photo: Photo, scale: float, face: FloatArray, sure: FloatArray) -> PinMatch | None:
    cv2 = opencv()
    part = SITES_PX_PER_MM / scale
    if max(photo.width, photo.height) * part > TOO_LARGE_PX or min(photo.width, photo.height) * part < 24:
        return None
    small = cv2.resize(photo.pixels, None, fx=part, fy=part, interpolation=cv2.INTER_AREA)
    h, w = (-(-size // 8) * 8 for size in small.shape[:2])
    small = cv2.copyMakeBorder(small, 0, h - small.shape[0], 0, w - small.shape[1], cv2.BORDER_REPLICATE)
    # Flat's middle is its picture's; here both lie at the photo's own.
    middle = ((photo.width * part - 1) / 2, (photo.height * part - 1) / 2)
    spots = coarse_spots(_FlatPart(small, middle[0], SITES_PX_PER_MM, middle[1]))
    frame = _centred_mm(photo, _corners(photo), scale)
    inside = np.all((spots.root > frame.min(0)) & (spots.root < frame.max(0)), axis=1) & (spots.heat > LEAST_HEAT)
    spots = spots.pick(np.nonzero(inside)[0])
    return match(Scene(spots.root, spots.heat, frame, face, sure))


@dataclass(frozen=True, slots=True)
class _FlatPart(Flat):
    """A flat picture that is no square: mid is its middle across, mid_down the other."""

    mid_down: float = 0.0

    def to_mm(self, ij: FloatArray) -> FloatArray:
        """Flat pixels (n, 2) to mm."""
        return np.stack([(ij[:, 0] - self.mid) / self.px_per_mm, (self.mid_down - ij[:, 1]) / self.px_per_mm], 1)


def _plane(photo: Photo, scale: float, place: PinMatch) -> Plane:
    """View mm of the face to the picture's pixels."""
    u, v = (photo.width - 1) / 2, (photo.height - 1) / 2
    to_mm = np.vstack([place.matrix, [0, 0, 1]]) @ np.array([[1, 0, -u], [0, -1, v], [0, 0, scale]]) / scale
    h = np.linalg.inv(to_mm)
    return Plane(h / h[2, 2], 0.0, (photo.width, photo.height))


def _read(
    photo: Photo, plane: Plane, side: Side, matched: int, radius_mm: float
) -> tuple[tuple[Pin, ...], tuple[Pin, ...]]:
    """The marks again, by the closer network at its own scale, as pins of the disc; and those not believed."""
    corners = plane.to_mm(_corners(photo))
    middle = corners.mean(0)
    half = float(np.linalg.norm(corners - middle, axis=1).max())
    there = np.array([[1.0, 0, middle[0]], [0, 1.0, middle[1]], [0, 0, 1.0]])
    local = replace(plane, plane_to_px=plane.plane_to_px @ there)
    spots = find_spots(flatten(photo.pixels, local, half), local)
    px = local.to_px(spots.root)
    room = EDGE_MM * np.sqrt(abs(np.linalg.det(plane.plane_to_px[:2, :2])))
    whole = np.all((px > room) & (px < np.array(plane.size) - 1 - room), axis=1)
    on_plate = np.hypot(*(spots.root + middle).T) < radius_mm - 0.3
    spots = _moved(spots.pick(np.nonzero(whole & on_plate)[0]), middle)
    if not len(spots):
        return (), ()
    slant = common_slant(spots, plane)
    odds = site_odds(spots, np.hypot(spots.root[:, 0], spots.root[:, 1]), radius_mm, slant, 0.0)
    keep, some = odds > BELIEVED, odds > FAINTEST
    if not some.any():
        return (), ()
    # The faint ones are compared with what is believed, as its kinds are; so all are told together and parted then.
    told = kinds_by_slant(spots.pick(some), slant)
    both = Sites(kinds_by_slant(spots.pick(keep), slant), odds[keep]), Sites(told.pick(~keep[some]), odds[some & ~keep])
    common = float(np.hypot(FACE_SIGMA_MM / np.sqrt(max(matched - 2, 1)), FLOOR_MM))
    doubt = FaceDoubt(common, 0.0)
    pins, faint = (make_pins(one, slant, None, np.zeros(0), side, doubt) for one in both)
    return pins, faint


def _moved(spots: Spots, by_mm: FloatArray) -> Spots:
    return replace(spots, root=spots.root + by_mm, tip=spots.tip + by_mm)
