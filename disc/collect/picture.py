"""A small picture of each disc for the collection's page: its photographs with marks, else its pins drawn."""

from __future__ import annotations

import hashlib
import math
import os
from collections.abc import Sequence
from pathlib import Path

from disc import svg
from disc.collect.items import Item
from disc.condition_marks import MARKS
from disc.job import Job
from disc.records import Pin, Side

PICTURES_FOLDER = "pictures"
FACE_PX = 300  # of the longer side; chosen by hand
MARK_PX = 2.2  # radius of a pin's ring, likewise; by eye


def draw_picture(home: Path, item: Item, job: Job, pins: Sequence[Pin]) -> str:
    """Write the disc's picture into the collection's folder and return its name there, or nothing."""
    digest = hashlib.sha256(f"{item.name}\0{item.job}".encode()).hexdigest()[:24]
    overlays = [job.path(f"out/overlay-{side.value}.jpg") for side in Side]
    drawn = _photographs([path for path in overlays if path.is_file()])
    if drawn is None and not pins:
        return ""
    name = f"{PICTURES_FOLDER}/{digest}.{'svg' if drawn is None else 'jpg'}"
    path = home / name
    path.parent.mkdir(parents=True, exist_ok=True)
    waiting = path.with_suffix(f".{os.getpid()}.tmp")
    waiting.write_bytes(_faces_svg(job, pins) if drawn is None else drawn)
    os.replace(waiting, path)
    return name


def _photographs(paths: Sequence[Path]) -> bytes | None:
    """The faces side by side, or None where there is none that can be opened."""
    import io

    from PIL import Image, UnidentifiedImageError

    faces = []
    for path in paths:
        try:
            with Image.open(path, formats=("JPEG",)) as picture:
                picture.draft("RGB", (2 * FACE_PX, 2 * FACE_PX))  # the decoder itself makes it small
                face = picture.convert("RGB")
        except (OSError, UnidentifiedImageError, Image.DecompressionBombError, ValueError):
            continue
        face.thumbnail((FACE_PX, FACE_PX))
        faces.append(face)
    if not faces:
        return None
    both = Image.new("RGB", (FACE_PX * len(faces), FACE_PX), "white")
    for index, face in enumerate(faces):
        both.paste(face, (index * FACE_PX + (FACE_PX - face.width) // 2, (FACE_PX - face.height) // 2))
    file = io.BytesIO()
    both.save(file, "JPEG", quality=80)
    return file.getvalue()


def _faces_svg(job: Job, pins: Sequence[Pin]) -> bytes:
    """Both faces as seen looking at them, the stop slot at the top; the lower one is mirrored, as in a photograph."""
    radius_mm = job.plate.radius_mm
    scale = 0.47 * FACE_PX / radius_mm
    parts = []
    for index, side in enumerate(Side):
        middle = index * FACE_PX + FACE_PX / 2.0
        top = FACE_PX / 2 - radius_mm * scale
        parts.append(svg.circle(middle, FACE_PX / 2, radius_mm * scale, fill="none", stroke="#8a7a4a"))
        parts.append(svg.line(middle, top, middle, top + 9, stroke="#1f2429", stroke_width=3))
        for pin in pins:
            if pin.side is side:
                angle = math.radians(pin.theta_deg) * (1.0 if side is Side.UPPER else -1.0)
                x, y = middle - pin.r_mm * scale * math.sin(angle), FACE_PX / 2 - pin.r_mm * scale * math.cos(angle)
                colour = MARKS[pin.condition].colour
                parts.append(svg.circle(x, y, MARK_PX, fill="none", stroke=colour))
    return svg.document(2 * FACE_PX, FACE_PX, parts, ground="#fffdf8").encode()
