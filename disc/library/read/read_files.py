"""Files of tunes to printed tunes: the corpus as installed, and a person's own folders. Broken files are listed.

All files are read by tune/score, which reads safely. Of a score with several parts that which carries the tune is kept:
the voice of a song, the right hand of a piece (tune/score/lead.py), by its name first.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import stat
import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from disc.errors import BadInput, DiscError, MissingPart
from disc.library.read.reference import first_part, melody_part, reference_of, tunes_of_abc
from disc.library.records import ReferenceTune, TuneKey
from disc.tune.score.files.old_text import decode_old

# Raise with every change that reads a file otherwise: libraries are then built anew.
READER_VERSION = 4  # by definition
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
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
FILES_AT_ONCE, BYTES_AT_ONCE = 24, 150_000  # of one batch
WATCH_S = 1.0  # how often a worker looks whether its parent is still there


@dataclass(frozen=True, slots=True)
class FileState:
    """A file as it was when its collection was looked at: path, name in keys, size in bytes, time of change in ns."""

    path: Path
    key: str
    bytes: int
    changed_ns: int


@dataclass(frozen=True, slots=True)
class Source:
    """One collection: its name, the folder (or the single file) it is, and whether it is of the corpus.

    first_part: of its scores the first part alone is read.
    """

    name: str
    folder: Path
    corpus: bool = False
    first_part: bool = False

    def files(self) -> list[Path]:
        """Its score files, in order of their path."""
        return [one.path for one in self.states()]

    def states(self) -> list[FileState]:
        """Its files as they are now, in order of their path. Thousands are looked at whenever a library is opened."""
        wanted = ABC_SUFFIXES | OTHER_SUFFIXES
        if self.corpus:
            wanted = OTHER_SUFFIXES if self.first_part else ABC_SUFFIXES
        alone = self.folder.is_file()
        places = [(str(self.folder.parent), [], [self.folder.name])] if alone else os.walk(self.folder)
        root = str(self.folder.parent if alone else self.folder)
        found = []
        for place, _, names in places:
            for name in names:
                if os.path.splitext(name)[1].lower() in wanted:
                    found.append(os.path.join(place, name))
        states = []
        for path in sorted(found, key=lambda path: path.split(os.sep)):
            with suppress(OSError):  # a link that leads nowhere, or a file gone meanwhile
                state = os.stat(path)
                if stat.S_ISREG(state.st_mode):
                    key = f"{self.name}/{path[len(root) :].lstrip(os.sep).replace(os.sep, '/')}"
                    states.append(FileState(Path(path), key, state.st_size, state.st_mtime_ns))
        return states


def fingerprint(states: Sequence[FileState]) -> str:
    """Changes when a file is added, removed or changed, or when the reader is."""
    digest = hashlib.sha256(f"{READER_VERSION}".encode())
    for one in states:
        digest.update(f"{one.key}|{one.bytes}|{one.changed_ns}\n".encode())
    return digest.hexdigest()


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


@dataclass(frozen=True, slots=True)
class Wanted:
    """A file to be read, for its collection."""

    state: FileState
    source: Source


@dataclass(frozen=True, slots=True, eq=False)
class FileRead:
    """What one file gave: its tunes, or why there are none."""

    state: FileState
    tunes: tuple[ReferenceTune, ...]
    why: str = ""


def read_files(wanted: Sequence[Wanted], workers: int = 2) -> Iterator[list[FileRead]]:
    """The files in their order, batch by batch, on several processes. Raises BadInput where one of these is ended."""
    batches = _batches(wanted)
    if workers <= 1 or len(batches) <= 1:
        yield from map(_read_batch, batches)
        return
    with ProcessPoolExecutor(workers, initializer=_end_with_parent, initargs=(os.getpid(),)) as pool:
        try:
            yield from pool.map(_read_batch, batches)
        except BrokenProcessPool as fault:
            raise BadInput(
                "a process that read tunes was ended from outside (is there too little memory?). Run the command "
                "again: what was read is kept."
            ) from fault
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)  # stopped: what is not begun is not read
            raise


def _batches(wanted: Sequence[Wanted]) -> list[list[Wanted]]:
    """Few files at once, and fewer large ones: a bar that moves, and little to be read again after a stop."""
    batches: list[list[Wanted]] = [[]]
    for one in wanted:
        if batches[-1] and sum(other.state.bytes for other in batches[-1]) + one.state.bytes > BYTES_AT_ONCE:
            batches.append([])
        batches[-1].append(one)
        if len(batches[-1]) >= FILES_AT_ONCE:
            batches.append([])
    return [batch for batch in batches if batch]


def _end_with_parent(parent: int) -> None:
    """Watch over the process that wanted the reading: a worker that waits for more would outlive it for ever."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(WATCH_S)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _read_batch(batch: Sequence[Wanted]) -> list[FileRead]:
    return [_read_one(one) for one in batch]


def _read_one(wanted: Wanted) -> FileRead:
    state, source = wanted.state, wanted.source
    try:
        read = read_file(state.path, state.key, source.name, source.first_part)
    except (DiscError, OSError, ValueError, ArithmeticError, LookupError) as fault:
        why = " ".join(str(fault).split()).removeprefix(str(state.path)).lstrip(": ")
        return FileRead(state, (), why or type(fault).__name__)
    return FileRead(state, tuple(read), "" if read else "no tune with notes in it")


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
    taken = first_part if first_part_alone else melody_part
    scores = [(place, taken(score)) for place, score in scores]
    return [reference_of(score, TuneKey(name, place), collection) for place, score in scores if score.notes]
