"""What is asked of a library: what a disc plays, in order of time, with what is known of its pitches."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from disc.errors import BadInput
from disc.library.records import FloatArray, IntArray

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
FEWEST_STRIKES = 5  # fewer cannot tell one tune of thousands from another
MOST_STRIKES = 2000  # a disc of this kind has 50 to 300 pins; common practice, no source
NORMAL_QUARTER_S = 0.5  # a quarter at 120 a minute, against which tempo ratios are given


@dataclass(frozen=True, slots=True, eq=False)
class Query:
    """What a disc plays: onsets in seconds, ascending, and either pitches (MIDI) or ranks of the teeth, shape (n,).

    timed: whether the onsets are known; else they only give the order. contour: of the pitches only their rise and fall
    is known (Parsons, The Directory of Tunes, 1975), and all are of the melody.
    """

    onset_s: FloatArray
    pitch: FloatArray | None = None
    rank: IntArray | None = None
    timed: bool = True
    contour: bool = False

    def part(self, strikes: IntArray) -> Query:
        """These strikes alone."""
        pitch = None if self.pitch is None else self.pitch[strikes]
        rank = None if self.rank is None else self.rank[strikes]
        return replace(self, onset_s=self.onset_s[strikes], pitch=pitch, rank=rank)


def make_query(onset_s: FloatArray, pitch: FloatArray | None, rank: IntArray | None, name: str) -> Query:
    """A query in order of time. Raises BadInput for input no disc can have given; name: what to call it in words."""
    if (pitch is None) == (rank is None):
        raise BadInput(f"{name}: either pitches or ranks are needed for every strike.")
    onset_s = np.asarray(onset_s, dtype=np.float64)
    if onset_s.size < FEWEST_STRIKES:
        many = "no strikes" if onset_s.size == 0 else "one strike" if onset_s.size == 1 else f"{onset_s.size} strikes"
        raise BadInput(f"{name}: {many}; at least {FEWEST_STRIKES} are needed to know a tune by.")
    if onset_s.size > MOST_STRIKES:
        raise BadInput(
            f"{name}: {onset_s.size} strikes; a disc of this kind has a few hundred pins, and {MOST_STRIKES} is the "
            "most that is searched for. Give one turn of the disc only."
        )
    values = np.asarray(pitch if pitch is not None else rank, dtype=np.float64)
    if not (np.isfinite(onset_s).all() and np.isfinite(values).all()):
        raise BadInput(f"{name}: a time or a pitch is not a number. Correct it and run the command again.")
    if float(np.ptp(onset_s)) < 1.0:
        raise BadInput(
            f"{name}: all strikes fall within one second, so there is no tune to follow. Are the times seconds?"
        )
    if float(np.ptp(onset_s)) > 3600.0:
        raise BadInput(f"{name}: the strikes span more than an hour. Were the times written in milliseconds?")
    by_time = np.lexsort((values, onset_s))
    onset_s, values = onset_s[by_time], values[by_time]
    if pitch is not None:
        if values.min() < 0 or values.max() > 140:
            raise BadInput(
                f"{name}: pitches must lie from 0 to 140 (MIDI numbers). Correct them and run the command again."
            )
        return Query(onset_s, values, None)
    _, dense = np.unique(values, return_inverse=True)
    return Query(onset_s, None, dense.astype(np.int64))
