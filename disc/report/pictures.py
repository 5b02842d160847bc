"""Photographs for a page: when they were taken, and a copy small enough to print."""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from disc.errors import BadInput
from disc.photo.image import EXIF_IFD, photo_formats
from disc.tables import check_is_file

if TYPE_CHECKING:
    from PIL.Image import Image

# Corners of a polygon, (u, v) in pixels.
Outline = Sequence[tuple[float, float]]

LARGEST_PHOTO_PX = 200_000_000  # beyond any camera; a larger one would fill the memory. Chosen by hand
DRAFT_TIMES = 2  # what thumbnail itself leaves for smoothing (Pillow's reducing_gap, from memory)
# Tags of Exif 2.3 (CIPA DC-008), from memory.
DATE_TIME_ORIGINAL, DATE_TIME = 0x9003, 0x0132


def open_picture(path: Path, enough_px: int | None = None) -> Image:
    """A photograph, upright as its EXIF orientation says. Raises BadInput if it cannot be read.

    enough_px: it may come smaller (by a half, a quarter, an eighth) as long as it stays so large: a JPEG is then
    decoded in a part of the time.
    """
    from PIL import Image, ImageOps
    from pillow_heif import register_heif_opener

    register_heif_opener()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            check_is_file(path, "photograph")
            picture = Image.open(path, formats=photo_formats())
            if picture.width * picture.height > LARGEST_PHOTO_PX:
                raise BadInput(f"{path}: {picture.width} x {picture.height} pixels is too large. Make it smaller.")
            if enough_px is not None:
                picture.draft("RGB", (enough_px, enough_px))
            picture.load()
            ImageOps.exif_transpose(picture, in_place=True)  # a copy of a camera's picture takes as long as decoding it
            return picture
    except FileNotFoundError:
        raise BadInput(f"{path}: there is no such file. Check the photograph's name.") from None
    except BadInput:
        raise
    except Exception as error:  # Pillow's decoders raise many kinds for a damaged file
        raise BadInput(f"{path}: this is not a photograph that can be read ({type(error).__name__}).") from error


def in_rgb(picture: Image) -> Image:
    """The picture in red, green and blue; itself where it is so already, since Pillow would copy it."""
    return picture if picture.mode == "RGB" else picture.convert("RGB")


def taken_at(path: Path) -> str | None:
    """When the camera says the photograph was taken, ISO 8601 without zone; None if it does not say."""
    from PIL import Image

    try:
        with Image.open(path, formats=photo_formats()) as picture:
            exif = picture.getexif()
            text = exif.get_ifd(EXIF_IFD).get(DATE_TIME_ORIGINAL) or exif.get(DATE_TIME)
            return datetime.strptime(str(text).strip("\0 "), "%Y:%m:%d %H:%M:%S").isoformat() if text else None
    except Exception:  # a damaged date is no date; whether the photograph itself can be read is told elsewhere
        return None


def small_jpeg(path: Path, longest_px: int = 1000, outline: Outline | None = None) -> bytes:
    """A copy as JPEG whose longer side is at most longest_px. Raises BadInput if the photograph cannot be read.

    outline: corners (u, v) of what is shown, px; all around it is white.
    """
    whole_px = _longest_side_px(path)
    shown_px = whole_px if outline is None else max(max(side) - min(side) for side in zip(*outline, strict=True))
    picture = in_rgb(open_picture(path, round(DRAFT_TIMES * longest_px * whole_px / max(1.0, shown_px))))
    if outline is not None:
        share = max(picture.size) / whole_px
        picture = _cut_out(picture, [(u * share, v * share) for u, v in outline])
    picture.thumbnail((longest_px, longest_px))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=85)
    return out.getvalue()


def _longest_side_px(path: Path) -> int:
    """Of the photograph as it is kept; 1 where it cannot be told, as of a damaged one."""
    from PIL import Image
    from pillow_heif import register_heif_opener

    register_heif_opener()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(path, formats=photo_formats()) as picture:
                return max(picture.size)
    except Exception:  # what is wrong with it open_picture says
        return 1


def _cut_out(picture: Image, outline: Outline) -> Image:
    from PIL import Image, ImageDraw

    mask = Image.new("L", picture.size, 0)
    ImageDraw.Draw(mask).polygon(list(outline), fill=255)
    cut = Image.composite(picture, Image.new("RGB", picture.size, "white"), mask)
    return cut.crop(mask.getbbox()) if mask.getbbox() else picture
