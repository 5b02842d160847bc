"""Rolled chords, the melody and its ornaments, told before any grid is known.

Voices are told apart by which strikes sound together; a small note that stands close before its own and above it makes
them take that one for accompaniment, so that they are told apart once more when the small notes are found.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.tune.read.model import Model
from disc.tune.read.said_notes import NOTHING_SAID, SaidNotes
from disc.tune.read.time.step_grid import StepGrid, find_grids
from disc.tune.read.voices.figures import Rolls, find_rolls
from disc.tune.read.voices.ornaments import (
    LEAST_MELODY,
    Ornament,
    ornaments_of,
    quick_groups,
    told_from_written,
    with_leading,
)
from disc.tune.read.voices.small_notes import small_notes, upper_line
from disc.tune.read.voices.voices import melody_probability

# Fewer strikes than this make no beat that could be told from chance; by hand, on development tunes.
FEWEST_STRIKES = 8


@dataclass(frozen=True, slots=True)
class Figures:
    """What is told before any grid. rolls: of all strikes; melody: probabilities; graces: by index, the note each leads
    to; proper: shape (n,), all strikes but grace notes.
    """

    rolls: Rolls
    melody: FloatArray
    graces: Mapping[int, int]
    proper: npt.NDArray[np.bool_]


def find_figures(
    onset_s: FloatArray, pitch: FloatArray, model: Model, quarter_s: float | None, said: SaidNotes = NOTHING_SAID
) -> Figures:
    """Rolls, melody and ornaments of a turn. onset_s in order, shape (n,) each."""
    rolls = find_rolls(onset_s, pitch)
    anchored_s = rolls.anchored(onset_s, last=True)
    melody = said.voiced(melody_probability(anchored_s, pitch, model.voices))
    if quarter_s is not None:  # what is written is known then, and the rest is ornament
        groups = told_from_written(_quick_groups(onset_s, pitch, melody, rolls), onset_s, quarter_s)
    else:
        line, grid = line_on_grid(onset_s, pitch, melody, rolls)
        groups = ornaments_of(onset_s, pitch, line, small_notes(onset_s, pitch, melody, line, grid))
    graces = said.graces({index: group.note for group in groups for index in group.graces}, melody > 0.5)
    proper = np.ones(len(onset_s), dtype=bool)
    proper[list(graces)] = False
    if graces:  # a small note that stands close above its own had it taken for accompaniment
        melody = melody.copy()
        melody[proper] = melody_probability(anchored_s[proper], pitch[proper], model.voices)
        for grace, note in graces.items():
            melody[grace] = melody[note]
        melody = said.voiced(melody)
    return Figures(rolls, melody, graces, proper)


def line_on_grid(
    onset_s: FloatArray, pitch: FloatArray, melody: FloatArray, rolls: Rolls
) -> tuple[npt.NDArray[np.int64], StepGrid]:
    """(the strikes that may be small notes or their notes, by index; the grid without what looks like ornaments)."""
    single = rolls.single(last=True)
    steady = single.copy()
    steady[[index for group in _quick_groups(onset_s, pitch, melody, rolls) for index in group.graces]] = False
    grid = find_grids(onset_s[steady] if steady.sum() >= FEWEST_STRIKES else onset_s)[0]
    return upper_line(onset_s, pitch, melody, single), grid


def _quick_groups(onset_s: FloatArray, pitch: FloatArray, melody: FloatArray, rolls: Rolls) -> list[Ornament]:
    alone = rolls.of < 0
    may_be = with_leading(onset_s, pitch, (melody > 0.5) & alone, melody > LEAST_MELODY) & alone
    return quick_groups(onset_s, pitch, may_be)
