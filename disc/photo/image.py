"""Photo files to pixels: JPEG, PNG, TIFF, HEIC and whatever else Pillow opens, upright, 8 bit, with the focal length.

A file that cannot be used raises BadInput in one line (what, where, what to do). OpenCV is imported here once, with
advice where the machine lacks the library it needs.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import numpy.typing as npt

from disc.errors import BadInput, MissingPart
from disc.measures.gauges import MM_PER_INCH
from disc.tables import check_is_file

if TYPE_CHECKING:
    from disc.photo.plane.known_lens import KnownLens

Pixels = npt.NDArray[np.uint8]
Item = TypeVar("Item")
Made = TypeVar("Made")

# A phone's largest frame is 200 megapixels; beyond it lie archive scans that would not fit a small machine's memory.
# Chosen.
LARGEST_MPX = 200.0
# Above LARGE_MPX a picture of nothing would cost over a gigabyte before that shows. Cameras spend 0.8 to 4 bits
# on a pixel of a JPEG, more on others (common practice, no source); a plain ground takes about 0.03.
LARGE_MPX = 50.0
LEAST_BITS_A_PIXEL = 0.15  # of a large file; less is a bomb or no photograph. Chosen by hand
# Only what cameras and scanners write: PostScript runs programs, others are doors without use.
PHOTO_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "BMP")  # and HEIF, where its reader is registered
LARGEST_BYTES = 1_000_000_000  # no photograph is larger; chosen by hand to keep a slip from filling the memory
# Below this the disc cannot show a pin as more than a dot: 0.2 mm at 8 px/mm would be under two pixels. Chosen.
SMALLEST_SIDE_PX = 200
FULL_FRAME_WIDTH_MM = 36.0  # exact; EXIF 2.3, FocalLengthIn35mmFilm refers to the 36 x 24 mm frame
EXIF_IFD = 0x8769  # tags of Exif 2.32, as the others below; from memory
EXIF_ORIENTATION = 0x0112  # Exif 2.32, from memory
EXIF_FOCAL_35MM = 0xA405  # Exif 2.32, from memory
EXIF_MAKE, EXIF_MODEL, EXIF_FOCAL, EXIF_ZOOM = 0x010F, 0x0110, 0x920A, 0xA404  # Exif 2.32, from memory


@dataclass(frozen=True, slots=True)
class CameraName:
    """By what a camera is known again: its make and model, the lens's focal length (mm), the digital zoom, and the
    picture's sides, the longer first. Numbers are rounded, so that equal settings are equal names."""

    make: str
    model: str
    focal_mm: float
    zoom: float
    long_px: int
    short_px: int

    def words(self) -> str:
        """One line for a person."""
        zoom = f", zoom {self.zoom:g}" if self.zoom != 1 else ""
        name = self.model if self.model.startswith(self.make) else f"{self.make} {self.model}".strip()
        return f"{name}, {self.focal_mm:g} mm{zoom}, {self.long_px} x {self.short_px}"


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph, upright. pixels: shape (height, width, 3), BGR. focal_px: from EXIF, None if it does not say.

    camera: None where the file does not name it. px_per_mm: the file's own resolution, None where it names none.
    lens: what is remembered of the camera's. scanned: by a flatbed scanner, as somebody said.
    """

    path: Path
    pixels: Pixels
    focal_px: float | None = None
    camera: CameraName | None = None
    px_per_mm: float | None = None
    lens: KnownLens | None = None
    scanned: bool = False

    @property
    def width(self) -> int:
        """Pixels across."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """Pixels down."""
        return int(self.pixels.shape[0])


def opencv() -> Any:
    """The cv2 module. Raises MissingPart naming the Debian package where its shared library is absent."""
    try:
        import cv2
    except ImportError as error:
        if "libGL" in str(error) or "libgthread" in str(error):
            raise MissingPart(
                f"OpenCV cannot start ({error}). Install the system library: apt-get install libgl1 libglib2.0-0"
            ) from error
        raise MissingPart(f"OpenCV cannot start ({error}). Run: pip install opencv-python") from error
    return cv2


def side_by_side(do: Callable[[Item], Made], items: Sequence[Item]) -> list[Made]:
    """What comes of each, worked out on the machine's cores: OpenCV and numpy let each other work.

    Where OpenCV was told to keep to one thread (OPENCV_FOR_THREADS_NUM=1), one after the other.
    """
    workers = min(2, opencv().getNumThreads(), len(items))
    if workers < 2:
        return [do(item) for item in items]
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(max_workers=workers) as pool:
        return list(pool.map(do, items))


def shrunk(pixels: Pixels, width: int, height: int) -> Pixels:
    """A picture made smaller by area, first by halves, which is quick."""
    cv2 = opencv()
    while pixels.shape[0] % 2 == 0 and pixels.shape[1] % 2 == 0 and pixels.shape[0] > 4 * height:
        half = (pixels.shape[1] // 2, pixels.shape[0] // 2)
        pixels = cv2.resize(pixels, half, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA))


def load_photo(path: Path) -> Photo:
    """Read a photo file. Raises BadInput for an absent, empty, damaged, too large or too small picture."""
    data = _read_bytes(path)
    picture = _open(data, path)
    width, height = picture.size
    if width * height > LARGEST_MPX * 1e6:
        raise BadInput(
            f"{path}: {width} x {height} pixels are {width * height / 1e6:.0f} megapixels, more than the "
            f"{LARGEST_MPX:.0f} this program reads. Scale the picture down and run the command again."
        )
    if width * height > LARGE_MPX * 1e6 and 8 * len(data) < LEAST_BITS_A_PIXEL * width * height:
        raise BadInput(
            f"{path}: {width} x {height} pixels in {len(data) / 1e6:.1f} MB hold next to nothing; this is no photo. "
            "Copy it from the camera again."
        )
    if min(width, height) < SMALLEST_SIDE_PX:
        raise BadInput(
            f"{path}: {width} x {height} pixels are too few to show a pin. Take a photo that the disc fills, "
            "at the camera's full size."
        )
    exif = _exif(picture)
    pixels = _fast_jpeg(data, picture) if picture.format == "JPEG" else None
    if pixels is None:
        pixels = _decode(picture, path)
        pixels = _upright(pixels, int(exif.get(EXIF_ORIENTATION, 1) or 1))
    return Photo(path, pixels, _focal_px(exif, pixels.shape), _camera_name(exif, pixels.shape), _px_per_mm(picture))


def _read_bytes(path: Path) -> bytes:
    try:
        size = check_is_file(path, "photo")
        if size > LARGEST_BYTES:
            raise BadInput(f"{path}: {size / 1e6:.0f} MB are too much for one photo. Save it as a JPEG.")
        data = path.read_bytes()
    except FileNotFoundError:
        raise BadInput(f"{path}: there is no such file. Check the name of the photo.") from None
    except OSError as error:
        raise BadInput(f"{path}: the photo cannot be read ({error.strerror or error}).") from error
    if not data:
        raise BadInput(f"{path}: the file is empty. Copy the photo from the camera again.")
    return data


def _open(data: bytes, path: Path) -> Any:
    from PIL import Image, UnidentifiedImageError

    Image.MAX_IMAGE_PIXELS = None  # the limit is checked in load_photo, with our own words
    try:
        if data[4:8] == b"ftyp":
            from pillow_heif import register_heif_opener

            register_heif_opener()
        return Image.open(io.BytesIO(data), formats=photo_formats())
    except UnidentifiedImageError:
        raise BadInput(f"{path}: this is not a photo that can be opened. Use JPEG, PNG, TIFF or HEIC.") from None
    except (OSError, ValueError, SyntaxError) as error:
        raise BadInput(f"{path}: the photo is damaged ({error}). Copy it from the camera again.") from error


def photo_formats() -> list[str]:
    """The formats that are opened, by Pillow's names."""
    from PIL import Image

    return [*PHOTO_FORMATS, *(["HEIF"] if "HEIF" in Image.OPEN else [])]


def _exif(picture: Any) -> dict[int, Any]:
    try:
        exif = picture.getexif()
        return {**exif.get_ifd(EXIF_IFD), **exif}
    except Exception:  # damaged EXIF must not cost the photo; it only helps
        return {}


def _fast_jpeg(data: bytes, picture: Any) -> Pixels | None:
    """OpenCV's decoder for the common case; it turns the picture upright itself. None where it will not do."""
    if picture.mode not in ("RGB", "L") or not data.rstrip(b"\0\r\n ").endswith(b"\xff\xd9"):
        return None
    cv2 = opencv()
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    return pixels


def _decode(picture: Any, path: Path) -> Pixels:
    from PIL import Image

    try:
        picture.load()
        if picture.mode in ("I;16", "I;16B", "I;16L", "I;16N", "I", "F"):
            grey = _to_8_bit(np.asarray(picture, dtype=np.float64))
            return np.repeat(grey[..., None], 3, axis=2)
        if picture.mode in ("RGBA", "LA", "PA") or (picture.mode == "P" and "transparency" in picture.info):
            picture = picture.convert("RGBA")
            ground = Image.new("RGBA", picture.size, (255, 255, 255, 255))
            picture = Image.alpha_composite(ground, picture)
        rgb = np.asarray(picture.convert("RGB"))
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError) as error:
        raise BadInput(
            f"{path}: the photo breaks off or is damaged ({error}). Copy it from the camera again."
        ) from error
    return np.ascontiguousarray(rgb[..., ::-1])


def _to_8_bit(values: npt.NDArray[np.float64]) -> Pixels:
    """16-bit and float greys, stretched between their own darkest and brightest thousandth."""
    low, high = np.quantile(values, [0.001, 0.999])
    return (np.clip((values - low) / max(high - low, 1e-9), 0, 1) * 255 + 0.5).astype(np.uint8)


def _upright(pixels: Pixels, orientation: int) -> Pixels:
    """Turn by the EXIF orientation; EXIF 2.3, table 'Orientation': 1 is upright, 2-8 mirrored and turned."""
    if orientation in (5, 6, 7, 8):
        pixels = pixels.transpose(1, 0, 2)
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    return np.ascontiguousarray(pixels)


def _focal_px(exif: dict[int, Any], shape: tuple[int, ...]) -> float | None:
    """Focal length in pixels from the 35 mm equivalent, over the frame's diagonal; None if EXIF has none."""
    try:
        equivalent_mm = float(exif.get(EXIF_FOCAL_35MM, 0) or 0)
    except (TypeError, ValueError):
        return None
    if not 5.0 <= equivalent_mm <= 2000.0:
        return None
    # CIPA DCG-001: the equivalent compares the diagonals; 43.27 mm is that of 36 x 24 mm.
    return equivalent_mm / math.hypot(FULL_FRAME_WIDTH_MM, 24.0) * math.hypot(shape[0], shape[1])


def _camera_name(exif: dict[int, Any], shape: tuple[int, ...]) -> CameraName | None:
    """None unless make or model, and the focal length, are there: another lens of a telephone is another lens."""
    try:
        make, model = (str(exif.get(tag) or "").strip(" \0") for tag in (EXIF_MAKE, EXIF_MODEL))
        focal_mm, zoom = float(exif.get(EXIF_FOCAL) or 0), float(exif.get(EXIF_ZOOM) or 1)
    except (TypeError, ValueError, ArithmeticError):
        return None
    if not (make or model) or not 0.5 <= focal_mm <= 2000.0:
        return None
    return CameraName(make, model, round(focal_mm, 2), round(zoom or 1.0, 2), max(shape[:2]), min(shape[:2]))


def _px_per_mm(picture: Any) -> float | None:
    """The resolution that the file names, as scanners do; None where it names none or two different ones."""
    try:
        across, down = (float(value) for value in picture.info.get("dpi", (0, 0)))
    except (TypeError, ValueError, ArithmeticError):
        return None
    return across / MM_PER_INCH if across > 0 and down > 0 and abs(across / down - 1) < 1e-3 else None
