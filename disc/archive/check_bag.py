"""An archive bag held against its own checksums, and the job taken out of it again.

The library checks what RFC 8493 asks for; beyond it a bag of ours must have both tag manifests, so that no list can be
exchanged unseen, hold nothing at its top that no list names, hold no links, and agree with its RO-Crate metadata. What
the tag manifests name is digested here as well: the library leaves it out in a bag that calls itself older than 0.97.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from pathlib import Path

from disc.archive.crate import METADATA
from disc.archive.make_bag import CHECKSUMS, bag_library
from disc.errors import BadInput
from disc.job import JOB_FILE, OUT_FOLDER, PHOTO_FOLDER, open_job, sha256_of
from disc.words import Advance, no_progress

TAG_FILES = frozenset({"bagit.txt", "bag-info.txt", *(f"manifest-{name}.txt" for name in CHECKSUMS)})
MOST_TOLD = 5  # damages named one by one; chosen by hand


def damages(bag: Path, advance: Advance = no_progress) -> tuple[str, ...]:
    """What is wrong with a bag, a sentence each; empty if it is whole. Raises BadInput if it is no bag at all."""
    if not bag.is_dir() or not (bag / "bagit.txt").is_file():
        raise BadInput(f"{bag}: this is no archive bag (no bagit.txt). Give the folder that disc archive wrote.")
    found = [*_links(bag), *_tag_files(bag)]
    if not any(line.startswith("a link") for line in found):  # do not follow one out of the bag
        advance(0.2, "checksums")
        found += _by_library(bag)
        advance(0.9, "metadata")
        found += _by_metadata(bag)
    return tuple(dict.fromkeys(found))


def verify(bag: Path, advance: Advance = no_progress) -> int:
    """How many files the whole bag holds. Raises BadInput that names what is damaged."""
    found = damages(bag, advance)
    if found:
        more = f"; and {len(found) - MOST_TOLD} more" if len(found) > MOST_TOLD else ""
        raise BadInput(f"{bag}: damaged: {'; '.join(found[:MOST_TOLD])}{more}. Take another copy of the archive.")
    return sum(path.is_file() for path in (bag / "data").rglob("*"))


def restore(bag: Path, out: Path, advance: Advance = no_progress) -> Path:
    """The job of a whole bag as a new folder, bit for bit. Raises BadInput if the bag is damaged or `out` exists."""
    verify(bag, advance)
    if out.exists():
        raise BadInput(f"{out}: there is something here already. Name another folder.")
    source = bag / "data" / "job"
    if not (source / JOB_FILE).is_file():
        raise BadInput(f"{bag}: it holds no job. Was it made by another program?")
    waiting = out.with_name(f".{out.name}.{os.getpid()}.tmp")
    try:
        shutil.copytree(source, waiting)
        for folder in (PHOTO_FOLDER, OUT_FOLDER):
            (waiting / folder).mkdir(exist_ok=True)
        for path in source.rglob("*"):
            if path.is_file() and sha256_of(path) != sha256_of(waiting / path.relative_to(source)):
                raise BadInput(f"{out}: a file did not arrive whole ({path.name}). Try another disk.")
        os.replace(waiting, out)
    except OSError as error:
        raise BadInput(
            f"{error.filename or out}: {error.strerror or error}. Check the place and its free room."
        ) from error
    finally:
        shutil.rmtree(waiting, ignore_errors=True)
    open_job(out)
    return out


def _links(bag: Path) -> list[str]:
    return [f"a link stands for {_short(path, bag)}" for path in bag.rglob("*") if path.is_symlink()]


def _tag_files(bag: Path) -> list[str]:
    """Lists that must be there, and files beside them that no list names."""
    found, named = [], {"data"}
    for algorithm in CHECKSUMS:
        for name in (f"manifest-{algorithm}.txt", f"tagmanifest-{algorithm}.txt"):
            named.add(name)
            if not (bag / name).is_file():
                found.append(f"{name} is missing")
        try:
            lines = (bag / f"tagmanifest-{algorithm}.txt").read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError):
            found.append(f"tagmanifest-{algorithm}.txt cannot be read")
            continue
        entries = [line.split(maxsplit=1) for line in lines if len(line.split(maxsplit=1)) == 2]
        named |= {name.split("/")[0] for _, name in entries}
        found += [f"{name} has changed" for digest, name in entries if _has_changed(bag, name, algorithm, digest)]
    found += [f"{path.name} is in no list" for path in sorted(bag.iterdir()) if path.name not in named]
    return found


def _has_changed(bag: Path, name: str, algorithm: str, digest: str) -> bool:
    """Whether a tag file, which lies at the bag's top and is small, is not what its list says."""
    path = bag / name
    if name not in TAG_FILES or not path.is_file():
        return False  # the library says so
    with path.open("rb") as file:
        return hashlib.file_digest(file, algorithm).hexdigest() != digest.lower()


def _by_library(bag: Path) -> list[str]:
    bagit = bag_library()
    try:
        bagit.Bag(str(bag)).validate(processes=1)
    except Exception as error:  # the library raises many kinds for a damaged list
        details = getattr(error, "details", None) or [error]
        return [" ".join(str(detail).split())[:200] for detail in details]
    return []


def _by_metadata(bag: Path) -> list[str]:
    """Files against the RO-Crate metadata: each is named there, with its size and digest."""
    data = bag / "data"
    try:
        graph = json.loads((data / METADATA).read_text(encoding="utf-8"))["@graph"]
        said = {str(e["@id"]): (str(e["contentSize"]), str(e["sha256"])) for e in graph if e.get("@type") == "File"}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        return [f"{METADATA} cannot be read ({type(error).__name__})"]
    there = {path.relative_to(data).as_posix(): path for path in data.rglob("*") if path.is_file()}
    there.pop(METADATA, None)
    found = [f"{name} is not in the metadata" for name in sorted(there.keys() - said.keys())]
    found += [f"{name} is gone" for name in sorted(said.keys() - there.keys())]
    for name in sorted(said.keys() & there.keys()):
        # The size first: a file of another size is not read, however large it has become.
        size, digest = said[name]
        if str(there[name].stat().st_size) != size or sha256_of(there[name]) != digest:
            found.append(f"{name} has changed")
    return found


def _short(path: Path, bag: Path) -> str:
    return path.relative_to(bag).as_posix()
