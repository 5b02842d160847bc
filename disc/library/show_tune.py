"""A tune of the library to look at and to hear: its print as SVG and PDF, its sound as a comb would give it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from disc.errors import BadInput
from disc.library.index.tune_index import Index
from disc.library.over_print import print_alone
from disc.library.records import ReferenceTune, TuneKey
from disc.library.search.asked.query import NORMAL_QUARTER_S
from disc.records import Strike
from disc.tune.write.sound import render_strikes, wav_bytes

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
LONGEST_NAME = 60  # characters


@dataclass(frozen=True, slots=True)
class ShownTune:
    """What was made of a tune."""

    tune: ReferenceTune
    files: tuple[Path, ...]


def key_of(text: str, option: str = "") -> TuneKey:
    """A tune's key as a person types it. Raises BadInput. option: what to call it in words."""
    file, _, number = text.rpartition(":")
    if not file or not number.strip().isdigit():
        raise BadInput(f"{option}{text}: give file:number, e.g. essenFolksong/erk10.abc:580.")
    return TuneKey(file, int(number))


def show_tune(index: Index, key: TuneKey, folder: Path) -> ShownTune:
    """Write the tune's print and sound into a folder. Raises BadInput where the library has no such tune."""
    number = index.tune_of(key)
    if number is None:
        raise BadInput(f"{key}: no such tune in the library. Look for it by its title: disc library find WORDS")
    tune = index.reference(number)
    name = re.sub(r"[^\w]+", "-", tune.title).strip("-").lower()[:LONGEST_NAME] or "tune"
    svg, pdf = print_alone(tune)
    content = {"svg": svg, "pdf": pdf, "wav": wav_bytes(render_strikes(_strikes(tune)))}
    files = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for suffix, data in content.items():
            path = folder / f"{name}.{suffix}"
            path.write_bytes(data)
            files.append(path)
    except OSError as fault:
        raise BadInput(f"{folder}: the tune cannot be written there ({fault.strerror or fault}).") from fault
    return ShownTune(tune, tuple(files))


def _strikes(tune: ReferenceTune) -> list[Strike]:
    """The tune at a quarter of half a second, a tooth for each pitch."""
    onset_s = tune.onset_quarter * NORMAL_QUARTER_S
    return [Strike(0.0, float(at), int(p), float(p)) for at, p in zip(onset_s, tune.pitch, strict=True)]
