"""Files brought to the page: checked as in the commands, kept aside, taken into the job by the step that uses them."""

from __future__ import annotations

import re
import secrets
import shutil
from pathlib import Path
from typing import Any

from disc.errors import BadInput, DiscError
from disc.job import Job
from disc.photo.image import load_photo

RECORDINGS_FOLDER = "recordings"
PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".webp", ".bmp")
SOUND_ENDINGS = (".wav", ".flac", ".ogg", ".mp3", ".aif", ".aiff", ".m4a", ".opus")
SCORE_ENDINGS = (".mid", ".midi", ".musicxml", ".xml", ".mxl", ".abc", ".krn")
TABLE_ENDINGS = (".csv", ".tsv", ".txt")
ENDINGS = {
    "photo": PHOTO_ENDINGS, "comb": PHOTO_ENDINGS, "recording": SOUND_ENDINGS, "score": SCORE_ENDINGS,
    "table": TABLE_ENDINGS,
}  # fmt: skip
MOST_KEPT = 24  # files of one desk that no step has taken in; the oldest goes


def take(folder: Path, kind: str, name: str, data: bytes) -> dict[str, Any]:
    """Keep an uploaded file aside. Returns {"token", "name", "width_px", "height_px"}. Raises BadInput."""
    plain = safe_name(name)
    ending = Path(plain).suffix.lower()
    if ending not in ENDINGS[kind]:
        raise BadInput(f"{plain}: a {kind} must end in one of {' '.join(ENDINGS[kind])}.")
    if not data:
        raise BadInput(f"{plain}: the file is empty.")
    _make_room(folder)
    token = secrets.token_hex(8)
    path = folder / token / plain
    path.parent.mkdir()
    path.write_bytes(data)
    told: dict[str, Any] = {"token": token, "name": plain}
    if kind in ("photo", "comb"):
        try:
            photo = load_photo(path)
        except DiscError as error:
            shutil.rmtree(path.parent)
            raise BadInput(str(error).replace(str(path), plain)) from None
        told |= {"width_px": photo.width, "height_px": photo.height}
    return told


def safe_name(name: str) -> str:
    """A file's own name without folders, in letters that every file system takes."""
    last = re.split(r"[/\\]", name)[-1]
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", last).strip(".-")[-80:]
    if not plain:
        raise BadInput("the file has no name.")
    return plain


def path_of(folder: Path, token: Any) -> Path:
    """Where an uploaded file lies. Raises BadInput if there is none."""
    found = (
        sorted((folder / token).glob("*")) if isinstance(token, str) and re.fullmatch(r"[0-9a-f]{16}", token) else []
    )
    if not found:
        raise BadInput("that file is no longer here. Bring it again.")
    return found[0]


def recordings_of(job: Job) -> list[str]:
    """Names of the recordings that belong to the job."""
    folder = job.path(RECORDINGS_FOLDER)
    return sorted(p.name for p in folder.iterdir() if p.suffix.lower() in SOUND_ENDINGS) if folder.is_dir() else []


def recording_path(job: Job, name: str) -> Path:
    """Where a recording of the job lies."""
    return job.path(RECORDINGS_FOLDER) / name


def _make_room(folder: Path) -> None:
    kept = sorted((path for path in folder.iterdir() if path.is_dir()), key=lambda path: path.stat().st_mtime)
    for old in kept[: max(0, len(kept) - MOST_KEPT + 1)]:
        shutil.rmtree(old, ignore_errors=True)
