"""Small tunes made into strikes, for the tests of this room. Melodies: one old folk tune, and phrases of our own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

import numpy as np

from disc.frame import turn_for_onset_deg
from disc.records import Key, Metre, Note, Plate, Strike, Tune, Voice
from disc.tune.write.written import with_lengths

PLATE = Plate(diameter_mm=30.0, revolution_s=40.0)

# "Ah! vous dirai-je, maman", France, first printed 1761; from memory. (pitch, length in quarters), in 2/4, C major.
MAMAN_A = "72 1 72 1 79 1 79 1 81 1 81 1 79 2 77 1 77 1 76 1 76 1 74 1 74 1 72 2"
MAMAN_B = "79 1 79 1 77 1 77 1 76 1 76 1 74 2 79 1 79 1 77 1 77 1 76 1 76 1 74 2"
MAMAN = f"{MAMAN_A} {MAMAN_B} {MAMAN_A}"

# A jig of our own, with an upbeat of an eighth: 6/8, G major, eight bars.
JIG = (
    "74 1/2 79 1/2 78 1/2 79 1/2 83 1 81 1/2 79 1/2 78 1/2 76 1/2 74 1 74 1/2 "
    "76 1/2 78 1/2 79 1/2 81 1/2 79 1/2 78 1/2 79 1 74 1/2 71 1 74 1/2 "
    "79 1/2 78 1/2 79 1/2 83 1 81 1/2 79 1/2 78 1/2 76 1/2 74 1 74 1/2 "
    "76 1/2 78 1/2 79 1/2 81 1/2 74 1/2 78 1/2 79 3/2 79 1"
)


def parse(text: str, start: Fraction = Fraction(0)) -> list[tuple[Fraction, Fraction, int]]:
    """(onset, length, pitch) in quarters from "pitch length pitch length ..."."""
    words = text.split()
    notes, place = [], start
    for pitch, length in zip(words[::2], words[1::2], strict=True):
        notes.append((place, Fraction(length), int(pitch)))
        place += Fraction(length)
    return notes


def bass_notes(bars: int, metre: Metre, pitches: Sequence[int]) -> list[tuple[Fraction, Fraction, int]]:
    """One bass note at each bar line, going round the pitches."""
    bar = metre.bar_quarter
    return [(k * bar, bar, pitches[k % len(pitches)]) for k in range(bars)]


def strikes_of(
    notes: Iterable[tuple[Fraction, Fraction, int]],
    quarter_s: float,
    start_s: float = 1.0,
    error_s: float = 0.0,
    seed: int = 0,
) -> tuple[Strike, ...]:
    """Strikes of notes given in quarters from bar 1; numbered as pins in order of the turn."""
    rng = np.random.default_rng(seed)
    timed = sorted((start_s + float(o) * quarter_s + rng.normal(0.0, error_s), p) for o, _, p in notes)
    return tuple(
        Strike(float(turn_for_onset_deg(t, PLATE.revolution_s)), t, p, float(p), pin_id=i)
        for i, (t, p) in enumerate(timed, start=1)
    )


def tune_of(
    melody: Sequence[tuple[Fraction, Fraction, int]],
    below: Sequence[tuple[Fraction, Fraction, int]] = (),
    metre: Metre = Metre(4, 4),
    key: Key = Key(0, "major", 0),
    title: str = "",
) -> Tune:
    """A Tune straight from notes, each with a pin of its own."""
    voices = [(Voice.MELODY, melody), (Voice.ACCOMPANIMENT, below)]
    notes = [Note(o, d, p, voice, tooth=p) for voice, part in voices for o, d, p in part]
    numbered = [
        Note(n.onset_quarter, n.duration_quarter, n.pitch, n.voice, (i,), n.tooth) for i, n in enumerate(notes, start=1)
    ]
    upbeat = max(Fraction(0), -min(n.onset_quarter for n in notes))
    return Tune(with_lengths(numbered, metre, upbeat), metre, key, upbeat, 0.5, 1.0, title)
