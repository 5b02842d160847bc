"""Several photos together: both faces of one disc, one face from several photos, two faces in one picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from disc.errors import BadInput
from disc.frame import FloatArray, to_polar, to_xy_mm
from disc.photo.image import Photo
from disc.photo.plane.view import View
from disc.photo.plate.which_slot import SlotOdds, slot_doubts
from disc.photo.quality import Verdict, judge_photo
from disc.photo.read_face import FaceReading, ReadSettings, read_faces
from disc.photo.request import ReadRequest
from disc.photo.seen.face_doubts import face_doubts
from disc.photo.seen.look_face import FaceSeen, look_face
from disc.photo.seen.seen_map import SeenMap, seen_by_any
from disc.photo.seen.unseen_sites import mark_unseen
from disc.records import Condition, Doubt, Pin, Plate, Side

SAME_PIN_MM = 0.15  # readings of one pin in two photos lie closer than this; about half a pin's thickness apart at most
# An upright pin drawn shorter than this hardly differs from a stub, an empty hole or a leaning pin: on rendered faces 3
# of 90 stubs were told then, and 46 of 50 where it is drawn twice as long. Such a photo still has this much of a say.
SQUARELY_MM, LEAST_SAY = 0.06, 0.05
SEEN_SQUARELY = (
    "the pins are seen from straight above and show nothing of their length, so that stubs, empty holes and leaning "
    "pins are hard to tell from sound ones. Take another photograph with the camera tilted by 10 to 15 degrees and "
    "give both."
)
Seen = tuple[Pin, float]  # a pin in one photo, and how much that photo has to say about conditions


@dataclass(frozen=True, slots=True)
class FaceTogether:
    """One face from all its photos. photo, view, verdict: the best one's. readings: of each. seen: what any shows."""

    side: Side
    photo: Photo
    view: View
    pins: tuple[Pin, ...]
    verdict: Verdict
    slot_width_mm: float | None
    slant_sigma_mm: float
    track_scatter_mm: float
    notes: tuple[str, ...]
    seen: SeenMap
    readings: tuple[tuple[Photo, FaceReading], ...] = ()
    doubts: tuple[Doubt, ...] = ()
    slot_odds: SlotOdds | None = None


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
    verdicts: dict[str, Verdict]
    notes: tuple[str, ...]
    agreement: Agreement | None = None


def read_both_sides(request: ReadRequest, photos: dict[Path, Photo], plate: Plate) -> Together:
    """Read all photos of a request and bring them together by side."""
    jobs: list[tuple[Photo, Side, ReadSettings]] = []
    for side, paths in ((Side.UPPER, request.upper), (Side.LOWER, request.lower)):
        jobs += [(photos[path], side, request.by_hand.get(side, ReadSettings())) for path in paths]
    if request.both:
        jobs += _two_in_one(photos[request.both], request)
    scale = _scale_in_its_photo(request, photos, jobs)
    if scale:
        radius = _radius_from_scale(jobs[scale.photo][0], scale)
        jobs = [(photo, side, replace(s, radius_mm=radius)) for photo, side, s in jobs]
    readings = read_faces([(photo, side) for photo, side, _ in jobs], plate, {side: s for _, side, s in jobs})
    if scale:
        factor = scale.mm / scale.length_in(readings[scale.photo].view.to_disc_mm)
        readings = [_stretched(reading, factor) for reading in readings]
    sides = []
    verdicts = {}
    for side in Side:
        mine = [
            _in_whole(photo, reading, request.both, photos)
            for (photo, s, _), reading in zip(jobs, readings, strict=True)
            if s is side
        ]
        if not mine:
            continue
        judged = [(photo, reading, judge_photo(photo, reading.view)) for photo, reading in mine]
        verdicts.update({f"{side.value} {photo.path.name}": verdict for photo, _, verdict in judged})
        sides.append(_one_side(side, judged))
    notes = [f"{side.side.value}: {note}" for side in sides for note in side.notes]
    notes += [f"{name}: {reason}" for name, verdict in verdicts.items() for reason in verdict.reasons]
    if scale and abs(sides[0].view.radius_mm / plate.radius_mm - 1) > SCALE_AGREES:
        notes.append(
            f"by the scale the disc is {2 * sides[0].view.radius_mm:.2f} mm across, the job says "
            f"{plate.diameter_mm:g} mm: the scale was taken."
        )
    agreement = how_faces_agree(sides[0], sides[1]) if len(sides) == 2 else None
    notes += _disagreement(agreement) if agreement else []
    return Together(tuple(sides), verdicts, tuple(notes), agreement)


def _one_side(side: Side, judged: Sequence[tuple[Photo, FaceReading, Verdict]]) -> FaceTogether:
    # The photo that shows the most pins surely, sharpest first, leads; the others add to it.
    photo, lead, verdict = max(
        judged, key=lambda item: (sum((p.confidence or 0) for p in item[1].pins), -item[2].edge_mm)
    )
    readings = [reading for _, reading, _ in judged]
    shown = [reading.shown_mm for reading in readings]
    looks: list[FaceSeen] = [look_face(one, reading.view) for one, reading, _ in judged]
    whole = seen_by_any([look.map for look in looks])
    if len(judged) == 1:
        pins = lead.pins
    else:
        pins = combine_pins([reading.pins for reading in readings], shown, [look.map for look in looks])
    leading = looks[readings.index(lead)]
    return FaceTogether(
        side,
        photo,
        lead.view,
        mark_unseen(pins, whole),
        verdict,
        lead.slot.width_mm if lead.slot else None,
        lead.slant.sigma_mm,
        lead.track_scatter_mm,
        (*lead.notes, *(() if max(shown) > SQUARELY_MM or not pins else (SEEN_SQUARELY,))),
        whole,
        tuple((photo, reading) for photo, reading, _ in judged),
        (*face_doubts(side, leading, whole, verdict, lead.view.tracks_mm), *slot_doubts(lead.slot_odds, side)),
        lead.slot_odds,
    )


def combine_pins(
    readings: Sequence[Sequence[Pin]],
    shown_mm: Sequence[float] | None = None,
    seen: Sequence[SeenMap] | None = None,
) -> tuple[Pin, ...]:
    """Pins of one face seen in several photos, each place weighed by its sigma; what only one of many saw loses faith.

    The photos' slots differ by a hair: each reading is first turned onto the first by the pins they share. shown_mm:
    how long each photo draws an upright pin; what shows more of it has more to say about the conditions. seen: what
    each photo shows at all; it has no say where it shows nothing and another does.
    """
    if seen:
        whole = seen_by_any(seen)
        readings = [
            [pin for pin in pins if one.is_seen(pin.r_mm, pin.theta_deg) or not whole.is_seen(pin.r_mm, pin.theta_deg)]
            for pins, one in zip(readings, seen, strict=True)
        ]
    lengths = np.array(shown_mm if shown_mm is not None else [SQUARELY_MM] * len(readings))
    says = np.maximum(lengths**2 / (lengths**2 + SQUARELY_MM**2), LEAST_SAY)
    base = list(readings[0])
    groups: list[list[Seen]] = [[(pin, float(says[0]))] for pin in base]
    for other, say in zip(readings[1:], says[1:], strict=True):
        for pin in _turned_onto(base, other):
            nearest = min(groups, key=lambda g: _gap_mm(g[0][0], pin), default=None)
            if nearest is not None and _gap_mm(nearest[0][0], pin) < SAME_PIN_MM:
                nearest.append((pin, float(say)))
            else:
                groups.append([(pin, float(say))])

    def could_see(pin: Pin) -> int:
        return sum(one.is_seen(pin.r_mm, pin.theta_deg) for one in seen) if seen else len(readings)

    merged = [_merge(group, max(could_see(group[0][0]), len(group))) for group in groups]
    return tuple(sorted((p for p in merged if (p.confidence or 0) > 0.5), key=lambda p: p.theta_deg))


def _gap_mm(a: Pin, b: Pin) -> float:
    ax, ay = to_xy_mm(a.r_mm, a.theta_deg)
    bx, by = to_xy_mm(b.r_mm, b.theta_deg)
    return float(np.hypot(ax - bx, ay - by))


def _turned_onto(base: Sequence[Pin], other: Sequence[Pin]) -> list[Pin]:
    if not base or not other:
        return list(other)
    turns = []
    for pin in other:
        nearest = min(base, key=lambda q: _gap_mm(q, pin))
        if _gap_mm(nearest, pin) < 2 * SAME_PIN_MM:
            turns.append(((nearest.theta_deg - pin.theta_deg + 180) % 360 - 180, pin.r_mm))
    if len(turns) < 5:
        return list(other)
    turn = float(np.median([t for t, _ in turns]))
    return [replace(pin, theta_deg=(pin.theta_deg + turn) % 360) for pin in other]


def _merge(seen: Sequence[Seen], photos: int) -> Pin:
    group = [pin for pin, _ in seen]
    if len(group) == 1 and photos == 1:
        return group[0]
    weight = np.array([1 / (p.sigma_mm or 0.05) ** 2 for p in group])
    weight /= weight.sum()
    xy = np.array([to_xy_mm(p.r_mm, p.theta_deg) for p in group])
    x, y = weight @ xy
    r, theta = to_polar(float(x), float(y))
    odds = [np.log(max(p.confidence or 0.5, 1e-4) / max(1 - (p.confidence or 0.5), 1e-4)) for p in group]
    total = float(np.sum(odds) - 2.0 * (photos - len(group)))  # not seen in a photo speaks against it
    votes: dict[Condition, float] = {}
    for (p, say), w in zip(seen, weight, strict=True):
        votes[p.condition] = votes.get(p.condition, 0.0) + say * float(w)
    lean_x, lean_y = (
        float(np.dot(weight, [getattr(p, name) or 0.0 for p in group])) for name in ("lean_x_mm", "lean_y_mm")
    )
    # Photos of one face err alike in part (how feet, slot and rim look): half of the variance is not averaged away.
    own = 1 / np.sum([1 / (p.sigma_mm or 0.05) ** 2 for p in group])
    sigma = float(np.sqrt((own + own * len(group)) / 2))
    lead = max(group, key=lambda p: p.confidence or 0)
    return replace(
        lead,
        r_mm=float(r),
        theta_deg=float(theta),
        sigma_mm=max(sigma, 0.004),
        condition=max(votes, key=lambda c: votes[c]),
        confidence=float(1 / (1 + np.exp(-np.clip(total, -20, 20)))),
        lean_x_mm=lean_x,
        lean_y_mm=lean_y,
    )


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
    lengths = ("r_mm", "diameter_mm", "height_mm", "lean_x_mm", "lean_y_mm", "sigma_mm")
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
