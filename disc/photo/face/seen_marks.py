"""Find plate, plane and marks: what the networks say of one photograph, in a first plane."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from disc.frame import FloatArray
from disc.photo.board.begin import BegunPhoto, begin, through_lens
from disc.photo.board.sheet_under import SheetUnder
from disc.photo.image import Photo
from disc.photo.marks.close_looks import find_spots, look_again
from disc.photo.marks.site_odds import common_slant, site_odds
from disc.photo.marks.slant import Slant
from disc.photo.marks.spots import Spots
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.flatten import flatten
from disc.photo.plane.known_lens import KnownLens
from disc.photo.plate.find_plate import CoarsePlate
from disc.photo.request import ReadSettings
from disc.records import Plate

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
BELIEVED = 0.0  # log-odds from which a mark is taken for a site while the face is worked out


@dataclass(frozen=True, slots=True)
class Seen:
    """What the pictures said, before the plane is exact. spots: in the first plane's view mm. thickness_mm: of the
    plate, None where nobody measured it."""

    begun: BegunPhoto
    radius_mm: float
    spots: Spots
    bore_mm: float
    thickness_mm: float | None = None

    @property
    def photo(self) -> Photo:
        """As it was looked at: over a sheet with the print hidden."""
        return self.begun.photo

    @property
    def first(self) -> Plane:
        """Where the plane was taken to lie at first."""
        return self.begun.first

    @property
    def found(self) -> CoarsePlate:
        """The coarse plate."""
        return self.begun.found

    def in_plane(self, plane: Plane) -> Spots:
        """The spots in another plane's view mm."""
        root = plane.to_mm(self.first.to_px(self.spots.root))
        tip = plane.to_mm(self.first.to_px(self.spots.tip))
        return replace(self.spots, root=root, tip=tip)


def see(photo: Photo, plate: Plate, settings: ReadSettings, sheet: SheetUnder | None, lens: KnownLens | None) -> Seen:
    """What the networks say."""
    radius = settings.radius_mm or plate.radius_mm
    begun = begin(photo, radius, settings.rim, settings.centre, sheet, lens)
    flat = flatten(begun.photo.pixels, begun.first, radius)
    seen = Seen(begun, radius, find_spots(flat, begun.first), plate.bore_mm or 0.0, plate.thickness_mm)
    slant, odds = weighed_at_first(seen)
    return replace(seen, spots=look_again(flat, seen.spots, slant, odds > BELIEVED))


def seen_through(seen: Seen, lens: KnownLens) -> Seen | None:
    """The same marks with a lens known from elsewhere; None where it cannot be this photo's."""
    begun = through_lens(seen.begun, seen.radius_mm, lens)
    return None if begun is None else replace(seen, begun=begun, spots=seen.in_plane(begun.first))


def believed(seen: Seen, plane: Plane, slant: Slant) -> float:
    """How many sites there are, by the marks in a plane and under a slant."""
    mm = seen.in_plane(plane)
    odds = site_odds(mm, np.hypot(mm.root[:, 0], mm.root[:, 1]), seen.radius_mm, slant, seen.bore_mm)
    return float(np.sum(1 / (1 + np.exp(-np.clip(odds, -20, 20)))))


def weighed_at_first(seen: Seen) -> tuple[Slant, FloatArray]:
    """Slant and odds of the sites in the first plane."""
    slant = common_slant(seen.spots, seen.first)
    radii = np.hypot(seen.spots.root[:, 0], seen.spots.root[:, 1])
    return slant, site_odds(seen.spots, radii, seen.radius_mm, slant, seen.bore_mm)
