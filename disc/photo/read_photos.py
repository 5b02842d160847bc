"""Photos into a job: load, read, lay the corrections over, write pins, overlays and the map; one step, whole or not.

job.content.faces["upper"] and ["lower"] hold one record each: the fields of View (View.from_json reads them back:
photo pixels to disc millimetres; "photo" is the name in the job folder) and beside them "pins" (number read),
"slot_width_mm", "slant_sigma_mm", "track_scatter_mm", "verdict" (of the photo), "notes" (what needs a person's eye),
"photos" (all that tell the face, the leading one first; with what each of several added), "sheets" (by photo, what the
measuring sheet told), "close_ups" (where each lies, how surely), "doubts" (as disc.doubts stores them), "traits"
(faces_fit.py), "seen" (the file with the map of what is seen, seen/store.py),
"slot_odds" (None where the slot was named by hand: "probability" that the slot is the right one, "other_theta_deg" and
"other_probability" of the next likely place, in the disc's axes as they are counted now).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from disc.doubts import doubts_to_json
from disc.errors import BadInput, MissingPart
from disc.job import PHOTO_FOLDER, Job, Stage, sha256_of
from disc.job.corrections import Correction
from disc.photo.board.by_bar import diameter_by_bar
from disc.photo.board.lens_memory import remember, with_lens
from disc.photo.close_up.of_request import with_close_ups
from disc.photo.combine_photos import Agreement, FaceTogether, Together, read_both_sides
from disc.photo.doubts_of_job import reading_doubts
from disc.photo.faces_fit import face_traits
from disc.photo.image import Photo, load_photo, side_by_side
from disc.photo.plane.view import View
from disc.photo.poorer import why_poorer
from disc.photo.quality import PhotoVerdict
from disc.photo.request import ReadRequest, ReadSettings
from disc.photo.scan.of_request import make_ready
from disc.photo.scan.scanner import diameter_by_resolution
from disc.photo.seen.hand_marks import marks_of
from disc.photo.seen.seen_map import SeenMap
from disc.photo.seen.store import file_name, load_seen, stage_seen
from disc.photo.sheets.flat_sheet import draw_flat_sheet
from disc.photo.sheets.map_sheet import map_svg
from disc.photo.sheets.overlay import draw_overlay, jpeg_bytes
from disc.photo.sheets.redraw import stage_others, stage_pictures
from disc.photo.sheets.sheet_marks import beside_pins
from disc.records import About, Condition, Doubt, Pin, Plate, Side
from disc.results import ReadResult
from disc.tables import format_pins
from disc.words import Advance, no_progress

# (stage, pins as read, pins in force) -> the pins in force with their teeth, staged.
Naming = Callable[[Stage, Sequence[Pin], Sequence[Pin]], tuple[Pin, ...]]


@dataclass(frozen=True, slots=True)
class JobReading:
    """What came of it: pins in force, how the faces agree, and what a person should look at.

    doubts: of the reading in force. kept_aside: why the new reading was not put in force, and what to do; else None.
    """

    pins: tuple[Pin, ...]
    unfit: tuple[Correction, ...]
    verdicts: dict[str, PhotoVerdict]
    notes: tuple[str, ...]
    outputs: tuple[str, ...]
    faces: dict[str, Any]
    agreement: Agreement | None = None
    doubts: tuple[Doubt, ...] = ()
    kept_aside: str | None = None


ASIDE_TABLE = "out/aside/reading.csv"


def read_job(
    job: Job,
    request: ReadRequest | None = None,
    advance: Advance = no_progress,
    *,
    upper: tuple[Path, ...] = (),
    lower: tuple[Path, ...] = (),
    naming: Naming | None = None,
) -> JobReading:
    """Read the photos into the job: those of the request, or simply upper and lower ones.

    naming gives the pins their teeth within the same step (comb_job.read_and_name); without it they have none. Raises
    BadInput if a photo cannot be used; then the job is as it was. A reading far poorer than the one in force, or of
    another disc, is only kept aside, unless the request says to replace it.
    """
    request = request or ReadRequest(upper, lower)
    whole = (*request.upper, *request.lower, *((request.both,) if request.both else ()))
    paths = (*whole, *(path for some in request.closer.values() for path in some))
    if not paths:
        raise BadInput("no photo was named. Give --upper PHOTO and --lower PHOTO, or --both PHOTO.")
    advance(0.05, "opening the photos")
    photos, unusable = _opened(request, paths)
    advance(0.2, "finding plate and pins")
    plate, by_bar = _plate(job, request, [photos[path] for path in whole if path in photos])
    together = _read_whole(_with_marks(job, request), photos, plate, unusable) if whole else Together((), {}, ())
    together = replace(together, notes=(*by_bar, *together.notes))
    poorer = () if request.replace else _poorer(job, together.sides)
    if poorer:
        return _keep_aside(job, photos, together, poorer)
    kept = _kept_faces(job, {side.side for side in together.sides})
    old = [pin for pin in job.reading() if pin.side in kept] if kept else []
    new = [pin for side in together.sides for pin in side.pins]
    radii = {side: View.from_json(face).radius_mm for side, face in kept.items()}
    radii |= {side.side: side.view.radius_mm for side in together.sides}
    closer = with_close_ups((*old, *new), request.closer, photos, radii)
    together = replace(together, notes=(*together.notes, *closer.notes))
    pins = _numbered([pin for side in Side for pin in closer.pins if pin.side is side])
    advance(0.7, "drawing")
    with job.step("read", tuple(photos)) as stage:
        if by_bar:
            job.content.plate.diameter_mm = plate.diameter_mm
        names = _stage_photos(stage, job, photos)
        in_force, unfit = job.stage_reading(stage, pins, request.grown_by)
        if naming is not None:
            in_force = naming(stage, pins, in_force)
        read = {side.side: _face_record(side, names) for side in together.sides}
        for side, face in (kept | read).items():
            face["close_ups"] = [*(face.get("close_ups") or []), *closer.records(side, names)]
        job.content.faces = {side.value: record for side in Side if (record := (kept | read).get(side))}
        if together.sides:
            outputs = _stage_pictures(stage, together.sides, in_force, job, kept)
        else:
            outputs = stage_pictures(stage, job, in_force)
        notes = (*(f"{side.value}: {note}" for side, face in kept.items() for note in face["notes"]), *together.notes)
        agreed = {"agreement": asdict(together.agreement)} if together.agreement else {}
        job.content.keep(ReadResult(**_summary(in_force, unfit, notes), **agreed))
    _remember_lenses(together.sides)
    return JobReading(
        in_force,
        unfit,
        together.verdicts,
        notes,
        outputs,
        job.content.faces,
        together.agreement,
        reading_doubts(job, pins),
    )


def _poorer(job: Job, sides: Sequence[FaceTogether]) -> tuple[str, ...]:
    """Why a new reading ought not to take the place of the one in force, in words; nothing where it may."""
    old = job.reading()
    again = [side for side in sides if side.side.value in job.content.faces]
    mine = {side: [pin for pin in old if pin.side is side] for side in Side}
    behind = {Side.UPPER: mine[Side.LOWER], Side.LOWER: mine[Side.UPPER]}
    words = (why_poorer(s.side, mine[s.side], s.pins, behind[s.side]) for s in again)
    return tuple(word for word in words if word)


def _keep_aside(job: Job, photos: dict[Path, Photo], together: Together, why: Sequence[str]) -> JobReading:
    """The new reading into out/aside/, to be looked at; pins, faces and corrections in force stay as they are."""
    pins = _numbered([pin for side in together.sides for pin in side.pins])
    outputs = [ASIDE_TABLE]
    with job.step("read, kept aside", tuple(photos)) as stage:
        stage.write_text(ASIDE_TABLE, format_pins(pins))
        for side in together.sides:
            outputs.append(f"out/aside/overlay-{side.side.value}.jpg")
            picture = draw_overlay(side.photo, side.view, side.pins, seen=side.seen)
            stage.write_bytes(outputs[-1], jpeg_bytes(picture))
    line = (
        f"kept aside, not put in force: {'; '.join(why)}. Look at {job.folder / outputs[-1]}; if the new one is right, "
        "run the same command again with --replace."
    )
    doubt = Doubt(About.DISC, f"the new reading was {line}", probability=0.9)
    return JobReading(
        job.pins(),
        (),
        together.verdicts,
        (line,),
        tuple(outputs),
        job.content.faces,
        together.agreement,
        (doubt, *reading_doubts(job)),
        line,
    )


def _opened(request: ReadRequest, paths: Sequence[Path]) -> tuple[dict[Path, Photo], dict[Path, BadInput]]:
    """The photos, and what is wrong with those that cannot be opened where their face has another that can.

    Raises BadInput for any other that cannot be opened, and for a name that no file has: it was mistyped.
    """
    photos: dict[Path, Photo] = {}
    unusable: dict[Path, BadInput] = {}
    each = list(dict.fromkeys(paths))
    for path, opened in zip(each, side_by_side(_photo_or_why, each), strict=True):
        if isinstance(opened, Photo):
            photos[path] = opened
            continue
        others = [mine for side in Side if path in (mine := request.of_side(side))]
        if not path.is_file() or not others or any(len(set(mine)) == 1 for mine in others):
            raise opened
        unusable[path] = opened
    return photos, unusable


def _photo_or_why(path: Path) -> Photo | BadInput:
    try:
        return with_lens(load_photo(path))
    except BadInput as error:
        return error


def _read_whole(
    request: ReadRequest, photos: dict[Path, Photo], plate: Plate, unusable: dict[Path, BadInput]
) -> Together:
    """All photos of whole faces; scans are made ready first, and told in their own pixels afterwards."""
    if not request.scans:
        return read_both_sides(request, photos, plate, unusable)
    scans = {path: photos[path] for path in (*request.upper, *request.lower) if path in photos}
    ready = make_ready(scans, plate.radius_mm)
    return ready.told_in_originals(read_both_sides(request, ready.ready, plate, unusable))


def _plate(job: Job, request: ReadRequest, photos: Sequence[Photo]) -> tuple[Plate, tuple[str, ...]]:
    """The job's plate; where nobody measured it, with the diameter that the sheet's bar tells, and words about that."""
    known = job.content.plate
    if known.diameter_mm is not None:
        return job.plate, ()
    bars = [settings.bar_mm for settings in request.by_hand.values() if settings.bar_mm]
    bar = diameter_by_bar(photos, bars[0] if bars else None) if not request.scans else None
    scan = diameter_by_resolution(photos[0]) if request.scans and photos else None
    told = (bar.diameter_mm, bar.sigma_mm) if bar else scan
    if told is None:
        return job.plate, ()  # which says what is missing
    diameter = round(told[0], 2)
    by = "measuring sheet's bar (the face's height over the paper is not known)" if bar else "scan's resolution"
    return Plate.known(**(known.model_dump() | {"diameter_mm": diameter})), (
        f"the disc's diameter was told by the {by}: {diameter:.2f} mm (+/- {told[1]:.2f}). All radii rest on it: "
        f"measure it with a caliper and run: disc set {job.folder} --diameter-mm D",
    )


def _remember_lenses(sides: Sequence[FaceTogether]) -> None:
    """Lenses that the sheet told, for later photos by the same camera."""
    for side in sides:
        for photo, reading in side.readings:
            if photo.camera is not None and reading.known is not None:
                remember(photo.camera, reading.known, photo.width, photo.height)


def _kept_faces(job: Job, read: set[Side]) -> dict[Side, dict[str, Any]]:
    """Records of faces read before and not now: they stay, with their pins."""
    return {Side(name): face for name, face in job.content.faces.items() if Side(name) not in read}


def photos_of_face(job: Job, side: Side) -> tuple[Path, ...]:
    """All photographs that the face in force was read from, the leading one first; none where it has no reading."""
    face = job.content.faces.get(side.value)
    if face is None:
        return ()
    names = [one["photo"] for one in face.get("photos") or ()] or [face.get("photo", "")]
    return tuple(job.path(str(name)) for name in names)


def _with_marks(job: Job, request: ReadRequest) -> ReadRequest:
    """The request with what was marked on a photo before, where it names nothing for it and the photo is the same."""
    by_hand, by_photo, scale = dict(request.by_hand), dict(request.by_photo), request.scale
    for side in Side:
        paths = request.of_side(side)
        path = next((one for one in paths if _is_marked_photo(job, side, one)), None)
        if path is None:
            continue
        marks, several = marks_of(job, side), len(paths) > 1
        given = by_photo.get(path, ReadSettings()) if several else by_hand.get(side, ReadSettings())
        if marks.scale and not scale and path == (*request.upper, *request.lower)[0]:
            scale = marks.scale  # a length is looked for in the first photo
        slot, centre = (job.settings.get(f"photo.{what}_{side.value}") for what in ("slot", "centre"))
        marked = replace(
            given,
            slot=given.slot or (tuple(slot) if slot else None),
            centre=given.centre or (tuple(centre) if centre else None),
            rim=given.rim or marks.rim,
        )
        if several:
            by_photo[path] = marked
        else:
            by_hand[side] = marked
    return replace(request, by_hand=by_hand, by_photo=by_photo, scale=scale)


def _is_marked_photo(job: Job, side: Side, path: Path) -> bool:
    """Marks are photo pixels: they hold for the very picture that the face was last read from."""
    name = str(job.content.faces.get(side.value, {}).get("photo", "")).removeprefix(f"{PHOTO_FOLDER}/")
    return bool(name) and job.content.photos.get(name) == sha256_of(path)


def load_views(job: Job) -> dict[Side, View]:
    """The views of the last reading, by side; for drawing on the photos. Raises MissingPart if there was none."""
    if not job.content.faces:
        raise MissingPart(
            f"{job.folder}: no photos were read yet. Run: disc read {job.folder} --upper PHOTO --lower PHOTO"
        )
    return {Side(name): View.from_json(face) for name, face in job.content.faces.items()}


def _numbered(pins: Sequence[Pin]) -> tuple[Pin, ...]:
    return tuple(replace(pin, id=k + 1) for k, pin in enumerate(pins))


def _stage_photos(stage: Any, job: Job, photos: dict[Path, Photo]) -> dict[str, str]:
    """Copy the originals in, under names of their own; returns the name in photos/ by path."""
    names: dict[str, str] = {}
    taken: dict[str, str] = {}
    for path in photos:
        digest = sha256_of(path)
        name = path.name
        count = 1
        while taken.get(name, digest) != digest or job.content.photos.get(name, digest) != digest:
            count += 1
            name = f"{path.stem}-{count}{path.suffix}"
        taken[name] = digest
        names[str(path)] = name
        if path.resolve() != job.path(f"{PHOTO_FOLDER}/{name}").resolve():
            stage.copy_in(path, f"{PHOTO_FOLDER}/{name}")
        job.content.photos[name] = digest
    return names


def _stage_pictures(
    stage: Any, sides: Sequence[FaceTogether], pins: Sequence[Pin], job: Job, kept: dict[Side, dict[str, Any]]
) -> tuple[str, ...]:
    names: list[str] = []
    maps: dict[Side, SeenMap] = {side: one for side, one in load_seen(job).items() if side in kept}
    maps |= {side.side: side.seen for side in sides}

    def overlay(side: FaceTogether) -> bytes:
        mine = [pin for pin in pins if pin.side is side.side]
        more = beside_pins(job.content.faces[side.side.value])
        return jpeg_bytes(draw_overlay(side.photo, side.view, mine, more, side.seen))

    for side, picture in zip(sides, side_by_side(overlay, sides), strict=True):
        name = f"out/overlay-{side.side.value}.jpg"
        stage.write_bytes(name, picture)
        stage_seen(stage, side.seen)
        mine = [pin for pin in pins if pin.side is side.side]
        told = job.content.faces[side.side.value]["photos"]
        opened = {one["photo"]: photo for one, (photo, _) in zip(told, side.readings, strict=True)}
        names += [name, file_name(side.side), *stage_others(stage, job, side.side, mine, opened)]
    tracks = [(side.side, t) for side in sides for t in side.view.tracks_mm]
    tracks += [(side, t) for side, face in kept.items() for t in View.from_json(face).tracks_mm]
    if len(sides) == 2:
        faces = [(side.photo, side.view, [pin for pin in pins if pin.side is side.side]) for side in sides]
        stage.write_bytes("out/faces.jpg", jpeg_bytes(draw_flat_sheet(faces, maps)))
        names.append("out/faces.jpg")
    radius = sides[0].view.radius_mm
    title = f"{job.folder.name}: both faces"
    stage.write_text("out/map.svg", map_svg(pins, radius, job.plate.bore_mm, tracks, title, maps))
    return (*names, "out/map.svg")


def _face_record(side: FaceTogether, names: dict[str, str]) -> dict[str, Any]:
    return side.view.to_json() | {
        "photo": f"{PHOTO_FOLDER}/{names[str(side.photo.path)]}",
        "pins": len(side.pins),
        "slot_width_mm": side.slot_width_mm,
        "slot_odds": asdict(side.slot_odds) if side.slot_odds else None,
        "slant_sigma_mm": side.slant_sigma_mm,
        "track_scatter_mm": side.track_scatter_mm,
        "verdict": side.verdict.to_json(),
        "notes": list(side.notes),
        "photos": _photos_record(side, names),
        "sheets": {names[str(photo.path)]: one.sheet.to_json() for photo, one in side.readings if one.sheet},
        "doubts": doubts_to_json(side.doubts),
        "traits": face_traits(side.photo, side.view, side.pins, side.slot_width_mm).to_json(),
        "seen": file_name(side.side),
    }


def _photos_record(side: FaceTogether, names: dict[str, str]) -> list[dict[str, Any]]:
    """The photographs that tell the face, the leading one first, with what each of several added."""
    each = [names[str(photo.path)] for photo, _ in side.readings]
    added = [asdict(one) for one in side.added] or [{} for _ in each]
    # A scan's pixels were made ready for the reading: its view does not hold for the file.
    several = len(each) > 1 and not side.photo.scanned
    views = [{"view": view.to_json()} if several else {} for view in side.views]
    return [
        {"photo": f"{PHOTO_FOLDER}/{name}"} | one | view for name, one, view in zip(each, added, views, strict=True)
    ]


def _summary(pins: Sequence[Pin], unfit: Sequence[Correction], notes: Sequence[str]) -> dict[str, Any]:
    counts = {s.value: {c.value: sum(p.side is s and p.condition is c for p in pins) for c in Condition} for s in Side}
    doubtful = [p.id for p in pins if p.confidence is not None and p.confidence < 0.9]
    return {"counts": counts, "doubtful": doubtful, "corrections_not_fitting": len(unfit), "notes": list(notes)}
