"""Tunes and combs of a few notes, written out by hand in the tests."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from disc.records import Comb, Key, Metre, Plate, Side, Tooth, Turns
from disc.tune.score.records import Rank, ScoreBar, ScoreIn, ScoreNote

PLATE = Plate(30.0, Turns.CLOCKWISE, bore_mm=3.0, thickness_mm=1.0)


def score_of(
    notes: Sequence[tuple[float, float, int] | tuple[float, float, int, Rank]], beats: int = 4, quarter_s: float = 0.5
) -> ScoreIn:
    """Notes as (onset, duration, pitch[, rank]) in quarters; bars of `beats` quarters."""
    made = [
        ScoreNote(Fraction(n[0]), Fraction(n[1]), n[2], n[3] if len(n) > 3 else Rank.MELODY)  # type: ignore[misc]
        for n in notes
    ]
    count = int(max(n.onset_quarter for n in made) // beats) + 1
    bars = [ScoreBar(i + 1, Fraction(i * beats), Fraction(beats), str(i + 1)) for i in range(count)]
    ordered = tuple(sorted(made, key=lambda n: (n.onset_quarter, n.pitch)))
    return ScoreIn(ordered, tuple(bars), Metre(beats, 4), Key(0, "major", 0), quarter_s, "A tune")


def comb_of(pitches: Sequence[float], first_r_mm: float = 12.5, step_mm: float = 0.7) -> Comb:
    """Teeth on the upper side, each on its own track from the rim inwards, tips 5 degrees apart."""
    return Comb(
        tuple(
            Tooth(i + 1, Side.UPPER, first_r_mm - step_mm * i, (30.0 + 5.0 * i) % 360, float(pitch))
            for i, pitch in enumerate(pitches)
        )
    )
