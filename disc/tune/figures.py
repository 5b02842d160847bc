"""Strikes that were meant as one: rolled chords and grace notes, found by their haste before any grid is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray

IntArray = npt.NDArray[np.int64]

# A roll's notes follow each other faster than the notes of any run on a disc, and slower than a chord's setting errors.
# Common practice, no source.
ROLL_GAP_S = 0.075
LEAST_ROLL_S = 0.06
ROLL_NOTES = 3


@dataclass(frozen=True, slots=True)
class Rolls:
    """of: shape (n,), number of the roll each strike belongs to, -1 for none; members in order of time."""

    of: IntArray

    def anchored(self, onset_s: FloatArray, last: bool) -> FloatArray:
        """Onsets with every roll gathered at its last (or first) strike, shape (n,)."""
        made = onset_s.copy()
        for number in range(int(self.of.max(initial=-1)) + 1):
            members = np.flatnonzero(self.of == number)
            made[members] = onset_s[members[-1 if last else 0]]
        return made

    def single(self, last: bool) -> npt.NDArray[np.bool_]:
        """One strike of each roll and all others: what a grid is fitted to, shape (n,)."""
        keep = self.of < 0
        for number in range(int(self.of.max(initial=-1)) + 1):
            keep[np.flatnonzero(self.of == number)[-1 if last else 0]] = True
        return keep


def find_rolls(onset_s: FloatArray, pitch: FloatArray) -> Rolls:
    """Runs of three or more strikes in haste, each higher than the one before. onset_s in order."""
    of = np.full(len(onset_s), -1, dtype=np.int64)
    number, start = 0, 0
    for index in range(1, len(onset_s) + 1):
        broken = index == len(onset_s) or onset_s[index] - onset_s[index - 1] > ROLL_GAP_S
        if not broken and pitch[index] > pitch[index - 1]:
            continue
        long_enough = index - start >= ROLL_NOTES and onset_s[index - 1] - onset_s[start] > LEAST_ROLL_S
        if long_enough:
            of[start:index] = number
            number += 1
        start = index
    return Rolls(of)
