"""One face: a photo to its view, pins and verdicts. The main path of the room, a step a line.

look: find the plate and a first plane, see the marks, settle the exact plane, gather the slot's likely places. finish,
once the disc's other photographs were heard: the slot, what of the marks is believed, pins.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from disc.errors import BadInput
from disc.frame import FloatArray
from disc.photo.board.sheet_told import SheetTold, advice, sheet_told
from disc.photo.board.sheet_under import SheetUnder, look_for_sheets
from disc.photo.face.exact_plane import exact_plane
from disc.photo.face.face_slot import MEANT_MM, place_slot
from disc.photo.face.seen_marks import BELIEVED, Seen, believed, see, seen_through
from disc.photo.face.sureness import eye_over, hard_to_tell, shared_doubt
from disc.photo.image import Photo
from disc.photo.marks.pins_from_sites import FaceDoubt, Sites, kinds_by_slant, make_pins
from disc.photo.marks.site_odds import feet_by_slant, network_odds, site_odds, sure_tracks
from disc.photo.marks.slant import Slant
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.joint import Joint, feet_put_right, heard_others
from disc.photo.plane.known_lens import KnownLens
from disc.photo.plane.shared_lens import Shared
from disc.photo.plane.view import View
from disc.photo.plate.find_plate import NOTHING_HERE
from disc.photo.plate.slot import Slot
from disc.photo.plate.slot_signs import LensOver, SlotPlace, slot_places
from disc.photo.plate.which_slot import ChosenSlot, FaceMarks, SlotOdds, choose_slots, odds_against_mark, odds_in_disc
from disc.photo.request import ReadSettings
from disc.photo.seen.no_disc import is_no_disc
from disc.photo.several.bundle import SharedPins
from disc.photo.several.lens_told import lenses_told
from disc.records import Pin, Plate, Side

# Log-odds from which a mark goes into the table: of those between BELIEVED and this, 24 of 112 were sites (three
# renderers: 1 of 5 on h1-h8, 1 of 3 on p1-p8, 22 of 104 on faces that are hard on purpose); two photographs together
# may still believe in them.
IN_TABLE = 0.9
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Part of the sites that a borrowed lens must leave (chosen). Where the marks were looked for through one of half the
# length, 0.1 was left (h4); looked for without it, all are.
PINS_LEFT = 0.9
FAINTEST = -4.0  # from which it is kept to be weighed with the face's other photographs


@dataclass(frozen=True, slots=True)
class FaceReading:
    """What was read of one photo of one face. notes: what needs a person's eye, in words. sheet: under the disc.

    known: of the lens, where the sheet told it. faint: marks that this photo alone does not believe.
    bent_mm: one sigma of what the lens's distortion does to a place where it does most. shared: pins as all photographs
    of the face tell them together.
    """

    view: View
    pins: tuple[Pin, ...]
    slot: Slot | None
    slant: Slant
    track_scatter_mm: float
    notes: tuple[str, ...] = ()
    sheet: SheetTold | None = None
    known: KnownLens | None = None
    slot_odds: SlotOdds | None = None
    faint: tuple[Pin, ...] = ()
    bent_mm: float = 0.0
    shared: SharedPins | None = None

    @property
    def shown_mm(self) -> float:
        """How long an upright pin is drawn in this view, r.m.s. over the face: what tells it from a stub or a hole."""
        sidewise = self.slant.gain * self.view.radius_mm / np.sqrt(2)
        return float(np.hypot(np.hypot(*self.slant.shift), sidewise))


def read_face(photo: Photo, side: Side, plate: Plate, settings: ReadSettings | None = None) -> FaceReading:
    """Read one photo. Raises BadInput if no whole disc is seen in it."""
    sheet = look_for_sheets([photo])[0]
    look = look_at(photo, side, plate, settings or ReadSettings(), sheet, lenses_told([photo], [sheet])[0].lens)
    return finish(look, None, choose_slots([look.places], [look.slot_marks()])[0])


@dataclass(frozen=True, slots=True)
class PhotoLook:
    """A photo with what the pictures said and where that lies, before other photos of the disc are heard. before: what
    it said before a lens was taken from elsewhere; own_lens: known without other photos' sheets."""

    seen: Seen
    side: Side
    settings: ReadSettings
    joint: Joint
    places: tuple[SlotPlace, ...] = ()
    sheet: SheetUnder | None = None
    beside_mark: tuple[SlotPlace, ...] = ()  # where the photo shows a slot, though a person marked it
    before: tuple[Seen, Joint] | None = None
    own_lens: KnownLens | None = None

    def slot_marks(self) -> FaceMarks:
        """What the photo shows for sure, to be laid on another photo of the disc."""
        mm = self.seen.in_plane(self.joint.plane)
        odds = network_odds(mm)
        inside = np.hypot(*mm.root.T) < self.seen.radius_mm - 0.4
        return FaceMarks(self.side is Side.UPPER, self.seen.radius_mm, mm.root[(odds > BELIEVED) & inside])


def look_at(
    photo: Photo,
    side: Side,
    plate: Plate,
    settings: ReadSettings,
    sheet: SheetUnder | None = None,
    lens: KnownLens | None = None,
    own_lens: KnownLens | None = None,
) -> PhotoLook:
    """What one photo says before others are heard: plate, plane, marks, and where the slot may be.

    lens: all that is known of it; own_lens: without other photos' sheets, to be kept beside it.
    """
    borrowed = lens is not None and not lens.tells_line and (sheet is None or sheet.camera is None)
    seen = see(photo, plate, settings, sheet, None if borrowed else lens)
    before = (seen, exact_plane(seen))
    look = _looked(side, settings, sheet, before, lens if borrowed else None)
    return replace(look, before=before, own_lens=own_lens) if borrowed and lens is not own_lens else look


def by_own_lens(look: PhotoLook) -> PhotoLook | None:
    """The same without what other photos' sheets told of the lens; None where that has no part in it."""
    if look.before is None or look.seen is look.before[0]:
        return None
    return _looked(look.side, look.settings, look.sheet, look.before, look.own_lens)


def _looked(
    side: Side,
    settings: ReadSettings,
    sheet: SheetUnder | None,
    before: tuple[Seen, Joint],
    lens: KnownLens | None,
) -> PhotoLook:
    seen, joint = before if lens is None else _through_borrowed(*before, lens)
    found = seen.found
    over = _lens_over(seen, joint)
    places = tuple(slot_places(seen.photo.pixels, joint.plane, seen.radius_mm, found.slot, found.slot_heat, over))
    if settings.slot is not None:
        return PhotoLook(seen, side, settings, joint, sheet=sheet, beside_mark=places)
    return PhotoLook(seen, side, settings, joint, places, sheet)


def _lens_over(seen: Seen, joint: Joint) -> LensOver:
    """Where the lens stood over the face, where its height is known."""
    eye, known = eye_over(joint.slant, joint.plane, seen.photo)
    return LensOver(eye if known else None, seen.thickness_mm)


def _through_borrowed(seen: Seen, joint: Joint, lens: KnownLens) -> tuple[Seen, Joint]:
    """With what another photo told of the lens, unless the pins deny it: zoomed by two, or cut out of a larger picture,
    a photo shows through another lens, and of twenty pins one may be left."""
    through = seen_through(seen, lens)
    if through is None:
        return seen, joint
    told = exact_plane(through)
    if believed(through, told.plane, told.slant) < PINS_LEFT * believed(seen, joint.plane, joint.slant):
        return seen, joint
    return through, told


def finish(look: PhotoLook, others: Shared | None, chosen: ChosenSlot) -> FaceReading:
    """Everything that rests on the exact plane. others: what the disc's other photos tell of lens and pins."""
    joint = look.joint if others is None else heard_others(look.joint, others)
    slot, angle, notes = place_slot(look.seen, joint.plane, look.settings, chosen, _lens_over(look.seen, joint))
    slot_odds = _slot_odds(look, chosen, angle)
    joint = joint.turned(angle)
    told = _pins_told(look, joint)
    if not look.settings.rim and is_no_disc(look.seen.found, told.pins):
        raise BadInput(f"{look.seen.photo.path}: {NOTHING_HERE}")
    view = _view(look, joint, told, slot is not None)
    sheet, lens, said = _by_sheet(look, joint.plane, joint)
    notes = (*said, *notes, *hard_to_tell(told.pins))
    bent = told.doubt.most_bent_mm
    return FaceReading(
        view, told.pins, slot, joint.slant, joint.scatter_mm, notes, sheet, lens, slot_odds, told.faint, bent
    )


def _slot_odds(look: PhotoLook, chosen: ChosenSlot, angle_rad: float) -> SlotOdds | None:
    """How likely the slot is where it was placed, by what the photos show."""
    if look.settings.slot is None:
        return odds_in_disc(chosen, angle_rad, look.side)
    shown = choose_slots([look.beside_mark], [look.slot_marks()])[0]
    return odds_against_mark(shown, angle_rad, look.side, MEANT_MM / look.seen.radius_mm)


@dataclass(frozen=True, slots=True)
class _Told:
    """The face's pins, and the marks that this photo alone does not believe; with what pins and view both rest on."""

    pins: tuple[Pin, ...]
    faint: tuple[Pin, ...]
    tracks: FloatArray
    eye_mm: tuple[float, float, float]
    eye_known: bool
    doubt: FaceDoubt


def _pins_told(look: PhotoLook, joint: Joint) -> _Told:
    """Marks weighed, and pins made of those that are believed. joint: with the slot at angle 0."""
    seen, slant = look.seen, joint.slant
    mm = seen.in_plane(joint.plane)
    mm = feet_by_slant(replace(mm, root=feet_put_right(joint, mm.root)), slant)
    radii = np.hypot(mm.root[:, 0], mm.root[:, 1])
    odds = site_odds(mm, radii, seen.radius_mm, slant, seen.bore_mm)
    keep, some = odds > IN_TABLE, odds > FAINTEST
    sites = Sites(kinds_by_slant(mm.pick(keep), slant), odds[keep])
    faint = Sites(kinds_by_slant(mm.pick(some), slant).pick(~keep[some]), odds[some & ~keep])
    eye, known = eye_over(slant, joint.plane, seen.photo)
    tracks = sure_tracks(sites.spots, radii[keep], odds[keep])
    height = slant.gain * eye[2] / (1 + slant.gain) if known else None
    doubt = shared_doubt(joint, seen.radius_mm)
    pins, beside = (make_pins(some, slant, height, tracks, look.side, doubt) for some in (sites, faint))
    return _Told(pins, beside, tracks, eye, known, doubt)


def _view(look: PhotoLook, joint: Joint, told: _Told, slot_found: bool) -> View:
    """How the face lies in the photo."""
    photo, plane = look.seen.photo, joint.plane
    return View(
        photo=photo.path.name,
        side=look.side,
        width_px=photo.width,
        height_px=photo.height,
        plane_to_px=tuple(float(v) for v in plane.plane_to_px.ravel()),
        k1=float(plane.k1),
        eye_mm=told.eye_mm,
        eye_known=told.eye_known,
        radius_mm=float(look.seen.radius_mm),
        slot_found=slot_found,
        tracks_mm=tuple(float(t) for t in told.tracks),
    )


def _by_sheet(
    look: PhotoLook, plane: Plane, joint: Joint
) -> tuple[SheetTold | None, KnownLens | None, tuple[str, ...]]:
    """What the sheet told, what is known of the lens by it, and words about it."""
    if look.sheet is None:
        return None, None, ()
    told = sheet_told(look.sheet, plane, joint.log_focal, look.settings.bar_mm)
    known = look.sheet.camera.known if look.sheet.camera else None
    return told, known, (*look.sheet.notes, *advice(told, look.settings.bar_mm is not None))
