"""Several photos together: both faces of one disc, one face from several photos, two faces in one picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from disc.errors import BadInput
from disc.frame import FloatArray, to_xy_mm
from disc.photo.image import Photo, side_by_side
from disc.photo.plane.view import View
from disc.photo.plate.one_width import common_width_mm
from disc.photo.plate.which_slot import SlotOdds, slot_doubts
from disc.photo.quality import PhotoVerdict, judge_photo
from disc.photo.read_face import FaceReading
from disc.photo.read_faces import read_usable
from disc.photo.request import ReadRequest, ReadSettings
from disc.photo.seen.face_doubts import face_doubts
from disc.photo.seen.look_face import FaceSeen, look_face
from disc.photo.seen.seen_map import SeenMap, seen_by_any
from disc.photo.seen.unseen_sites import mark_unseen
from disc.photo.several.added import Added, what_each_added
from disc.photo.several.fitting import left_out, set_aside, turned_pins, which_fit
from disc.photo.several.merge_pins import ShownFace, laid_on_first, merge_pins
from disc.photo.several.one_slot import slot_off_deg
from disc.photo.several.other_tilt import other_tilt
from disc.photo.several.shared_pins import about_heights, with_shared
from disc.records import SOUNDING, Condition, Doubt, Pin, Plate, Side


@dataclass(frozen=True, slots=True)
class FaceTogether:
    """One face from all its photos. photo, view, verdict: the best one's. readings: of each, added: by each of several.
    seen: what any shows. views: of each of the readings, in the face's own frame."""

    side: Side
    photo: Photo
    view: View
    pins: tuple[Pin, ...]
    verdict: PhotoVerdict
    slot_width_mm: float | None
    slant_sigma_mm: float
    track_scatter_mm: float
    notes: tuple[str, ...]
    seen: SeenMap
    readings: tuple[tuple[Photo, FaceReading], ...] = ()
    doubts: tuple[Doubt, ...] = ()
    slot_odds: SlotOdds | None = None
    added: tuple[Added, ...] = ()
    views: tuple[View, ...] = ()


@dataclass(frozen=True, slots=True)
class Agreement:
    """How two faces of one disc fit each other.

    slot_widths_mm: of upper and lower, None where it was not measured. through: empty holes at one place on both
    faces; apart_mm: r.m.s. distance of their two readings, None if there are none.
    """

    slot_widths_mm: tuple[float | None, float | None]
    through: int
    apart_mm: float | None


@dataclass(frozen=True, slots=True)
class Together:
    """All faces. notes: what needs a person's eye, by face. agreement: of two faces."""

    sides: tuple[FaceTogether, ...]
    verdicts: dict[str, PhotoVerdict]
    notes: tuple[str, ...]
    agreement: Agreement | None = None


def read_both_sides(
    request: ReadRequest, photos: dict[Path, Photo], plate: Plate, unusable: Mapping[Path, BadInput] | None = None
) -> Together:
    """Read all photos of a request and bring them together by side.

    unusable: why a photo is not among photos. What cannot be used is set aside where its face has another photo; raises
    that BadInput where it is the only one, or the one that the scale lies in.
    """
    unusable = unusable or {}
    jobs: list[tuple[Photo, Side, ReadSettings]] = []
    for side, paths in ((Side.UPPER, request.upper), (Side.LOWER, request.lower)):
        given = {path: request.given_for(side, path) for path in paths}
        jobs += [(photos[path], side, given[path]) for path in paths if path in photos]
        if paths and not any(path in photos for path in paths):
            raise unusable[paths[0]]
    if request.both:
        jobs += _two_in_one(photos[request.both], request)
    scale = _scale_in_its_photo(request, photos, jobs)
    if scale:
        radius = _radius_from_scale(jobs[scale.photo][0], scale)
        jobs = [(photo, side, replace(s, radius_mm=radius)) for photo, side, s in jobs]
    readings = read_usable([(photo, side) for photo, side, _ in jobs], plate, [given for _, _, given in jobs])
    if scale:
        scaled = readings[scale.photo]
        if isinstance(scaled, BadInput):
            raise scaled
        factor = scale.mm / scale.length_in(scaled.view.to_disc_mm)
        readings = [one if isinstance(one, BadInput) else _stretched(one, factor) for one in readings]
    read = {side: _Read([], {p: unusable[p] for p in request.of_side(side) if p in unusable}) for side in Side}
    for (photo, side, _), reading in zip(jobs, readings, strict=True):
        if isinstance(reading, BadInput):
            read[side].faults[photo.path] = reading
        else:
            read[side].good.append(_in_whole(photo, reading, request.both, photos))
    width = common_width_mm([reading.slot for side in Side for _, reading in read[side].good])
    faces = side_by_side(lambda side: _judged_side(side, read[side], width), [side for side in Side if read[side].good])
    sides, verdicts = [side for side, _ in faces], {name: one for _, some in faces for name, one in some.items()}
    notes = [f"{side.side.value}: {note}" for side in sides for note in side.notes]
    notes += [f"{name}: {reason}" for name, verdict in verdicts.items() for reason in verdict.reasons]
    if scale and abs(sides[0].view.radius_mm / plate.radius_mm - 1) > SCALE_AGREES:
        notes.append(
            f"by the scale the disc is {2 * sides[0].view.radius_mm:.2f} mm across, the job says "
            f"{plate.diameter_mm:g} mm: the scale was taken."
        )
    notes += [*_bend_untold(sides), *_lengths_untold(sides)]
    agreement = how_faces_agree(sides[0], sides[1]) if len(sides) == 2 else None
    notes += _disagreement(agreement) if agreement else []
    return Together(tuple(sides), verdicts, tuple(notes), agreement)


@dataclass(frozen=True, slots=True)
class _Read:
    """The readings of one face with their photos, and why others could not be used."""

    good: list[tuple[Photo, FaceReading]]
    faults: dict[Path, BadInput]


def _judged_side(side: Side, read: _Read, slot_mm: float | None) -> tuple[FaceTogether, dict[str, PhotoVerdict]]:
    """One face from its photos, and what is to be said of each."""
    judged = [(photo, reading, judge_photo(photo, reading.view)) for photo, reading in read.good]
    aside = [set_aside(side, path, why) for path, why in read.faults.items()]
    verdicts = {f"{side.value} {photo.path.name}": verdict for photo, _, verdict in judged}
    return _one_side(side, judged, aside, slot_mm), verdicts


# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Less than this by which a lens's distortion may move a pin, one sigma, is not worth a sheet of paper; and how many
# times as much a wide lens of 0.03 may do as most cameras (plane/joint.py).
BENT_MM, WIDE_TIMES = 0.0075, 3.5


def _bend_untold(sides: Sequence[FaceTogether]) -> list[str]:
    """Words where no photo of a face tells how far the lens bends straight lines."""
    most = max((min(reading.bent_mm for _, reading in side.readings) for side in sides), default=0.0)
    if most < BENT_MM:
        return []
    return [
        f"these photographs do not tell how far the lens bends straight lines: radii between hub and rim may be off by "
        f"{most:.2f} mm, by {WIDE_TIMES * most:.2f} with a wide lens, all alike. Straight lines that run past the disc "
        "through the picture tell it: a cutting mat, or three rulers; so does the measuring sheet (disc sheet), "
        "for later photographs with the lens too."
    ]


def _lengths_untold(sides: Sequence[FaceTogether]) -> list[str]:
    """Words on what is left blank of the pins' own measures, and why."""
    blank = [s.side.value for s in sides if s.pins and not any(p.height_mm for p in s.pins if p.condition in SOUNDING)]
    heights = (
        f"; nor their heights on the {' and the '.join(blank)} side, seen from nearly straight above: a photograph "
        "tilted 10 to 15 degrees tells those"
    )
    return [
        f"photographs do not tell the pins' thickness{heights if blank else ''}. Measure a sound pin with a micrometer "
        "before wire is bought."
    ]


def _one_side(
    side: Side,
    judged: Sequence[tuple[Photo, FaceReading, PhotoVerdict]],
    aside: Sequence[Doubt] = (),
    slot_mm: float | None = None,
) -> FaceTogether:
    """The photo that shows the most pins surely, sharpest first, leads; those that lie on it add to it.

    aside: photos that could not be used. slot_mm: how wide the disc's photographs show its slot.
    """
    worth = [_sure_pins(reading) - verdict.edge_mm for _, reading, verdict in judged]
    fitting = which_fit([reading.pins for _, reading, _ in judged], worth)
    photo, lead, verdict = judged[fitting.lead]
    in_order = [fitting.lead, *(k for k in range(len(judged)) if k != fitting.lead and k not in fitting.aside)]
    looks: list[FaceSeen] = [look_face(judged[k][0], judged[k][1].view) for k in in_order]
    photos, used = [judged[k][0] for k in in_order], [judged[k][1] for k in in_order]
    shown = laid_on_first(
        [ShownFace(one.pins, one.faint, one.shown_mm, look.map) for one, look in zip(used, looks, strict=True)]
    )
    whole = seen_by_any([one.seen for one in shown if one.seen is not None])
    # The first photo's slot gave the frame; now all photos' slots do.
    off = slot_off_deg([(one.turn_deg, reading.slot) for one, reading in zip(shown, used, strict=True)], slot_mm)
    merged = lead.pins if len(shown) == 1 else together(shown, lead)
    added = what_each_added(shown, merged)
    pins = tuple(turned_pins(merged, -np.radians(off))) if len(shown) > 1 else lead.pins
    views = [one.view.turned(-laid.turn_deg) for one, laid in zip(used, shown, strict=True)]
    again = other_tilt(side, views, [one.shown_mm for one in shown], pins)
    out = [left_out(side, judged[k][0].path.name, photo.path.name, laid) for k, laid in fitting.left_out()]
    marked = slot_doubts(lead.slot_odds, side, lead.slot is not None)
    doubts = face_doubts(side, looks[0], whole, verdict, lead.view.tracks_mm, scanned=photo.scanned)
    return FaceTogether(
        side,
        photo,
        lead.view.turned(off),
        mark_unseen(pins, whole),
        verdict,
        lead.slot.width_mm if lead.slot else None,
        lead.slant.sigma_mm,
        lead.track_scatter_mm,
        (*lead.notes, *_of_each(photos, used, added)),
        whole,
        tuple(zip(photos, used, strict=True)),
        (*aside, *out, *doubts, *marked, *again),
        lead.slot_odds,
        tuple(added),
        tuple(view.turned(off) for view in views),
    )


def together(shown: Sequence[ShownFace], lead: FaceReading) -> tuple[Pin, ...]:
    """The face's pins by photographs laid on the lead's."""
    merged = merge_pins(shown)
    return merged if lead.shared is None else with_shared(merged, lead.view, lead.shared)


def _of_each(photos: Sequence[Photo], readings: Sequence[FaceReading], added: Sequence[Added]) -> list[str]:
    """What each photograph's sheet told, and what it added to the face."""
    words = [f"{p.path.name}: {one.sheet.words()}." for p, one in zip(photos, readings, strict=True) if one.sheet]
    if len(readings) > 1 and readings[0].shared is not None:
        words.append(about_heights(readings[0].shared))
    return words + [one.words(photo.path.name) for photo, one in zip(photos, added, strict=False)]


def _sure_pins(reading: FaceReading) -> float:
    """How many sites a photo tells, each by how much likelier it is than not."""
    return float(sum(2 * (1.0 if pin.confidence is None else pin.confidence) - 1 for pin in reading.pins))


def _two_in_one(photo: Photo, request: ReadRequest) -> list[tuple[Photo, Side, ReadSettings]]:
    """A picture with both faces side by side, cut in two between them; which is which as named, else left is upper."""
    w, h = photo.width, photo.height
    along = w >= h
    half = (w if along else h) // 2
    first = photo.pixels[:, :half] if along else photo.pixels[:half]
    second = photo.pixels[:, half:] if along else photo.pixels[half:]
    left = request.left_side or Side.UPPER
    right = Side.LOWER if left is Side.UPPER else Side.UPPER
    parts = []
    for pixels, side in ((first, left), (second, right)):
        part = Photo(photo.path, pixels, None)  # a view into the whole picture: _in_whole tells the parts by that
        parts.append((part, side, request.by_hand.get(side, ReadSettings())))
    return parts


def _in_whole(
    photo: Photo, reading: FaceReading, both: Path | None, photos: dict[Path, Photo]
) -> tuple[Photo, FaceReading]:
    """A face cut out of a picture of both, told in the whole picture's pixels. The part's own distortion, next to
    nothing, is left out: it was about the part's middle.
    """
    if both is None or photo.path != both:
        return photo, reading
    whole = photos[both]
    second = not np.shares_memory(photo.pixels, whole.pixels[: photo.height, : photo.width])
    along = whole.width >= whole.height
    u0, v0 = ((whole.width // 2, 0) if along else (0, whole.height // 2)) if second else (0, 0)
    move = np.array([[1.0, 0.0, u0], [0.0, 1.0, v0], [0.0, 0.0, 1.0]])
    matrix = move @ reading.view.matrix
    view = replace(
        reading.view,
        width_px=whole.width,
        height_px=whole.height,
        plane_to_px=tuple(float(v) for v in (matrix / matrix[2, 2]).ravel()),
        k1=0.0,
    )
    return whole, replace(reading, view=view)


SCALE_AGREES = 0.005  # a caliper and a scale bar agree to half a per cent on a disc (common practice, no source)


@dataclass(frozen=True, slots=True)
class _Scale:
    """A known length, mm, between two points (u, v) of one of the photos, by its place in the list."""

    photo: int
    u: tuple[float, float]
    v: tuple[float, float]
    mm: float

    def length_in(self, to_mm: Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]) -> float:
        """The length as a plane gives it."""
        x, y = to_mm(np.array(self.u), np.array(self.v))
        return float(np.hypot(x[1] - x[0], y[1] - y[0]))


def _scale_in_its_photo(
    request: ReadRequest, photos: dict[Path, Photo], jobs: Sequence[tuple[Photo, Side, ReadSettings]]
) -> _Scale | None:
    """The length asked for: in the first photo named, of a picture of both faces in the part where it lies."""
    if request.scale is None:
        return None
    u1, v1, u2, v2, mm = request.scale
    if not (mm > 0 and np.hypot(u2 - u1, v2 - v1) > 10):
        raise BadInput("--scale: give two points that lie well apart, u1,v1,u2,v2, and their distance in mm.")
    if request.both and not (request.upper or request.lower):
        whole, first = photos[request.both], jobs[0][0]
        if whole.width >= whole.height and min(u1, u2) >= first.width:
            return _Scale(1, (u1 - first.width, u2 - first.width), (v1, v2), mm)
        if whole.width < whole.height and min(v1, v2) >= first.height:
            return _Scale(1, (u1, u2), (v1 - first.height, v2 - first.height), mm)
    return _Scale(0, (u1, u2), (v1, v2), mm)


def _radius_from_scale(photo: Photo, scale: _Scale) -> float:
    """The disc's radius by the coarse outline, to some tenths of a per cent; the exact plane does the rest."""
    from disc.photo.plane.face_plane import plane_from_ellipse
    from disc.photo.plate.find_plate import find_plate

    found = find_plate(photo)
    plane = plane_from_ellipse(found.ellipse, found.centre, 1.0, (photo.width, photo.height))
    return scale.mm / scale.length_in(lambda u, v: tuple(plane.to_mm(np.stack([u, v], 1)).T))


def _stretched(reading: FaceReading, factor: float) -> FaceReading:
    """The same reading with all its lengths times factor, near 1."""
    view = reading.view
    matrix = view.matrix / [factor, factor, 1.0]
    x, y, z = view.eye_mm
    view = replace(
        view,
        plane_to_px=tuple(float(v) for v in matrix.ravel()),
        eye_mm=(x * factor, y * factor, z * factor),
        radius_mm=view.radius_mm * factor,
        tracks_mm=tuple(t * factor for t in view.tracks_mm),
    )
    lengths = ("r_mm", "diameter_mm", "height_mm", "height_sigma_mm", "lean_x_mm", "lean_y_mm", "sigma_mm")
    pins = tuple(
        replace(pin, **{name: value * factor for name in lengths if (value := getattr(pin, name)) is not None})
        for pin in reading.pins
    )
    slot = reading.slot and replace(reading.slot, width_mm=reading.slot.width_mm * factor)
    return replace(reading, view=view, pins=pins, slot=slot, track_scatter_mm=reading.track_scatter_mm * factor)


# Two readings of one hole through the plate, each good to 0.05 mm or so, lie nearer than this; two holes cannot.
THROUGH_MM = 0.22
SLOT_APART_MM = 0.15  # the slot is one cut: widths that differ by more were not both read right


def how_faces_agree(upper: FaceTogether, lower: FaceTogether) -> Agreement:
    """The stop slot's width and the holes seen from both sides, compared."""
    holes = [_holes(face.pins) for face in (upper, lower)]
    apart = np.linalg.norm(holes[0][:, None] - holes[1][None], axis=2)
    near = [(i, int(row.argmin())) for i, row in enumerate(apart) if len(row) and row.min() < THROUGH_MM]
    both = [apart[i, j] for i, j in near if apart[:, j].argmin() == i]
    widths = (upper.slot_width_mm, lower.slot_width_mm)
    return Agreement(widths, len(both), float(np.sqrt(np.mean(np.square(both)))) if both else None)


def _holes(pins: Sequence[Pin]) -> FloatArray:
    """Places (n, 2) of empty holes, mm."""
    empty = [pin for pin in pins if pin.condition in (Condition.MISSING, Condition.EXTRA) and pin.height_mm == 0]
    return np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in empty]).reshape(-1, 2)


def _disagreement(agreement: Agreement) -> list[str]:
    """Words where the two faces do not fit each other."""
    a, b = agreement.slot_widths_mm
    if a and b and abs(a - b) > SLOT_APART_MM:
        return [
            f"the stop slot measures {a:.2f} mm on the upper and {b:.2f} mm on the lower face: check its place on both "
            "overlays."
        ]
    return []
