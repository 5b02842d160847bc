"""The pictures of a reading drawn again, where its pins changed without a new reading (teeth given, corrections)."""

from __future__ import annotations

from collections.abc import Sequence

from disc.job import Job, Stage
from disc.photo.image import load_photo
from disc.photo.plane.view import View
from disc.photo.seen.store import load_seen
from disc.photo.sheets.flat_sheet import draw_flat_sheet
from disc.photo.sheets.map_sheet import map_svg
from disc.photo.sheets.overlay import draw_overlay, jpeg_bytes
from disc.photo.sheets.sheet_marks import beside_pins
from disc.records import Pin, Side


def stage_pictures(stage: Stage, job: Job, pins: Sequence[Pin]) -> tuple[str, ...]:
    """Stage overlays and map for these pins; names in the job folder. Faces without their photograph are left out."""
    names = []
    faces = []
    maps = load_seen(job)
    views = {Side(name): View.from_json(face) for name, face in job.content.faces.items()}
    for side, view in views.items():
        path = job.path(view.photo)
        if not path.is_file():
            continue
        mine = [pin for pin in pins if pin.side is side]
        names.append(f"out/overlay-{side.value}.jpg")
        photo = load_photo(path)
        picture = draw_overlay(photo, view, mine, beside_pins(job.content.faces[side.value]), maps.get(side))
        stage.write_bytes(names[-1], jpeg_bytes(picture))
        faces.append((photo, view, mine))
    if len(faces) == 2:
        names.append("out/faces.jpg")
        stage.write_bytes(names[-1], jpeg_bytes(draw_flat_sheet(faces, maps)))
    if views:
        tracks = [(side, track) for side, view in views.items() for track in view.tracks_mm]
        radius = next(iter(views.values())).radius_mm
        title = f"{job.folder.name}: both faces"
        names.append("out/map.svg")
        stage.write_text(names[-1], map_svg(pins, radius, job.plate.bore_mm, tracks, title, maps))
    return tuple(names)
