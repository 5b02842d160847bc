"""Scores as reference tunes: the one way from what a file gives to what the library holds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from disc.errors import BadInput
from disc.library.records import ReferenceTune, TuneKey
from disc.tune.score.abc.read_abc import read_abc
from disc.tune.score.records import TICKS_PER_QUARTER, ScoreIn


def reference_of(score: ScoreIn, key: TuneKey, collection: str) -> ReferenceTune:
    """A score as the library holds it: whole ticks from its first note on, bars by their printed numbers.

    Raises BadInput for a note longer than can be counted.
    """
    rows = sorted(
        (round(note.onset_quarter * TICKS_PER_QUARTER), note.pitch, round(note.duration_quarter * TICKS_PER_QUARTER))
        for note in score.notes
    )
    try:
        table = np.array(rows, dtype=np.int64)
    except OverflowError as error:
        raise BadInput(f"{key}: the length of a note in it is out of all measure. Correct it in the score.") from error
    starts = np.array([round(bar.start_quarter * TICKS_PER_QUARTER) for bar in score.bars])
    numbers = np.array([int(bar.printed) if bar.printed.isdigit() else bar.number for bar in score.bars])
    bar = numbers[np.clip(np.searchsorted(starts, table[:, 0], side="right") - 1, 0, None)]
    return ReferenceTune(
        key, score.title or str(key), collection, table[:, 0] - table[0, 0], table[:, 2], table[:, 1], bar,
        (score.metre.beats, score.metre.unit), score.key.fifths if score.key else 0, score.composer,
    )  # fmt: skip


def first_part(score: ScoreIn) -> ScoreIn:
    """The score's first part alone."""
    return replace(score, notes=tuple(note for note in score.notes if note.part == 0))


def melody_part(score: ScoreIn) -> ScoreIn:
    """The part of the score that carries the tune, alone; a score of one part as it is."""
    if score.melody_part is None:
        return score
    return replace(score, notes=tuple(note for note in score.notes if note.part == score.melody_part))


def tunes_of_abc(text: str, file: str, collection: str) -> list[ReferenceTune]:
    """All tunes of an ABC text, of each its first voice. file: path within the collection, for the keys."""
    scores = [(tune.number, first_part(tune.score)) for tune in read_abc(text)]
    return [reference_of(score, TuneKey(file, number), collection) for number, score in scores if score.notes]
