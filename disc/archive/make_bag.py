"""A job to one BagIt bag (RFC 8493), written beside its place and renamed there whole."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata, resources
from pathlib import Path
from typing import Any

from disc import __version__
from disc.archive.crate import METADATA, metadata_text
from disc.archive.private_exif import blank_private
from disc.errors import BadInput, MissingPart
from disc.job import JOB_FILE, PHOTO_FOLDER, Job, open_job, sha256_of
from disc.job.journal import LOCK_FILE, STAGING_FOLDER, locked
from disc.job.schema import now_text
from disc.object.fields import BY_KEY
from disc.object.store import load_object
from disc.words import Advance, no_progress

CHECKSUMS = ["sha256", "sha512"]  # RFC 8493, 2.4: SHA-512 is what new bags should use; SHA-256 is the job's own
NOT_KEPT = frozenset({LOCK_FILE, STAGING_FOLDER})
VERSIONS = "versions.json"
PHOTOS = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".webp"})
# Libraries whose version may change a result.
LIBRARIES = ("numpy", "scipy", "opencv-python", "Pillow", "music21", "verovio", "typst", "soundfile", "av")


@dataclass(frozen=True, slots=True)
class Bag:
    """What was made: the bag's folder, how many files, their bytes, photographs whose place and serial were blanked."""

    folder: Path
    files: int
    size: int
    blanked: tuple[str, ...]


def make_bag(folder: Path, out: Path, private: bool = False, advance: Advance = no_progress) -> Bag:
    """Archive a job. private: leave place and serial numbers out of the photographs.

    Raises BadInput if `out` exists, lies in the job, or a file of the job is no plain file.
    """
    bagit = bag_library()
    job = open_job(folder)
    if out.exists():
        raise BadInput(f"{out}: there is something here already. Name another place with --out, or move it away.")
    if out.resolve().is_relative_to(folder.resolve()):
        raise BadInput(f"{out}: an archive cannot lie within the job it holds. Name another place with --out.")
    waiting = out.with_name(f".{out.name}.{os.getpid()}.tmp")
    shutil.rmtree(waiting, ignore_errors=True)
    try:
        with locked(folder):
            blanked = _gather(job, waiting, private, advance)
        when = now_text()
        info = {
            "Source-Organization": "not given",
            "External-Description": f"Pinned disc {folder.resolve().name}",
            "External-Identifier": load_object(job).get("number", folder.resolve().name),
            "Bagging-Date": when[:10],
            "Bag-Software-Agent": f"disc {__version__}",
        }
        advance(0.6, "checksums")
        bagit.make_bag(str(waiting), info, checksums=CHECKSUMS)
        files = [path for path in (waiting / "data").rglob("*") if path.is_file()]
        size = sum(path.stat().st_size for path in files)
        os.replace(waiting, out)
    except OSError as error:
        raise BadInput(
            f"{error.filename or out}: {error.strerror or error}. Check the place and its free room."
        ) from error
    finally:
        shutil.rmtree(waiting, ignore_errors=True)
    return Bag(out, len(files), size, blanked)


def bag_library() -> Any:
    """The library bagit, its own messages kept silent. Raises MissingPart if it is not installed."""
    try:
        import bagit
    except ImportError as error:
        raise MissingPart("the library bagit is not installed: pip install bagit, then run this again.") from error
    import logging

    logging.getLogger("bagit").setLevel(logging.CRITICAL)
    return bagit


def job_files(folder: Path) -> Iterator[str]:
    """The files of a job that are worth keeping, by name. Raises BadInput for a link, a pipe or a device."""
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if name.split("/")[0] in NOT_KEPT or (path.is_dir() and not path.is_symlink()):
            continue
        if path.is_symlink() or not path.is_file():
            raise BadInput(f"{path}: this is a link or no plain file; an archive holds files only. Put the file there.")
        yield name


def _gather(job: Job, root: Path, private: bool, advance: Advance) -> tuple[str, ...]:
    """Copy the job, the weights, versions and metadata under root; returns the photographs that were changed."""
    names = list(job_files(job.folder))
    blanked: dict[str, str] = {}
    for count, name in enumerate(names):
        advance(0.5 * count / max(len(names), 1), name)
        target = root / "job" / name
        target.parent.mkdir(parents=True, exist_ok=True)
        data = job.path(name).read_bytes()
        if private and name.startswith(f"{PHOTO_FOLDER}/") and target.suffix.lower() in PHOTOS:
            without = blank_private(data)
            if without != data:
                blanked[name] = sha256_of(job.path(name))
                data = without
        target.write_bytes(data)
    for folder in (PHOTO_FOLDER, "out"):
        (root / "job" / folder).mkdir(parents=True, exist_ok=True)
    if blanked:
        _say_new_digests(root / "job", blanked)
    weights = _weights(root / "weights")
    (root / VERSIONS).write_text(_versions(job, weights, blanked), encoding="utf-8")
    sheet = {key: words for key, words in load_object(job).items() if not BY_KEY[key].private}
    (root / METADATA).write_text(metadata_text(root, job, sheet, now_text()), encoding="utf-8")
    return tuple(blanked)


def _say_new_digests(folder: Path, blanked: dict[str, str]) -> None:
    """The archived job knows its photographs by what they are now; the old digests are in versions.json."""
    path = folder / JOB_FILE
    content = json.loads(path.read_text(encoding="utf-8"))
    for name in blanked:
        short = name.removeprefix(f"{PHOTO_FOLDER}/")
        if short in content.get("photos", {}):
            content["photos"][short] = sha256_of(folder / name)
    path.write_text(json.dumps(content, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _weights(folder: Path) -> dict[str, str]:
    """Copies of what was fitted and is used, with their SHA-256, by name within the program."""
    house = resources.files("disc")
    found = {}
    with resources.as_file(house) as root:
        for path in sorted(root.rglob("*")):
            if path.suffix in (".onnx", ".npz") or (path.suffix == ".json" and path.parent.name != "static"):
                name = path.relative_to(root).as_posix()
                (folder / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(path, folder / name)
                found[name] = sha256_of(path)
    return found


def _versions(job: Job, weights: dict[str, str], blanked: dict[str, str]) -> str:
    libraries = {}
    for name in LIBRARIES:
        try:
            libraries[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    content = {
        "program": __version__,
        "python": ".".join(map(str, sys.version_info[:3])),
        "libraries": libraries,
        "weights_sha256": weights,
        "versions_that_worked_on_the_job": sorted({run.version for run in job.content.runs}),
        "photographs_without_place_and_serial": blanked,
    }
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"
