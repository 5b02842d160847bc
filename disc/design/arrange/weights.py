"""What is worth how much when not everything can be kept: all weights of the arrangement, in one place.

The arranger adds up the worth of the notes it keeps and subtracts the breaks it makes; the largest sum wins. The worth
of a note is rank * beat * length, times what is left of it when it is not played at its own pitch. All worths are whole
numbers (thousandths of a melody note), so that two solvers can be compared exactly. The figures are choices, no source:
they were set so that one melody note goes before three bass notes and a bass note before two inner ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from disc.design.settings import Prefer
from disc.tune.score.records import Rank

UNIT = 1000  # a melody note of one beat, on a beat, at its own pitch; chosen: whole numbers for the solver

# Unless said otherwise: chosen by hand, not measured.
# Where in the bar a note falls: a missing downbeat is heard most.
DOWNBEAT, ON_BEAT, OFF_BEAT = 1.2, 1.0, 0.85
# A note's length against one beat: a long note is missed more, within these bounds.
SHORTEST_WORTH, LONGEST_WORTH = 0.85, 1.2

MOST_FOLD_OCTAVES = 2  # chosen by hand
# What is left when a chromatic note without a tooth takes the nearest pitch instead (one, two semitones off).
NEAREST = (1.0, 0.35, 0.15)
# Of two arrangements alike otherwise the one nearer to the key as written: cost of each semitone away from it.
FAR_KEY = 0.002


# A note of the bars to be kept before all others: one inner note there goes before a whole bar of melody elsewhere.
KEPT_FIRST = 40.0


# A small note of an ornament, chosen by hand: less than an inner note's, for no note of the tune gives way to it. It
# lies in the octave of the note it leads to, wherever that lies, at the same worth.
ORNAMENT = 0.10
AT_NOTE = (1.0, 1.0, 1.0)  # as said above


@dataclass(frozen=True, slots=True)
class ArrangeWeights:
    """rank: a note's worth by what it is. folded: what is left of it one and two octaves away (in the bass the octave
    hardly matters). broken: cost of a leap of the tune to another octave between two of its notes, heard as a break.
    """

    rank: Mapping[Rank, float]
    folded: Mapping[Rank, tuple[float, ...]]
    broken: float


def _ranks(bass: float, inner: float) -> dict[Rank, float]:
    """What notes are worth by what they are, against one of the melody."""
    return {Rank.MELODY: 1.0, Rank.BASS: bass, Rank.INNER: inner, Rank.ORNAMENT: ORNAMENT}


# Chosen by hand, no source: a tune lives by its melody; the bass carries the harmony, inner voices fill.
USUAL = ArrangeWeights(
    _ranks(0.30, 0.12),
    {
        Rank.MELODY: (1.0, 0.60, 0.30),
        Rank.BASS: (1.0, 0.85, 0.70),
        Rank.INNER: (1.0, 0.75, 0.55),
        Rank.ORNAMENT: AT_NOTE,
    },
    0.35,
)
# What a person may put first. Melody: the rest counts half, a broken line double. Harmony: three inner notes go before
# one of the melody. Bass: two bass notes do. Range: a note in another octave is little better than none.
BY_PREFERENCE = {
    None: USUAL,
    Prefer.MELODY: replace(USUAL, rank=_ranks(0.15, 0.06), broken=0.70),
    Prefer.HARMONY: replace(USUAL, rank=_ranks(0.45, 0.40)),
    Prefer.BASS: replace(USUAL, rank=_ranks(0.60, 0.12)),
    Prefer.RANGE: replace(
        USUAL,
        folded={
            Rank.MELODY: (1.0, 0.15, 0.05),
            Rank.BASS: (1.0, 0.30, 0.15),
            Rank.INNER: (1.0, 0.15, 0.05),
            Rank.ORNAMENT: AT_NOTE,
        },
        broken=0.70,
    ),
}


def note_worth(
    weight: float, onset_in_bar: Fraction, duration_quarter: Fraction, beat_quarter: Fraction, first: bool = False
) -> float:
    """Worth of a note at its own pitch, in units of UNIT (not yet rounded). weight: of its rank; first: in a bar that
    is to be kept before others.
    """
    if onset_in_bar == 0:
        place = DOWNBEAT
    else:
        place = ON_BEAT if onset_in_bar % beat_quarter == 0 else OFF_BEAT
    length = min(LONGEST_WORTH, max(SHORTEST_WORTH, 0.7 + 0.3 * float(duration_quarter / beat_quarter)))
    return UNIT * weight * place * length * (KEPT_FIRST if first else 1.0)
