"""One face: a photo to its view, pins and verdicts. The main path of the room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.errors import BadInput
from disc.frame import FloatArray
from disc.photo.board.begin import Begun, begin
from disc.photo.board.sheet_told import SheetTold, advice, sheet_told
from disc.photo.board.sheet_under import SheetUnder, lens_by_sheets, look_for_sheets
from disc.photo.image import Photo, opencv
from disc.photo.marks.close_looks import find_spots, look_again
from disc.photo.marks.other_face import own_pins
from disc.photo.marks.pins_from_sites import FaceDoubt, Sites, kinds_by_slant, make_pins
from disc.photo.marks.site_odds import common_slant, feet_by_slant, network_odds, site_odds, sure_tracks
from disc.photo.marks.slant import Slant, expected_perspective, plane_tilt
from disc.photo.marks.spots import PIN, Spots
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.flatten import flatten
from disc.photo.plane.joint import K1_DOUBT, Joint, PinMarks, feet_put_right, heard_others, settle_jointly
from disc.photo.plane.known_lens import KnownLens
from disc.photo.plane.settle import SettledPlane, settle
from disc.photo.plane.shared_lens import Shared, of_others
from disc.photo.plane.view import View, half_diagonal_px
from disc.photo.plate.find_plate import NOTHING_HERE, CoarsePlate
from disc.photo.plate.outline import rim_points
from disc.photo.plate.slot import Slot, find_slot
from disc.photo.plate.slot_signs import SlotPlace, slot_places
from disc.photo.plate.turned import Turned, turned_marks
from disc.photo.plate.which_slot import (
    SLOT_SURE,
    ChosenSlot,
    FaceMarks,
    SlotOdds,
    choose_slots,
    odds_against_mark,
    odds_in_disc,
)
from disc.photo.seen.no_disc import is_no_disc
from disc.photo.several.one_slot import slots_of_disc
from disc.records import Pin, Plate, Side

COARSE_RIM_MM = 0.10  # scatter of the finder's outline about the rim; its wall side bulges by as much
FINE_WIDTHS_MM = (0.04, 0.035, 0.03, 0.03, 0.03)
NOMINAL_HEIGHT_MM = 0.5  # where nothing tells the pins' height; conventions.md: 0.25-0.8 mm
# Fewer standing pins than this do not tell plane and slant together; sigma of places then.
FEWEST_JOINT, FEW_PINS_MM = 12, 0.02
# Rim and slot on rendered faces that the networks were not trained on: sigma per axis at the rim.
RIM_DOUBT_MM, RIM_DOUBT_PX = 0.012, 0.55
# What the fit leaves in doubt, times its misfit and this, lies between the errors met on such faces: 0.4 where the lens
# draws straight, 1.2 where it bends or the marks are hard to see.
DOUBT_SCALE = 0.8
BELIEVED = 0.0  # log-odds from which a mark is taken for a site while the face is worked out
# and from which it goes into the table: of those between, 24 of 112 were sites (three renderers: 1 of 5 on h1-h8,
# 1 of 3 on p1-p8, 22 of 104 on faces that are hard on purpose); two photographs together may still believe in them.
IN_TABLE = 0.9
FAINTEST = -4.0  # from which it is kept to be weighed with the face's other photographs


@dataclass(frozen=True, slots=True)
class ReadSettings:
    """What a person gave by hand. centre, slot: photo (u, v). rim: five points or more. radius_mm: not the plate's.

    bar_mm: what the measuring sheet's bar of 50 mm measures as printed.
    """

    centre: tuple[float, float] | None = None
    slot: tuple[float, float] | None = None
    rim: tuple[tuple[float, float], ...] = ()
    radius_mm: float | None = None
    bar_mm: float | None = None


@dataclass(frozen=True, slots=True)
class FaceReading:
    """What was read of one photo of one face. notes: what needs a person's eye, in words. sheet: under the disc.

    known: of the lens, where the sheet told it. faint: marks that this photo alone does not believe.
    bent_mm: one sigma of what the lens's distortion does to a place where it does most.
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

    @property
    def shown_mm(self) -> float:
        """How long an upright pin is drawn in this view, r.m.s. over the face: what tells it from a stub or a hole."""
        sidewise = self.slant.gain * self.view.radius_mm / np.sqrt(2)
        return float(np.hypot(np.hypot(*self.slant.shift), sidewise))


def read_face(photo: Photo, side: Side, plate: Plate, settings: ReadSettings | None = None) -> FaceReading:
    """Read one photo. Raises BadInput if no whole disc is seen in it."""
    sheet = look_for_sheets([photo])[0]
    look = _look(photo, side, plate, settings or ReadSettings(), sheet, None)
    return _finish(look, None, choose_slots([look.places], [look.slot_marks()])[0])


def _look(
    photo: Photo,
    side: Side,
    plate: Plate,
    settings: ReadSettings,
    sheet: SheetUnder | None,
    lens: KnownLens | None,
) -> _PhotoLook:
    return replace(_weigh(_see(photo, plate, settings, sheet, lens), side, settings), sheet=sheet)


def look_at(photo: Photo, side: Side, plate: Plate, settings: ReadSettings) -> _PhotoLook:
    """What one photo says before others are heard; for benches."""
    return _look(photo, side, plate, settings, None, None)


@dataclass(frozen=True, slots=True)
class _PhotoLook:
    """A photo with what the pictures said and where that lies, before other photos of the disc are heard."""

    seen: _Seen
    side: Side
    settings: ReadSettings
    joint: Joint
    places: tuple[SlotPlace, ...] = ()
    sheet: SheetUnder | None = None
    beside_mark: tuple[SlotPlace, ...] = ()  # where the photo shows a slot, though a person marked it

    def slot_marks(self) -> FaceMarks:
        """What the photo shows for sure, to be laid on another photo of the disc."""
        mm = self.seen.in_plane(self.joint.plane)
        odds = network_odds(mm)
        inside = np.hypot(*mm.root.T) < self.seen.radius_mm - 0.4
        return FaceMarks(self.side is Side.UPPER, self.seen.radius_mm, mm.root[(odds > BELIEVED) & inside])


def _see(photo: Photo, plate: Plate, settings: ReadSettings, sheet: SheetUnder | None, lens: KnownLens | None) -> _Seen:
    """What the networks say."""
    radius = settings.radius_mm or plate.radius_mm
    begun = begin(photo, radius, settings.rim, settings.centre, sheet, lens)
    flat = flatten(begun.photo.pixels, begun.first, radius)
    seen = _Seen(begun, radius, find_spots(flat, begun.first), plate.bore_mm or 0.0)
    slant, odds = _weighed_at_first(seen)
    return replace(seen, spots=look_again(flat, seen.spots, slant, odds > BELIEVED))


def _weigh(seen: _Seen, side: Side, settings: ReadSettings) -> _PhotoLook:
    """Where the plane lies, by all that this photo alone shows."""
    fine, slant, rim, scatter = _settle_all(seen)
    turned = turned_marks(seen.photo.pixels, fine.plane, seen.radius_mm)
    joint = _jointly(seen, fine, slant, rim, scatter, turned)
    photo, found = seen.photo, seen.found
    places = tuple(slot_places(photo.pixels, joint.plane, seen.radius_mm, found.slot, found.slot_heat))
    if settings.slot is not None:
        return _PhotoLook(seen, side, settings, joint, beside_mark=places)
    return _PhotoLook(seen, side, settings, joint, places)


def _finish(look: _PhotoLook, others: Shared | None, chosen: ChosenSlot) -> FaceReading:
    """Everything that rests on the exact plane. others: what the disc's other photos tell of lens and pins."""
    seen, joint = look.seen, look.joint
    if others is not None:
        joint = heard_others(joint, others)
    photo, radius, bore = seen.photo, seen.radius_mm, seen.bore_mm
    slot, angle, notes = _place_slot(seen, joint.plane, look.settings, chosen)
    if look.settings.slot:
        shown = choose_slots([look.beside_mark], [look.slot_marks()])[0]
        slot_odds = odds_against_mark(shown, angle, look.side, MEANT_MM / radius)
    else:
        slot_odds = odds_in_disc(chosen, angle, look.side)
    joint = joint.turned(angle)
    plane, slant = joint.plane, joint.slant
    mm = seen.in_plane(plane)
    mm = feet_by_slant(replace(mm, root=feet_put_right(joint, mm.root)), slant)
    radii = np.hypot(mm.root[:, 0], mm.root[:, 1])
    odds = site_odds(mm, radii, radius, slant, bore)
    keep = odds > IN_TABLE
    sites = Sites(kinds_by_slant(mm.pick(keep), slant), odds[keep])
    eye, known = _eye(slant, plane, photo)
    tracks = sure_tracks(sites.spots, radii[keep], odds[keep])
    height = slant.gain * eye[2] / (1 + slant.gain) if known else None
    doubt = _doubt(joint, radius)
    pins = make_pins(sites, slant, height, tracks, look.side, doubt)
    some = odds > FAINTEST
    faint = Sites(kinds_by_slant(mm.pick(some), slant).pick(~keep[some]), odds[some & ~keep])
    beside = make_pins(faint, slant, height, tracks, look.side, doubt)
    if not look.settings.rim and is_no_disc(seen.found, pins):
        raise BadInput(f"{photo.path}: {NOTHING_HERE}")
    view = View(
        photo=photo.path.name,
        side=look.side,
        width_px=photo.width,
        height_px=photo.height,
        plane_to_px=tuple(float(v) for v in plane.plane_to_px.ravel()),
        k1=float(plane.k1),
        eye_mm=eye,
        eye_known=known,
        radius_mm=float(radius),
        slot_found=slot is not None,
        tracks_mm=tuple(float(t) for t in tracks),
    )
    told, lens, said = _by_sheet(look, plane, joint)
    notes = (*said, *notes, *_hard_to_tell(pins))
    return FaceReading(
        view, pins, slot, slant, joint.scatter_mm, notes, told, lens, slot_odds, beside, doubt.most_bent_mm
    )


def _by_sheet(
    look: _PhotoLook, plane: Plane, joint: Joint
) -> tuple[SheetTold | None, KnownLens | None, tuple[str, ...]]:
    """What the sheet told, what is known of the lens by it, and words about it."""
    if look.sheet is None:
        return None, None, ()
    told = sheet_told(look.sheet, plane, joint.log_focal, look.settings.bar_mm)
    known = look.sheet.camera.known if look.sheet.camera else None
    return told, known, (*look.sheet.notes, *advice(told, look.settings.bar_mm is not None))


@dataclass(frozen=True, slots=True)
class _Seen:
    """What the pictures said, before the plane is exact. spots: in the first plane's view mm."""

    begun: Begun
    radius_mm: float
    spots: Spots
    bore_mm: float

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


def _settle_all(seen: _Seen) -> tuple[SettledPlane, Slant, FloatArray, float]:
    """By the coarse outline and the tracks, then by the exact rim and the tracks: plane, slant, rim and its scatter."""
    spots = seen.spots
    px = seen.first.to_px(spots.root)
    _, odds = _weighed_at_first(seen)
    sure = odds > 1.0
    outline = seen.found.outline[:: max(1, len(seen.found.outline) // 200)]
    settled = settle(
        seen.first,
        seen.radius_mm,
        px[sure],
        spots.sigma_root[sure],
        outline,
        COARSE_RIM_MM,
        perspective=seen.begun.perspective,
        k1_sigma=seen.begun.k1_sigma,
    )
    mm = seen.in_plane(settled.plane)
    slant = common_slant(mm, settled.plane)
    odds = site_odds(mm, np.hypot(mm.root[:, 0], mm.root[:, 1]), seen.radius_mm, slant, seen.bore_mm)
    sure = odds > 1.0
    rim, scatter = rim_points(seen.photo.pixels, settled.plane, seen.radius_mm, slant.eye_xy_mm)
    if not len(rim):  # glare has eaten the edge: the coarse outline still holds the scale, which tracks alone do not
        rim, scatter = outline, COARSE_RIM_MM
    view_fits = seen.begun.perspective
    if view_fits is None:
        view_fits = expected_perspective(slant, settled.plane, seen.radius_mm, seen.photo.focal_px)
    fine = settle(
        settled.plane,
        seen.radius_mm,
        px[sure],
        spots.sigma_root[sure],
        rim,
        scatter,
        FINE_WIDTHS_MM,
        view_fits,
        seen.found.centre_px,
        k1_sigma=seen.begun.k1_sigma,
    )
    return fine, slant, rim, scatter


def _jointly(seen: _Seen, fine: SettledPlane, slant: Slant, rim: FloatArray, scatter: float, turned: Turned) -> Joint:
    """The last step; faces with too few standing pins for it keep what they have."""
    mm = seen.in_plane(fine.plane)
    slant = common_slant(mm, fine.plane, slant)
    odds = site_odds(mm, np.hypot(mm.root[:, 0], mm.root[:, 1]), seen.radius_mm, slant, seen.bore_mm)
    pin = (mm.kind.argmax(1) == PIN) & (odds > 1.0)
    if pin.sum() < FEWEST_JOINT:
        known = seen.begun.known
        bends = K1_DOUBT if known is None else float(min(known.sigmas()[3], K1_DOUBT))
        return Joint(fine.plane, slant, (0.0, 0.0), 0.0, FEW_PINS_MM, fine.scatter_mm, k1_sigma=bends)
    foot, tip = seen.first.to_px(seen.spots.root[pin]), seen.first.to_px(seen.spots.tip[pin])
    slot = None if seen.found.slot is None else np.asarray(seen.found.slot, float)
    marks = PinMarks(foot, tip, mm.sigma_root[pin], mm.sigma_tip[pin], rim, scatter, slot, turned, seen.found.centre_px)
    return settle_jointly(fine.plane, slant, seen.radius_mm, marks, seen.photo.focal_px, seen.begun.known)


# A fifth of the sites doubtful: on rendered faces sites were found with an F1 under 0.9 then, and above it otherwise. A
# pin set 0.05 mm off is heard, so that places in more doubt than that are of little use.
MANY_DOUBTFUL, VAGUE_MM = 0.2, 0.05


def _hard_to_tell(pins: Sequence[Pin]) -> tuple[str, ...]:
    """Words where the pins of a face as a whole are not told well."""
    if not pins:
        return ("no pins were found; check on the overlay that the right disc was taken, and that it is in focus.",)
    words = []
    doubtful = sum(pin.is_doubtful for pin in pins)
    if doubtful > MANY_DOUBTFUL * len(pins):
        words.append(
            f"{doubtful} of {len(pins)} sites are doubtful: pins and marks are hard to tell apart here. Clean the "
            "face, or take another photograph with the light from another side and give both."
        )
    sigma = float(np.median([pin.sigma_mm or 0.0 for pin in pins]))
    if sigma > VAGUE_MM:
        words.append(
            f"places are told to {sigma:.2f} mm only: name the rim with --rim and the slot with --slot, or take "
            "another photograph, less tilted."
        )
    return tuple(words)


def _doubt(joint: Joint, radius_mm: float) -> FaceDoubt:
    """How far scale and turn may be off: the rim's edge and the slot's are told to a part of a pixel."""
    rim_mm = float(np.hypot(RIM_DOUBT_MM, RIM_DOUBT_PX / _px_per_mm(joint.plane)))
    part = DOUBT_SCALE * joint.misfit
    bend = bend_of(joint.plane, radius_mm, joint.k1_sigma)
    return FaceDoubt(part * joint.common_mm, part * rim_mm / radius_mm, bend, radius_mm)


def bend_of(plane: Plane, radius_mm: float, k1: float) -> float:
    """What a distortion k1 does to places near the middle, as a part of their radius, the rim's being held."""
    return k1 * (_px_per_mm(plane) * radius_mm / half_diagonal_px(plane.size)) ** 2


def _weighed_at_first(seen: _Seen) -> tuple[Slant, FloatArray]:
    """Slant and odds of the sites in the first plane."""
    slant = common_slant(seen.spots, seen.first)
    radii = np.hypot(seen.spots.root[:, 0], seen.spots.root[:, 1])
    return slant, site_odds(seen.spots, radii, seen.radius_mm, slant, seen.bore_mm)


# A slot's edges over the noise of the band beside it: on rendered faces those placed to 0.03 mm stood out by 6 or more.
FAINT_SLOT = 6.0
MEANT_MM = 0.6  # edges farther from where the slot is known to be are another thing's


def _place_slot(
    seen: _Seen, plane: Plane, settings: ReadSettings, chosen: ChosenSlot
) -> tuple[Slot | None, float, tuple[str, ...]]:
    """The exact slot, its angle in the plane's axes, and words where a person must look."""
    photo, radius = seen.photo, seen.radius_mm
    if settings.slot is not None:
        near = _angle_of(settings.slot, plane)
        slot = find_slot(photo.pixels, plane, radius, near)
        # The person meant another place than the edges found, where these lie far off.
        return (slot, slot.angle_rad, ()) if slot and _is_near(slot, near, radius) else (None, near, ())
    if chosen.place is None and seen.found.slot is not None:
        unclear = "the stop slot's edges are not clear; check its place on the overlay, or name it with --slot."
        return None, _angle_of(seen.found.slot, plane), (unclear,)
    if chosen.place is None:
        return None, 0.0, ("the stop slot was not found: angles count from an arbitrary place. Name it with --slot.",)
    if chosen.by_pins:  # no edges were seen there: what may be found now is something else's
        return None, chosen.place.slot.angle_rad, ()
    # The plane may have moved by a hair since the places were looked at.
    slot = find_slot(photo.pixels, plane, radius, chosen.place.slot.angle_rad) or chosen.place.slot
    words: tuple[str, ...] = ()
    if chosen.probability < SLOT_SURE:
        words = ("the stop slot is doubtful; check it on the overlay, or name it with --slot.",)
    elif slot.strength < FAINT_SLOT:
        words = (
            "the stop slot's edges are faint; check on the overlay that the arrow points to its middle, or name it "
            "with --slot.",
        )
    return slot, slot.angle_rad, words


def _is_near(slot: Slot | None, angle_rad: float, radius_mm: float) -> bool:
    """Whether edges were found where the slot is known to be."""
    return slot is not None and abs(np.angle(np.exp(1j * (slot.angle_rad - angle_rad)))) * radius_mm < MEANT_MM


def _angle_of(px: tuple[float, float], plane: Plane) -> float:
    """Of a photo point, rad in the plane's axes."""
    x, y = plane.to_mm(np.array([px]))[0]
    return float(np.arctan2(y, x))


def _eye(slant: Slant, plane: Plane, photo: Photo) -> tuple[tuple[float, float, float], bool]:
    """The lens over the face, view mm, and whether its height is known rather than nominal."""
    where = slant.eye_xy_mm
    gain = max(slant.gain, 5e-4)
    nominal = NOMINAL_HEIGHT_MM * (1 + gain) / gain
    if where is None:
        return (slant.shift[0] / gain, slant.shift[1] / gain, nominal), False
    tangent, _ = plane_tilt(plane)
    distance = float(np.hypot(*where))
    # Foreshortening tells the tilt to a degree or so; below 6 degrees it tells nothing of the height.
    if tangent > 0.105 and distance / tangent > 15.0:
        height = slant.gain * (distance / tangent) / (1 + slant.gain)
        if 0.15 < height < 1.2:
            return (where[0], where[1], distance / tangent), True
    if photo.focal_px:
        z = photo.focal_px / _px_per_mm(plane)
        return (where[0], where[1], float(z)), True
    return (where[0], where[1], nominal), False


def _px_per_mm(plane: Plane) -> float:
    at = plane.to_px(np.array([[0.0, 0.0], [0.05, 0.0], [0.0, 0.05]]))
    # Across the slant nothing is foreshortened: the larger of the two scales.
    a = np.stack([at[1] - at[0], at[2] - at[0]], 1) / 0.05
    return float(np.linalg.svd(a)[1][0])


def read_faces(
    photos: Sequence[tuple[Photo, Side]], plate: Plate, settings: Sequence[ReadSettings] | None = None
) -> list[FaceReading]:
    """Several photos of one disc, side by side on the machine's cores: OpenCV and numpy let each other work.

    settings: what was given by hand for each.

    Where OpenCV was told to keep to one thread (OPENCV_FOR_THREADS_NUM=1), one after the other.
    """
    from concurrent.futures import ThreadPoolExecutor

    by_hand = settings or [ReadSettings()] * len(photos)
    sheets = look_for_sheets([photo for photo, _ in photos])
    lenses = [lens_by_sheets(photo, sheets, [one for one, _ in photos]) or photo.lens for photo, _ in photos]
    with ThreadPoolExecutor(max_workers=min(2, opencv().getNumThreads())) as pool:
        jobs = [
            pool.submit(_look, photo, side, plate, given, sheet, lens)
            for (photo, side), given, sheet, lens in zip(photos, by_hand, sheets, lenses, strict=True)
        ]
        looks = [job.result() for job in jobs]
        others = [_told_by_others(look, looks) for look in looks]
        marks = [look.slot_marks() for look in looks]
        chosen = slots_of_disc([look.places for look in looks], marks, [_named(look) for look in looks])
        readings = list(pool.map(_finish, looks, others, chosen))
    return [_without_others(reading, readings) for reading in readings]


def _named(look: _PhotoLook) -> float | None:
    """The slot's angle in the plane's axes as a person gave it."""
    return None if look.settings.slot is None else _angle_of(look.settings.slot, look.joint.plane)


def _without_others(reading: FaceReading, readings: Sequence[FaceReading]) -> FaceReading:
    """The reading without the tails and through holes that a reading of the other face explains."""
    pins = reading.pins
    for other in readings:
        if other.view.side is not reading.view.side and _slot_told(reading) and _slot_told(other):
            pins = own_pins(pins, other.pins)
    return replace(reading, pins=tuple(replace(pin, id=k + 1) for k, pin in enumerate(pins)))


def _slot_told(reading: FaceReading) -> bool:
    """Whether places are counted from a slot that is likelier right than not; by hand it is."""
    return reading.slot_odds is None or reading.slot_odds.probability > 0.5


def _told_by_others(look: _PhotoLook, looks: Sequence[_PhotoLook]) -> Shared | None:
    """Photos of one size are taken to be the same camera's; one whose own lens is known needs no one else."""
    if look.joint.shared is None or look.seen.photo.focal_px:
        return None
    size = look.seen.first.size
    alike = [other for other in looks if other is not look and set(other.seen.first.size) == set(size)]
    return of_others(look.joint.shared, [other.joint.shared for other in alike if other.joint.shared is not None])
