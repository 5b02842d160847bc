"""What is worth how much when not everything can be kept: all weights of the arrangement, in one place.

The arranger adds up the worth of the notes it keeps and subtracts the breaks it makes; the largest sum wins. The worth
of a note is RANK * beat * length, times what is left of it when it is not played at its own pitch. All worths are whole
numbers (thousandths of a melody note), so that two solvers can be compared exactly. The figures are choices, no source:
they were set so that one melody note goes before three bass notes and a bass note before two inner ones.
"""

from __future__ import annotations

from fractions import Fraction

from disc.tune.score.records import Rank

UNIT = 1000  # a melody note of one beat, on a beat, at its own pitch
RANK = {Rank.MELODY: 1.0, Rank.BASS: 0.30, Rank.INNER: 0.12}

# Where in the bar a note falls: a missing downbeat is heard most.
DOWNBEAT, ON_BEAT, OFF_BEAT = 1.2, 1.0, 0.85
# A note's length against one beat: a long note is missed more, within these bounds.
SHORTEST_WORTH, LONGEST_WORTH = 0.85, 1.2

# What is left of a note played an octave (two octaves) away. In the bass the octave hardly matters.
FOLDED = {Rank.MELODY: (1.0, 0.60, 0.30), Rank.BASS: (1.0, 0.85, 0.70), Rank.INNER: (1.0, 0.75, 0.55)}
MOST_FOLD_OCTAVES = 2
# What is left when a chromatic note without a tooth takes the nearest pitch instead (one, two semitones off).
NEAREST = (1.0, 0.35, 0.15)
# The tune leaps to another octave between two of its notes: heard as a break of the line.
BREAK = 0.35
# Of two arrangements alike otherwise the one nearer to the key as written: cost of each semitone away from it.
FAR_KEY = 0.002


def note_worth(rank: Rank, onset_in_bar: Fraction, duration_quarter: Fraction, beat_quarter: Fraction) -> float:
    """Worth of a note at its own pitch, in units of UNIT (not yet rounded)."""
    if onset_in_bar == 0:
        place = DOWNBEAT
    else:
        place = ON_BEAT if onset_in_bar % beat_quarter == 0 else OFF_BEAT
    length = min(LONGEST_WORTH, max(SHORTEST_WORTH, 0.7 + 0.3 * float(duration_quarter / beat_quarter)))
    return UNIT * RANK[rank] * place * length
