"""A seeded choice of tunes from the corpus that music21 ships, for the tests and the bench."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np

from disc.errors import BadInput
from disc.tune.score.abc.read_abc import split_abc
from disc.tune.score.read_score import read_score
from disc.tune.score.records import ScoreIn

# Folk and dance tunes of one line, and settings in parts. Places in the corpus folder; every file holds one or many.
ONE_LINE = ("airdsAirs", "essenFolksong", "oneills1850", "ryansMammoth")
IN_PARTS = ("bach", "schumann_clara", "mozart", "haydn", "trecento", "monteverdi", "corelli", "weber")
LARGEST_MXL, LARGEST_TEXT = 30_000, 300_000  # bytes
READABLE = {".abc", ".mxl", ".krn", ".musicxml", ".mid"}


def corpus_folder() -> Path:
    import music21

    return Path(music21.__file__).parent / "corpus"


def choose_tunes(count: int, rng: np.random.Generator, in_parts: float = 0.3) -> list[ScoreIn]:
    """Tunes of at least eight notes, a share in_parts of them in several parts; same generator, same tunes."""
    folder = corpus_folder()
    single, several = _files(folder, ONE_LINE), _files(folder, IN_PARTS)
    chosen: list[ScoreIn] = []
    while len(chosen) < count:
        files = several if len(chosen) < in_parts * count else single
        path, place = files[int(rng.integers(len(files)))], rng.random()
        try:
            tune = _one_of(path, place)
        except BadInput:
            continue
        if len(tune.notes) >= 8:
            chosen.append(tune)
    return chosen


def _one_of(path: Path, place: float) -> ScoreIn:
    """The only tune of a file; of an ABC collection the one at this place, 0 to 1, read alone to save time."""
    if path.suffix != ".abc":
        return read_score(path)[0]
    texts = split_abc(path.read_text(encoding="utf-8", errors="replace"))
    with tempfile.TemporaryDirectory() as folder:
        alone = Path(folder) / path.name
        alone.write_text(texts[int(place * len(texts))], encoding="utf-8")
        return read_score(alone)[0]


def _files(folder: Path, names: tuple[str, ...]) -> list[Path]:
    """Readable files of some collections, in order. Whole movements are left out: reading them takes seconds, and
    whether one is refused for its time would depend on the machine."""
    found = (p for name in names for p in (folder / name).rglob("*") if p.suffix in READABLE)
    return sorted(p for p in found if p.stat().st_size <= (LARGEST_MXL if p.suffix == ".mxl" else LARGEST_TEXT))
