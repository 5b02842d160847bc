"""A seeded choice of tunes from the corpus that music21 ships, for the tests and the bench."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from disc.errors import BadInput
from disc.tune.score_in import read_score
from disc.tune.score_records import ScoreIn

# Folk and dance tunes of one line, and settings in parts. Places in the corpus folder; every file holds one or many.
ONE_LINE = ("airdsAirs", "essenFolksong", "oneills1850", "ryansMammoth")
IN_PARTS = ("bach", "schumann_clara", "mozart", "haydn", "trecento", "monteverdi", "corelli", "weber")
READABLE = {".abc", ".mxl", ".krn", ".musicxml", ".mid"}


def corpus_folder() -> Path:
    import music21

    return Path(music21.__file__).parent / "corpus"


def choose_tunes(count: int, rng: np.random.Generator, in_parts: float = 0.3) -> list[ScoreIn]:
    """Tunes of at least eight notes, a share in_parts of them in several parts; same generator, same tunes."""
    folder = corpus_folder()
    single = sorted(p for name in ONE_LINE for p in (folder / name).rglob("*") if p.suffix in READABLE)
    several = sorted(p for name in IN_PARTS for p in (folder / name).rglob("*") if p.suffix in READABLE)
    chosen: list[ScoreIn] = []
    read: dict[Path, tuple[ScoreIn, ...]] = {}
    while len(chosen) < count:
        files = several if len(chosen) < in_parts * count else single
        path = files[int(rng.integers(len(files)))]
        try:
            if path not in read:
                read[path] = read_score(path)
        except BadInput:
            continue
        tunes = read[path]
        tune = tunes[int(rng.integers(len(tunes)))]
        if len(tune.notes) >= 8:
            chosen.append(tune)
    return chosen
