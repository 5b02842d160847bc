"""What a person said of single notes, found again among the strikes of a reading.

Melody or accompaniment stands before any beat is read; an ornament is no strike proper and keeps no grid; a held note
may take its time out of the grid. The reader decides all that nobody said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.errors import BadInput
from disc.frame import FloatArray
from disc.records import Strike
from disc.tune.read.time.straighten import APART_S
from disc.tune.settings import NoteWord


@dataclass(frozen=True, slots=True)
class SaidNotes:
    """Strikes of a reading by index, in order of time, under each word that was said of them."""

    by_word: Mapping[NoteWord, frozenset[int]]

    def under(self, word: NoteWord) -> frozenset[int]:
        """The strikes of which this was said."""
        return self.by_word.get(word, frozenset())

    def voiced(self, melody: FloatArray) -> FloatArray:
        """Probabilities of being melody, shape (n,), with what was said of them certain."""
        told = melody.copy()
        told[sorted(self.under(NoteWord.MELODY))] = 1.0
        told[sorted(self.under(NoteWord.ACCOMPANIMENT))] = 0.0
        return told

    def graces(self, found: Mapping[int, int], is_melody: npt.NDArray[np.bool_]) -> dict[int, int]:
        """Grace notes and the note that each belongs to: those found, less what is a written note, and those said.

        One that was said belongs to the next note proper of its own voice; the last of a turn to the one before.
        Raises BadInput where none is left that is a note proper.
        """
        graces = {grace: note for grace, note in found.items() if grace not in self.under(NoteWord.WRITTEN)}
        said = self.under(NoteWord.ORNAMENT) - graces.keys()
        proper = [index for index in range(len(is_melody)) if index not in said and index not in graces]
        for grace in said:
            same = [index for index in proper if is_melody[index] == is_melody[grace]]
            if not same:
                raise BadInput(
                    "every note of one voice was said to be an ornament, and an ornament belongs to a note. "
                    "Take one back."
                )
            graces[grace] = next((index for index in same if index > grace), same[-1])
        return {grace: _proper(note, graces) for grace, note in graces.items()}

    def held_gaps(
        self, word: NoteWord, onset_s: FloatArray, kept: npt.NDArray[np.int64], is_melody: npt.NDArray[np.bool_]
    ) -> list[int]:
        """Gaps behind the notes of which this was said, by the strike before each, among the kept strikes.

        onset_s, is_melody: of all strikes; kept: those that a grid is fitted to, by index. Of several strikes before
        the next melody note, as of an accompaniment that goes on, the longest gap is meant.
        """
        return [gap for index in sorted(self.under(word)) if (gap := _gap_after(index, onset_s, kept, is_melody)) >= 0]


NOTHING_SAID = SaidNotes({})


def said_notes(notes: Sequence[tuple[int, NoteWord]], strikes: Sequence[Strike]) -> SaidNotes:
    """What was said of pins, of the strikes that they make; of pins that make none, nothing."""
    if not notes:
        return NOTHING_SAID
    index_of = {strike.pin_id: index for index, strike in enumerate(strikes) if strike.pin_id is not None}
    words = {word for _, word in notes}
    return SaidNotes(
        {word: frozenset(index_of[pin] for pin, said in notes if said is word and pin in index_of) for word in words}
    )


def _proper(note: int, graces: Mapping[int, int]) -> int:
    """The note proper at the end of what belongs to what; a note that an ornament leads to may be one itself."""
    seen: set[int] = set()
    while note in graces and note not in seen:
        seen.add(note)
        note = graces[note]
    return note


def _gap_after(index: int, onset_s: FloatArray, kept: npt.NDArray[np.int64], is_melody: npt.NDArray[np.bool_]) -> int:
    later = [i for i in kept.tolist() if is_melody[i] and onset_s[i] - onset_s[index] > APART_S]
    if not later:
        return -1
    to_s = onset_s[later[0]]
    inside = [n for n in range(len(kept) - 1) if onset_s[index] - APART_S <= onset_s[kept[n]] < to_s]
    inside = [n for n in inside if onset_s[kept[n + 1]] - onset_s[index] > APART_S]
    return max(inside, key=lambda n: float(onset_s[kept[n + 1]] - onset_s[kept[n]]), default=-1)
