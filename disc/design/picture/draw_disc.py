"""Pictures of the planned disc: one face as a camera would see it, and the two faces side by side for a customer."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from disc.design.picture.brass import Light, brass_colour, edge_distance_mm, screw_colour
from disc.design.picture.camera import Camera
from disc.design.picture.steel import add_pins
from disc.design.settings import KeepOut, Spot
from disc.frame import FloatArray
from disc.records import Pin, Plate, Side

Image = npt.NDArray[np.uint8]
PAPER = (0.86, 0.85, 0.82)  # linear light, by eye
FACE_PX = 1100  # of one face's picture; chosen by hand
MARKS_SEED = 1851  # of the turning marks; any number, but always the same (chosen)


def render_face(
    pins: Sequence[Pin],
    plate: Plate,
    side: Side,
    camera: Camera,
    light: Light | None = None,
    keep_out: tuple[KeepOut, ...] = (),
) -> Image:
    """One face as the camera sees it, shape (height, width, 3), RGB, sRGB coded."""
    light = light or Light()
    v, u = np.mgrid[0 : camera.height_px, 0 : camera.width_px].astype(float)
    x, y = camera.on_face(u, v)
    inside = edge_distance_mm(x, y, plate, keep_out, side)
    image = _paper(x, y, plate, light)
    cover = np.clip(inside * camera.px_per_mm + 0.5, 0.0, 1.0)[..., None]
    image = image * (1 - cover) + cover * brass_colour(x, y, inside, light, MARKS_SEED + (side is Side.LOWER))
    for zone in keep_out:
        if isinstance(zone, Spot):
            head, colour = screw_colour(x, y, zone, side, light)
            cover = np.clip(head * camera.px_per_mm + 0.5, 0.0, 1.0)[..., None]
            image = image * (1 - cover) + cover * colour
    add_pins(image, [pin for pin in pins if pin.side is side], camera, light)
    return to_srgb(image)


def _paper(x: FloatArray, y: FloatArray, plate: Plate, light: Light) -> FloatArray:
    """The sheet under the disc, with the disc's soft shadow on it."""
    thick = plate.thickness_mm or 1.0
    away = np.hypot(x + 1.2 * thick * light.flat[0], y + 1.2 * thick * light.flat[1]) - plate.radius_mm
    shadow = 0.62 / (1.0 + np.exp(np.clip(away / (0.55 * thick), -30, 30)))
    return np.array(PAPER) * (1.0 - shadow)[..., None]


def to_srgb(linear: FloatArray) -> Image:
    """Linear light to 8-bit sRGB. Source: IEC 61966-2-1, transfer function."""
    value = np.clip(linear, 0.0, 1.0)
    coded = np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)
    return np.rint(coded * 255.0).astype(np.uint8)


def picture_png(
    pins: Sequence[Pin], plate: Plate, keep_out: tuple[KeepOut, ...] = (), title: str = "", words: str = ""
) -> bytes:
    """Both faces side by side with a caption, as PNG: to show to a customer."""
    from PIL import Image as Pictures
    from PIL import ImageDraw, ImageFont

    camera = Camera(FACE_PX, FACE_PX, plate.diameter_mm, fill=0.84)
    faces = [render_face(pins, plate, side, camera, None, keep_out) for side in Side]
    sheet = Pictures.new("RGB", (2 * FACE_PX, FACE_PX + 150), tuple(int(c) for c in to_srgb(np.array(PAPER))))
    for i, face in enumerate(faces):
        sheet.paste(Pictures.fromarray(face), (i * FACE_PX, 0))
    draw = ImageDraw.Draw(sheet)
    ink = (52, 46, 38)
    for i, side in enumerate(Side):
        draw.text(
            (i * FACE_PX + FACE_PX / 2, FACE_PX + 12), f"{side.value} side", ink, ImageFont.load_default(26), "ma"
        )
    draw.text((FACE_PX, FACE_PX + 58), title, ink, ImageFont.load_default(34), "ma")
    draw.text((FACE_PX, FACE_PX + 106), words, ink, ImageFont.load_default(22), "ma")
    out = io.BytesIO()
    sheet.save(out, "PNG", optimize=False)
    return out.getvalue()
