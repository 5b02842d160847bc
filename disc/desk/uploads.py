"""Files brought to the page: checked as in the commands, kept aside, taken into the job by the step that uses them."""

from __future__ import annotations

import io
import re
import secrets
from pathlib import Path
from typing import Any

from disc.errors import BadInput
from disc.job import Job

RECORDINGS_FOLDER = "recordings"
PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".webp", ".bmp")
SOUND_ENDINGS = (".wav", ".flac", ".ogg", ".mp3", ".aif", ".aiff", ".m4a", ".opus")
SCORE_ENDINGS = (".mid", ".midi", ".musicxml", ".xml", ".mxl", ".abc", ".krn")
ENDINGS = {"photo": PHOTO_ENDINGS, "comb": PHOTO_ENDINGS, "recording": SOUND_ENDINGS, "score": SCORE_ENDINGS}
MOST_PIXELS = 120_000_000  # larger pictures are refused before they are unpacked
MOST_KEPT = 24  # files of one desk that no step has taken in; the oldest goes


def take(folder: Path, kind: str, name: str, data: bytes) -> dict[str, Any]:
    """Keep an uploaded file aside. Returns {"token", "name", "width_px", "height_px"}. Raises BadInput."""
    plain = safe_name(name)
    ending = Path(plain).suffix.lower()
    if ending not in ENDINGS[kind]:
        raise BadInput(f"{plain}: a {kind} must end in one of {' '.join(ENDINGS[kind])}.")
    if not data:
        raise BadInput(f"{plain}: the file is empty.")
    size = picture_size(data, plain) if kind in ("photo", "comb") else (None, None)
    _make_room(folder)
    token = secrets.token_hex(8)
    (folder / f"{token}-{plain}").write_bytes(data)
    return {"token": token, "name": plain, "width_px": size[0], "height_px": size[1]}


def safe_name(name: str) -> str:
    """A file's own name without folders, in letters that every file system takes."""
    last = re.split(r"[/\\]", name)[-1]
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", last).strip(".-")[-80:]
    if not plain:
        raise BadInput("the file has no name.")
    return plain


def picture_size(data: bytes, name: str) -> tuple[int, int]:
    """Pixels across and down. Raises BadInput if it is no picture or too large."""
    from PIL import Image, UnidentifiedImageError

    _know_phone_formats()
    try:
        with Image.open(io.BytesIO(data)) as image:
            width, height = image.size
            turned = image.getexif().get(0x0112, 1) in (5, 6, 7, 8)  # EXIF 2.32, tag Orientation
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise BadInput(
            f"{name}: this is not a picture that can be read. Bring a JPEG, PNG, TIFF or HEIC file."
        ) from None
    if width * height > MOST_PIXELS:
        raise BadInput(f"{name}: {width} x {height} pixels; at most {MOST_PIXELS // 1_000_000} million are read.")
    return (height, width) if turned else (width, height)


def _know_phone_formats() -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()


def path_of(folder: Path, token: Any) -> Path:
    """Where an uploaded file lies. Raises BadInput if there is none."""
    found = sorted(folder.glob(f"{token}-*")) if isinstance(token, str) and re.fullmatch(r"[0-9a-f]{16}", token) else []
    if not found:
        raise BadInput("that file is no longer here. Bring it again.")
    return found[0]


def shown(folder: Path, token: str) -> tuple[str, bytes]:
    """(kind, bytes) of an uploaded picture as a browser can show it."""
    return browser_picture(path_of(folder, token))


def browser_picture(path: Path) -> tuple[str, bytes]:
    """(kind, bytes) of a picture file: as it is if browsers know it, otherwise as a JPEG, upright."""
    known = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}
    if path.suffix.lower() in known:
        return known[path.suffix.lower()], path.read_bytes()
    from PIL import Image, ImageOps

    _know_phone_formats()
    with Image.open(path) as image:
        upright = ImageOps.exif_transpose(image).convert("RGB")
    buffer = io.BytesIO()
    upright.save(buffer, "JPEG", quality=92)
    return "image/jpeg", buffer.getvalue()


def recordings_of(job: Job) -> list[str]:
    """Names of the recordings that belong to the job."""
    folder = job.path(RECORDINGS_FOLDER)
    return sorted(p.name for p in folder.iterdir() if p.suffix.lower() in SOUND_ENDINGS) if folder.is_dir() else []


def recording_path(job: Job, name: str) -> Path:
    """Where a recording of the job lies."""
    return job.path(RECORDINGS_FOLDER) / name


def _make_room(folder: Path) -> None:
    kept = sorted((p for p in folder.iterdir() if p.is_file() and p.suffix != ".html"), key=lambda p: p.stat().st_mtime)
    for old in kept[: max(0, len(kept) - MOST_KEPT + 1)]:
        old.unlink(missing_ok=True)
