"""The report's parts about the object itself: what it is, how it looks, how it was measured, which files are meant."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import replace
from pathlib import Path

from disc.job import Job
from disc.locale.catalogue import Language, Reader, mark, reader
from disc.object.sheet import LEFT_OUT, SOURCE, sheet_rows
from disc.photo.doubts_of_job import reading_doubts
from disc.records import About, Condition, Plate, Side
from disc.report.blocks import Block, Bullets, Paragraph, PictureBlock, ReportSection, table
from disc.report.pictures import small_jpeg
from disc.report.places import rim_outline
from disc.results import ListenResult, PluckingResult, TeethResult, TuneResult
from disc.words import CAUTIONS, counted, how_sure

# Unless said otherwise: laid out by eye on printed pages.
# Pixels of an overlay's longer side: 300 to the inch at the width at which it is set.
OVERLAY_PX = 1400
MARKS = "circle: sound, diamond: bent, square: stub, cross: missing; the number is the tooth's"
OVERLAYS = {Side.UPPER: "overlay-upper", Side.LOWER: "overlay-lower"}


def object_part(job: Job, t: Reader | None = None, for_publication: bool = False) -> ReportSection:
    """What is said of the object, and what was given and counted."""
    t = t or reader(Language.EN)
    plate = job.plate
    rows: list[tuple[str, object]] = [
        ("disc", job.folder.name),
        ("diameter", f"{plate.diameter_mm:.2f} mm"),
        ("thickness", None if plate.thickness_mm is None else f"{plate.thickness_mm:.2f} mm"),
        ("bore", None if plate.bore_mm is None else f"{plate.bore_mm:.2f} mm"),
        ("turns", _given(plate, "turns", f"{plate.turns.value}, seen on the upper side")),
        ("one turn", _given(plate, "revolution_s", f"{plate.revolution_s:.1f} s")),
        ("rest arc", _given(plate, "rest_arc_deg", f"{plate.rest_arc_deg:.1f} degrees")),
    ]
    blocks: list[Block] = []
    if sheet := sheet_rows(job, t, for_publication):
        blocks += [replace(table(("", ""), sheet), own_words=True), Paragraph(t(SOURCE), small=True, own_words=True)]
        blocks += [Paragraph(t(LEFT_OUT), small=True, own_words=True)] if for_publication else []
    blocks.append(table(("", ""), [row for row in rows if row[1] is not None]))
    if job.has("pins.csv"):
        pins = job.pins()
        unseen = {d.side for d in reading_doubts(job) if d.about is About.FACE}
        by_face = {side: Counter(pin.condition for pin in pins if pin.side is side) for side in Side}
        blocks.append(
            table(
                ("face", *(condition.value for condition in Condition), "all"),
                [_face_row(side, by_face[side], unseen) for side in Side],
                right=range(1, len(Condition) + 2),
            )
        )
        source = "as seen on the photographs" if job.content.faces else "as laid out, not yet seen"
        by_hand = len(job.corrections()[0])
        corrected = f", with {by_hand} correction{'s' if by_hand > 1 else ''} by hand" if by_hand else ""
        blocks.append(Paragraph(f"Pins and holes {source}{corrected}.", small=True))
    return ReportSection("object", tuple(blocks))


NOT_GIVEN = mark("{value} (never said, assumed)")


def _given(plate: Plate, name: str, value: str) -> str:
    """A fact of the plate; what nobody gave does not stand there as data."""
    return NOT_GIVEN.format(value=value) if name in plate.assumed else value


def _face_row(side: Side, counts: Counter[Condition], unseen: Collection[Side | None]) -> tuple[object, ...]:
    """A face's sites by condition; of a face that was not photographed no number is known."""
    if side in unseen:
        return (side.value, *("–" for _ in Condition), "not photographed")
    return (side.value, *(counts[condition] for condition in Condition), counts.total())


def photograph_part(job: Job) -> ReportSection | None:
    """The photographs with what was read from them, cut to the disc."""
    pictures = []
    for side in Side:
        path = _first(job, OVERLAYS[side], (".png", ".jpg", ".jpeg"))
        if path is not None:
            picture = small_jpeg(path, OVERLAY_PX, rim_outline(job, side))
            pictures.append(PictureBlock(picture, "jpg", f"{side.value} face, with what was read; {MARKS}", 0.68))
    return ReportSection("photographs", tuple(pictures)) if pictures else None


def map_part(job: Job) -> ReportSection | None:
    """Both faces on one sheet."""
    path = _first(job, "map", (".svg", ".png"))
    caption = "Both faces as if looking through the plate from the upper side, stop slot up."
    if path is None:  # a designed disc has a picture instead
        path, caption = _first(job, "disc", (".png",)), "The disc as designed."
    if path is None:
        return None
    return ReportSection("map", (PictureBlock(path.read_bytes(), path.suffix[1:], caption, 0.62),))


def measuring_part(job: Job) -> ReportSection | None:
    """What was measured how, and how sure it is."""
    lines = []
    if job.has("pins.csv"):
        sigmas = sorted(pin.sigma_mm for pin in job.pins() if pin.sigma_mm is not None)
        if sigmas:
            lines.append(
                "Places of pins: from photographs, scaled by the diameter given; one standard deviation of a root "
                f"along each axis is {sigmas[len(sigmas) // 2]:.3f} mm (median), {sigmas[-1]:.3f} mm at most."
            )
        doubtful = [pin.id for pin in job.pins() if pin.is_doubtful]
        if doubtful:
            lines.append(f"Sites seen with less than 90 % confidence: pins {', '.join(map(str, doubtful))}.")
    teeth = job.content.result(TeethResult)
    if teeth is not None and teeth.spread_mm is not None and teeth.stretch is not None and teeth.offset_mm is not None:
        lines.append(
            f"Pins to teeth: by face and radius; pins lie {1000 * teeth.spread_mm:.0f} µm off their track "
            f"(r.m.s.); comb and disc differ by {100 * teeth.stretch:+.2f}\u00a0% and "
            f"{teeth.offset_mm:+.3f}\u00a0mm."
        )
    lines += [words for words in (_music_words(job), _plucked_words(job), _turn_words(job)) if words]
    done, _ = job.corrections()
    if done:
        lines.append(f"Corrected by hand: {counted(len(done), 'change')}, kept in corrections.json beside the reading.")
    return ReportSection("measuring", (Bullets(tuple(lines)),)) if lines else None


def _music_words(job: Job) -> str | None:
    found = job.content.result(TuneResult)
    if found is None or (found.metre_probability is None and found.key_probability is None):
        return None
    late = "" if found.setting_error_s is None else (
        f"; a strike stands {1000 * found.setting_error_s:.0f}\u00a0ms from its written place (one standard deviation)"
    )  # fmt: skip
    return (
        f"Metre and key: read from the strikes; {found.metre} ({how_sure(found.metre_probability)}), "
        f"{found.key} ({how_sure(found.key_probability)}){late}."
    )


def _plucked_words(job: Job) -> str | None:
    found = job.content.result(PluckingResult)
    return f"Pitches of the teeth: plucked one by one, recording {found.file}." if found else None


def _turn_words(job: Job) -> str | None:
    found = job.content.result(ListenResult)
    if found is None or found.revolution_s is None:
        return None
    return (
        f"A recorded turn ({found.file}): one turn takes {found.revolution_s:.2f}\u00a0s; strikes silent: "
        f"{found.silent}, sounds without a pin: {found.extra}, early or late: {found.early_late}, weak each "
        f"time: {found.weak}."
    )


def caution_part() -> ReportSection:
    """What to heed before the object is handled."""
    return ReportSection("cautions", (Bullets(tuple(CAUTIONS.values())),))


def provenance_part(job: Job) -> ReportSection:
    """Photographs with their SHA-256, and what was run when."""
    photos = table(("photograph", "SHA-256"), sorted(job.content.photos.items()))
    runs = table(
        ("when", "what", "version"),
        [(run.at[:16].replace("T", " "), run.command, run.version) for run in job.content.runs],
        halved=True,
    )
    return ReportSection("provenance", (photos, runs) if photos.rows else (runs,))


def _first(job: Job, stem: str, suffixes: tuple[str, ...]) -> Path | None:
    return next((job.out(stem + suffix) for suffix in suffixes if job.out(stem + suffix).is_file()), None)
