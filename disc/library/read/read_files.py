"""Files of tunes to printed tunes: the corpus as installed, and a person's own folders. Broken files are listed.

ABC is read by abc.py; everything else by tune/score, which reads safely. Of a score with several parts the
melody is kept for the index (the highest note of each onset), all its notes for the alignment.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from disc.errors import DiscError, MissingPart
from disc.library.read.reference import first_part, reference_of, tunes_of_abc
from disc.library.records import ReferenceTune, TuneKey
from disc.tune.score.old_text import decode_old

# Raise with every change that reads a file otherwise: libraries are then built anew.
READER_VERSION = 2
CORPUS_COLLECTIONS = ("airdsAirs", "essenFolksong", "miscFolk", "nottingham-dataset", "oneills1850", "ryansMammoth")
# Collections in several parts, of which the first is the melody: soprano of chorales, first violin of quartets, voice
# of songs, upper staff of piano pieces. Left out are masses and madrigals, where no part can be told to be the melody.
SCORE_COLLECTIONS = (
    "bach", "beach", "beethoven", "chopin", "corelli", "cpebach", "handel", "haydn", "johnson_j_r", "joplin",
    "leadSheet", "liliuokalani", "mozart", "schubert", "schumann_clara", "schumann_robert", "verdi", "weber",
)  # fmt: skip
ABC_SUFFIXES = frozenset({".abc"})
OTHER_SUFFIXES = frozenset({".mid", ".midi", ".xml", ".musicxml", ".mxl", ".krn", ".kern"})
LARGEST_ABC_BYTES = 50_000_000  # the largest of the corpus has 0.2 million; a file this long is something else
FILES_AT_ONCE = 24
WATCH_S = 1.0  # how often a worker looks whether its parent is still there
_File = tuple[Path, str, str, bool]  # path, name in keys, collection, whether its first part alone is read


@dataclass(frozen=True, slots=True)
class Source:
    """One collection: its name, the folder it lies in, and whether it is of the corpus.

    first_part: of its scores the first part alone is read.
    """

    name: str
    folder: Path
    corpus: bool = False
    first_part: bool = False

    def files(self) -> list[Path]:
        """Its score files, in order of their path."""
        wanted = ABC_SUFFIXES | OTHER_SUFFIXES
        if self.corpus:
            wanted = OTHER_SUFFIXES if self.first_part else ABC_SUFFIXES
        return sorted(path for path in self.folder.rglob("*") if path.suffix.lower() in wanted and path.is_file())

    def fingerprint(self) -> str:
        """Changes when a file is added, removed or changed, or when the reader is."""
        digest = hashlib.sha256(f"{READER_VERSION}".encode())
        for path in self.files():
            state = path.stat()
            digest.update(f"{path.relative_to(self.folder)}|{state.st_size}|{state.st_mtime_ns}\n".encode())
        return digest.hexdigest()

    def key_of(self, path: Path) -> str:
        """The file's name in keys: `essenFolksong/erk10.abc` in the corpus, the path within the folder elsewhere."""
        inside = path.relative_to(self.folder).as_posix()
        return f"{self.name}/{inside}"


@dataclass(frozen=True, slots=True)
class BrokenFile:
    """A file that could not be read, and why in one line."""

    path: str
    why: str


def corpus_sources(scores: bool = False) -> list[Source]:
    """The collections of the installed corpus; scores: those in several parts too.

    Raises MissingPart if it is not there. Does not import music21.
    """
    found = importlib.util.find_spec("music21")
    folders = list(found.submodule_search_locations or []) if found else []
    if not folders:
        raise MissingPart("the tunes of music21 are not installed. Run: pip install music21")
    corpus = Path(folders[0]) / "corpus"
    sources = [Source(name, corpus / name, corpus=True) for name in CORPUS_COLLECTIONS if (corpus / name).is_dir()]
    if not sources:
        raise MissingPart(
            f"{corpus}: no tunes there. Install music21 with its corpus: pip install --force-reinstall music21"
        )
    if scores:
        sources += [
            Source(name, corpus / name, corpus=True, first_part=True)
            for name in SCORE_COLLECTIONS
            if (corpus / name).is_dir()
        ]
    return sources


def read_sources(
    sources: Sequence[Source], advance: Callable[[float], None], workers: int = 2
) -> tuple[list[ReferenceTune], list[BrokenFile]]:
    """All tunes of the sources, in order of collection, file and place; and what could not be read."""
    files = [
        (path, source.key_of(path), source.name, source.first_part) for source in sources for path in source.files()
    ]
    batches = [files[i : i + FILES_AT_ONCE] for i in range(0, len(files), FILES_AT_ONCE)]
    tunes: list[ReferenceTune] = []
    broken: list[BrokenFile] = []
    for done, (read, faults) in enumerate(_each(batches, workers), start=1):
        tunes += read
        broken += faults
        advance(done / len(batches))
    return tunes, broken


def _each(batches: list[list[_File]], workers: int) -> Iterable[tuple[list[ReferenceTune], list[BrokenFile]]]:
    if workers <= 1 or len(batches) <= 1:
        yield from map(_read_batch, batches)
        return
    with ProcessPoolExecutor(workers, initializer=_end_with_parent, initargs=(os.getpid(),)) as pool:
        try:
            yield from pool.map(_read_batch, batches)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)  # stopped: what is not begun is not read
            raise


def _end_with_parent(parent: int) -> None:
    """Watch over the process that wanted the reading: a worker that waits for more would outlive it for ever."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(WATCH_S)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _read_batch(files: list[_File]) -> tuple[list[ReferenceTune], list[BrokenFile]]:
    tunes: list[ReferenceTune] = []
    broken: list[BrokenFile] = []
    for path, name, collection, alone in files:
        try:
            read = read_file(path, name, collection, alone)
        except (DiscError, OSError, ValueError, ArithmeticError, LookupError) as fault:
            why = " ".join(str(fault).split()).removeprefix(str(path)).lstrip(": ")
            broken.append(BrokenFile(str(path), why or type(fault).__name__))
            continue
        if read:
            tunes += read
        else:
            broken.append(BrokenFile(str(path), "no tune with notes in it"))
    return tunes, broken


def read_file(path: Path, name: str, collection: str, first_part_alone: bool = False) -> list[ReferenceTune]:
    """The tunes of one file. name: the file in keys. first_part_alone: of a score, that alone.

    Raises BadInput or OSError where it cannot be read.
    """
    if path.suffix.lower() in ABC_SUFFIXES:
        if path.stat().st_size > LARGEST_ABC_BYTES:
            raise ValueError(f"larger than {LARGEST_ABC_BYTES // 1_000_000} MB; split the file")
        data = path.read_bytes()
        if b"\0" in data[:4096]:
            raise ValueError("not a text file, although its name ends in .abc")
        return tunes_of_abc(decode_old(data), name, collection)
    from disc.tune.score.read_score import read_score

    scores = [(place, score) for place, score in enumerate(read_score(path), start=1)]
    if first_part_alone:
        scores = [(place, first_part(score)) for place, score in scores]
    return [reference_of(score, TuneKey(name, place), collection) for place, score in scores if score.notes]
