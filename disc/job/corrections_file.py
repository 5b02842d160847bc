"""corrections.json: what a person changed, done and undone, read and written here and nowhere else."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from disc.job.corrections import Correction, with_kinds
from disc.job.stage import Stage
from disc.stored import Stored

CORRECTIONS_FILE = "corrections.json"


@dataclass(frozen=True, slots=True)
class _Corrections:
    done: tuple[Correction, ...]
    undone: tuple[Correction, ...] = ()


def _values_known(stored: _Corrections) -> None:
    for correction in (*stored.done, *stored.undone):
        with_kinds(correction)


CORRECTIONS: Stored[_Corrections] = Stored(
    "list of corrections",
    _Corrections,
    "Mend it in a text editor, or move it away to go on without corrections.",
    check=_values_known,
)


def stage_corrections(stage: Stage, done: tuple[Correction, ...], undone: tuple[Correction, ...]) -> None:
    """Stage corrections.json."""
    stage.write_text(CORRECTIONS_FILE, CORRECTIONS.text(_Corrections(done, undone)))


def load_corrections(path: Path) -> tuple[tuple[Correction, ...], tuple[Correction, ...]]:
    """corrections.json as (done, undone); both empty if there is no file. Raises BadInput if it is damaged."""
    found = CORRECTIONS.load(path) or _Corrections(())
    return tuple(map(with_kinds, found.done)), tuple(map(with_kinds, found.undone))
