"""Strikes that were meant as one: rolled chords, found by their haste before any grid is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.tune.read.beat.quantise import FASTEST_PARTS

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

# A roll's notes follow each other faster than the notes of any run on a disc, 20 to 60 ms on the mean; setting errors
# may part two of them further. Common practice, no source.
MEAN_ROLL_GAP_S, ROLL_GAP_S = 0.075, 0.125
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# Chords that were meant as one spread less than this by setting errors alone: four errors of 15 ms.
LEAST_ROLL_S = 0.06
ROLL_NOTES = (3, 7)  # fewest and most of a rolled chord; common practice, no source
FOLLOWED_S = 0.1  # a chain that the next note follows so soon is part of a run; chosen by hand
SKIPPED = 2  # strikes of another voice that may fall among a roll's
# Where the quarter is known: how much better (nats) a chain must stand on the places of the fastest written notes than
# anywhere to be written out and not rolled. On 20 melodies of the held-out half with rolled chords and their quarter
# given (bench/truth/tune_strikes.py, errors of 15 ms), 2 takes .024 of the true rolls for written notes: spread as
# evenly as thirty-seconds, they could be. 0 took .23 of twelve others.
WRITTEN_NATS = 2.0

# Of the intervals of a rolled chord this share at most are seconds: more make it a slide or a turn.
MOST_SECONDS = 0.34
TINY = 1e-300  # the logarithm of nothing; chosen, near the least a float holds


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

    def single(self, last: bool) -> BoolArray:
        """One strike of each roll and all others: what a grid is fitted to, shape (n,)."""
        keep = self.of < 0
        for number in range(int(self.of.max(initial=-1)) + 1):
            keep[np.flatnonzero(self.of == number)[-1 if last else 0]] = True
        return keep

    def without_written(self, onset_s: FloatArray, quarter_s: float, start_s: float, sigma_s: float) -> Rolls:
        """Only the rolls that are no fast notes of known places: quarters from start_s, with errors of sigma_s.

        A designed disc sets every note where it is written, so that a run of thirty-seconds looks like a roll. Errors
        as wide as the places are dense can tell nothing, and then all rolls stay.
        """
        of = self.of.copy()
        for number in range(int(self.of.max(initial=-1)) + 1):
            members = onset_s[self.of == number]
            if max(_gain(members, quarter_s / parts, start_s, sigma_s) for parts in FASTEST_PARTS) > WRITTEN_NATS:
                of[self.of == number] = -1
        numbers = np.unique(of[of >= 0])
        return Rolls(np.where(of >= 0, np.searchsorted(numbers, of), -1))


def _gain(onset_s: FloatArray, step_s: float, start_s: float, sigma_s: float) -> float:
    """Nats by which strikes stand on the places of a grid rather than anywhere."""
    off_s = (onset_s - start_s + step_s / 2) % step_s - step_s / 2
    density = np.exp(-0.5 * (off_s / sigma_s) ** 2) * step_s / (sigma_s * np.sqrt(2 * np.pi))
    return float(np.log(np.maximum(density, TINY)).sum())


def find_rolls(onset_s: FloatArray, pitch: FloatArray) -> Rolls:
    """Chains of three or more strikes in haste, each higher than the one before, the longest first. onset_s in order.

    Strikes of another voice, which do not rise with the chain, may fall among them.
    """
    of = np.full(len(onset_s), -1, dtype=np.int64)
    chains = [_chain_up_to(last, onset_s, pitch) for last in range(len(onset_s))]
    chains = [c for c in chains if len(c) >= ROLL_NOTES[0] and onset_s[c[-1]] - onset_s[c[0]] >= LEAST_ROLL_S]
    chains = [c for c in chains if (np.diff(pitch[c]) <= 2).mean() <= MOST_SECONDS]
    number = 0
    for chain in sorted(chains, key=lambda c: (-len(c), c)):
        if (of[chain] < 0).all():
            of[chain] = number
            number += 1
    return Rolls(of) if not _is_run(onset_s, of) else Rolls(np.full(len(onset_s), -1, dtype=np.int64))


def _is_run(onset_s: FloatArray, of: IntArray) -> bool:
    """Whether the chains are pieces of a fast figure that goes on, not chords: most are followed in the same haste."""
    ends = [int(np.flatnonzero(of == number)[-1]) for number in range(int(of.max(initial=-1)) + 1)]
    followed = [onset_s[end + 1] - onset_s[end] < FOLLOWED_S for end in ends if end + 1 < len(onset_s)]
    return len(followed) >= 4 and sum(followed) > len(followed) / 2


def _chain_up_to(last: int, onset_s: FloatArray, pitch: FloatArray) -> list[int]:
    chain, skipped = [last], 0
    for index in range(last - 1, -1, -1):
        if onset_s[chain[0]] - onset_s[index] > ROLL_GAP_S or len(chain) == ROLL_NOTES[1]:
            break
        if pitch[index] < pitch[chain[0]]:
            chain.insert(0, index)
        elif (skipped := skipped + 1) > SKIPPED:
            break
    while len(chain) > 1 and onset_s[last] - onset_s[chain[0]] > MEAN_ROLL_GAP_S * (len(chain) - 1):
        chain.pop(0)
    return chain


def gather_stragglers(
    places: Sequence[Fraction], onset_s: FloatArray, pitch: FloatArray, is_low: BoolArray, rolls: Rolls, beat: Fraction
) -> tuple[list[Fraction], Rolls]:
    """Places and rolls once the low notes that strike in haste before a beat's higher note are counted as its chord.

    A roll that setting errors have drawn out is no chain of haste any more; its low notes then stand by themselves, a
    short value before the beat, on which nothing low is struck. is_low: accompaniment, not melody or ornament.
    """
    made, of = list(places), rolls.of.copy()
    for i in reversed(range(len(made))):
        own = np.flatnonzero(of == of[i]) if of[i] >= 0 else np.array([i])
        if i != own[-1] or not is_low[own].all() or made[i] % (beat / 2) == 0:
            continue
        near = [j for j in range(i + 1, len(made)) if onset_s[j] - onset_s[i] <= ROLL_GAP_S]
        tops = [j for j in near if pitch[j] > pitch[i] and made[j] % beat == 0 and 0 < made[j] - made[i] < beat / 2]
        if not tops:
            continue
        chord = {j for j in near if of[j] >= 0 and of[j] == of[tops[0]]} | {tops[0], *own.tolist()}
        if _stands_there(i, tops[0], chord, made, onset_s, is_low):
            continue
        number = of[tops[0]] if of[tops[0]] >= 0 else int(of.max(initial=-1)) + 1
        for member in own.tolist():
            made[member] = made[tops[0]]
        of[[*own.tolist(), tops[0]]] = number
    return made, Rolls(of)


def _stands_there(
    i: int, top: int, chord: set[int], places: Sequence[Fraction], onset_s: FloatArray, is_low: BoolArray
) -> bool:
    """Whether a low note belongs where it is: a melody note is struck there, or a low one not of the chord on the beat
    itself.
    """
    around = [j for j in range(len(places)) if abs(onset_s[j] - onset_s[i]) < 2 * ROLL_GAP_S]
    others = [j for j in around if j != i and j not in chord]
    beside = any(places[j] == places[i] and not is_low[j] for j in others)
    on_beat = any(
        places[j] == places[top] and is_low[j] and onset_s[j] >= onset_s[top] - LEAST_ROLL_S / 2 for j in others
    )
    return beside or on_beat
