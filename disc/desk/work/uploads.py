"""Files brought to the page: checked as in the commands, kept aside, taken into the job by the step that uses them."""

from __future__ import annotations

import re
import secrets
import shutil
import tempfile
import threading
import unicodedata
from pathlib import Path
from typing import IO, Any

from disc.errors import BadInput, DiscError
from disc.listen.kept_recordings import SOUND_ENDINGS
from disc.photo.image import load_photo

PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".webp", ".bmp")
SCORE_ENDINGS = (".mid", ".midi", ".musicxml", ".xml", ".mxl", ".abc", ".krn")
TABLE_ENDINGS = (".csv", ".tsv", ".txt")
ENDINGS = {
    "photo": PHOTO_ENDINGS, "comb": PHOTO_ENDINGS, "recording": SOUND_ENDINGS, "score": SCORE_ENDINGS,
    "table": TABLE_ENDINGS,
}  # fmt: skip
# Unless said otherwise: chosen by hand, not measured.
LARGEST_BYTES = 80_000_000  # a 50-megapixel photograph as JPEG or HEIF, a minute of sound, with room to spare
LONGEST_STEM_BYTES = 120  # file systems take 255 bytes; endings and numbers are added
MOST_KEPT = 24  # files of one desk that no step has taken in; the oldest goes


_LOOK = threading.Lock()  # one picture at a time is unpacked, however many arrive


def arriving(folder: Path) -> IO[bytes]:
    """A file to write the pieces of an upload into."""
    return tempfile.NamedTemporaryFile(dir=folder, prefix="arriving-", delete=False)


def take(folder: Path, kind: str, name: str, arrived: Path) -> dict[str, Any]:
    """Keep an uploaded file aside. Returns {"token", "name", "width_px", "height_px"}. Raises BadInput."""
    plain = safe_name(name)
    ending = Path(plain).suffix.lower()
    if ending not in ENDINGS[kind]:
        raise BadInput(f"{plain}: a {kind} must end in one of {' '.join(ENDINGS[kind])}.")
    if not arrived.stat().st_size:
        raise BadInput(f"{plain}: the file is empty.")
    _make_room(folder)
    token = secrets.token_hex(8)
    path = folder / token / plain
    path.parent.mkdir()
    arrived.rename(path)
    told: dict[str, Any] = {"token": token, "name": plain}
    if kind in ("photo", "comb"):
        try:
            with _LOOK:
                photo = load_photo(path)
        except DiscError as error:
            shutil.rmtree(path.parent)
            raise BadInput(str(error).replace(str(path), plain)) from None
        told |= {"width_px": photo.width, "height_px": photo.height}
    return told


def safe_name(name: str) -> str:
    """A file's own name without folders: letters and digits of any script, and what every file system takes."""
    last = unicodedata.normalize("NFC", re.split(r"[/\\]", name)[-1])
    stem, dot, ending = re.sub(r"[^\w.-]+", "-", last).strip(".-").rpartition(".")
    while len(stem.encode()) > LONGEST_STEM_BYTES:
        stem = stem[1:]
    plain = f"{stem}{dot}{ending[-20:]}"
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


def _make_room(folder: Path) -> None:
    kept = sorted((path for path in folder.iterdir() if path.is_dir()), key=lambda path: path.stat().st_mtime)
    for old in kept[: max(0, len(kept) - MOST_KEPT + 1)]:
        shutil.rmtree(old, ignore_errors=True)
