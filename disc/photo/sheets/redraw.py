"""The pictures of a reading drawn again, where its pins changed without a new reading (teeth given, corrections)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from disc.job import Job, Stage
from disc.photo.image import Photo, load_photo
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
        names += stage_others(stage, job, side, mine)
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


def stage_others(
    stage: Stage, job: Job, side: Side, pins: Sequence[Pin], opened: Mapping[str, Photo] | None = None
) -> list[str]:
    """Stage an overlay of each other photograph of a face, numbered from 2 on as the reading names them: its pins, and
    the sheet and lens in it. Those of a reading with more photographs are taken away. opened: by name in the job."""
    opened = opened or {}
    face = job.content.faces[side.value]
    others: list[dict[str, Any]] = (face.get("photos") or [])[1:]
    names = []
    for number, other in enumerate(others, 2):
        name = other["photo"]
        if "view" not in other or (name not in opened and not job.path(name).is_file()):
            continue
        names.append(_other_name(side, number))
        photo = opened[name] if name in opened else load_photo(job.path(name))
        picture = draw_overlay(photo, View.from_json(other["view"]), pins, beside_pins(face, name))
        stage.write_bytes(names[-1], jpeg_bytes(picture))
    number = len(others) + 2
    while job.has(_other_name(side, number)):
        stage.remove(_other_name(side, number))
        number += 1
    return names


def _other_name(side: Side, number: int) -> str:
    return f"out/overlay-{side.value}-{number}.jpg"
