"""Corpus melodies turned into the strikes of a disc, with a random accompaniment and the faults of an old disc.

The accompaniment's chords follow the melody bar by bar; its figure may be drawn anew every eight bars
from block chords, bass and chords, broken chords up, down and rocking, a walking bass, a drone, thirds and sixths below
the melody, rolled chords, or nothing. Setting errors are normal; grace notes come 50 to 90 ms before their note.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from disc.frame import turn_for_onset_deg
from disc.records import Plate, Strike
from tests.bench.truth.tune_corpus import Melody

QUARTER = Fraction(1)


@dataclass(frozen=True)
class TrueNote:
    """What a strike was made from. onset: quarters from bar 1; melody: part of the tune; grace: before its note."""

    onset: Fraction
    pitch: int
    melody: bool
    grace: bool = False
    roll: int = 0


@dataclass(frozen=True)
class Turn:
    """A made-up turn: strikes in order, the note each came from (None for a wrong strike), and what is true of it."""

    melody: Melody
    plate: Plate
    strikes: tuple[Strike, ...]
    truth: tuple[TrueNote | None, ...]
    removed: tuple[TrueNote, ...]
    quarter_s: float
    start_s: float
    fifths: int
    tonic: int
    figure: str


def make_turn(melody: Melody, rng: np.random.Generator, removed: float = 0.0, error_s: float = 0.015) -> Turn:
    """One turn of a disc. removed: share of strikes taken away; with any removed, one strike in a hundred is wrong."""
    bar = Fraction(4 * melody.metre[0], melody.metre[1])
    quarter_s, notes = _cut(melody, bar, rng)
    shift = int(np.round(rng.uniform(74, 86) - np.mean([n.pitch for n in notes])))
    notes = [TrueNote(n.onset, n.pitch + shift, True, n.grace) for n in notes]
    tonic = (melody.tonic + shift) % 12
    fifths = (melody.fifths + 7 * shift + 5) % 12 - 5
    below, figure = accompany(notes, bar, melody, tonic, rng)
    every = _without_doubles([*notes, *below])
    first, last = min(n.onset for n in every), max(n.onset for n in every)
    length_s = float(last - first) * quarter_s
    run_up_s = rng.uniform(0.01, 0.05) * length_s + 0.2
    revolution_s = (run_up_s + length_s) / (1.0 - rng.uniform(0.03, 0.06)) + rng.uniform(0.3, 1.5)
    start_s = run_up_s - float(first) * quarter_s
    plate = Plate(diameter_mm=30.0, revolution_s=revolution_s)
    timed = [(start_s + float(n.onset) * quarter_s + _off_s(n, rng) + rng.normal(0, error_s), n) for n in every]
    keep = rng.random(len(timed)) >= removed
    kept: list[tuple[float, TrueNote | None]] = [pair for pair, k in zip(timed, keep, strict=True) if k]
    if removed > 0:
        for _ in range(round(len(timed) * 0.01)):
            kept.append((start_s + rng.uniform(0, length_s), None))
    kept.sort(key=lambda pair: pair[0])
    pitches = [n.pitch if n else every[int(rng.integers(len(every)))].pitch for _, n in kept]
    strikes = tuple(
        Strike(float(turn_for_onset_deg(t, revolution_s)), t, p, float(p), pin_id=i)
        for i, ((t, _), p) in enumerate(zip(kept, pitches, strict=True), start=1)
    )
    gone = tuple(n for (_, n), k in zip(timed, keep, strict=True) if not k)
    return Turn(melody, plate, strikes, tuple(n for _, n in kept), gone, quarter_s, start_s, fifths, tonic, figure)


def _off_s(note: TrueNote, rng: np.random.Generator) -> float:
    if note.grace:
        return -float(rng.uniform(0.05, 0.09))
    return -note.roll * 0.045


def _cut(melody: Melody, bar: Fraction, rng: np.random.Generator) -> tuple[float, list[TrueNote]]:
    """A tempo at which the tune is playable, and as many bars as a turn of 25 to 75 s holds."""
    compound = melody.metre[0] in (6, 9, 12)
    beat = Fraction(4, melody.metre[1]) * (3 if compound else 1)
    shortest = _usual_shortest(melody)
    # The notes that make up the tune's motion last between 0.14 and 0.4 s on discs of this kind.
    quarter_s = float(rng.uniform(0.14, 0.32)) / float(shortest)
    quarter_s = min(quarter_s, 1.1 / float(beat))
    most = int(rng.uniform(25, 75) / (quarter_s * float(bar)))
    bars = int(melody.end_quarter // bar) + 1
    if bars > most:
        for whole in (16, 8, 4, 2, 1):
            if most >= whole:
                bars = most // whole * whole
                break
    end = bars * bar - (Fraction(0) if melody.notes[0][0] >= 0 else -melody.notes[0][0])
    notes = [TrueNote(o, p, True, g) for o, _, p, g in melody.notes if o < end]
    return quarter_s, notes


def _usual_shortest(melody: Melody) -> Fraction:
    lengths = sorted(d for _, d, _, g in melody.notes if d > 0 and not g)
    return max(lengths[len(lengths) // 5], Fraction(1, 4))


def _without_doubles(notes: list[TrueNote]) -> list[TrueNote]:
    seen: set[tuple[Fraction, int, bool]] = set()
    kept = []
    for note in sorted(notes, key=lambda n: (n.onset, not n.melody, n.pitch)):
        key = (note.onset, note.pitch, note.grace)
        if key not in seen:
            seen.add(key)
            kept.append(note)
    return kept


# ---- accompaniment

TRIADS: dict[str, tuple[tuple[int, int, int], ...]] = {
    "major": ((0, 4, 7), (5, 9, 0), (7, 11, 2), (2, 5, 9), (9, 0, 4))
}
TRIADS["minor"] = ((0, 3, 7), (5, 8, 0), (7, 11, 2), (8, 0, 3), (10, 2, 5), (3, 7, 10))
TRIADS["dorian"] = ((0, 3, 7), (10, 2, 5), (5, 9, 0), (7, 10, 2))
TRIADS["mixolydian"] = ((0, 4, 7), (10, 2, 5), (5, 9, 0), (7, 11, 2), (2, 5, 9))
TRIADS["lydian"] = TRIADS["major"]
LIKING = (0.35, 0.15, 0.25, 0.0, 0.0, 0.0)  # tonic, then dominant, then subdominant, before the others

Figure = Callable[["Bar", np.random.Generator], list[tuple[Fraction, int, int]]]


@dataclass(frozen=True)
class Bar:
    """What a figure sees of one bar: its start, length and beat, its chord's pitches low to high, the notes above."""

    start: Fraction
    length: Fraction
    beat: Fraction
    half: Fraction
    chord: tuple[int, ...]
    above: tuple[TrueNote, ...]
    scale: tuple[int, ...]


def accompany(
    notes: list[TrueNote], bar: Fraction, melody: Melody, tonic: int, rng: np.random.Generator
) -> tuple[list[TrueNote], str]:
    """Accompaniment notes below the melody, and the figures used."""
    compound = melody.metre[0] in (6, 9, 12)
    beat = Fraction(4, melody.metre[1]) * (3 if compound else 1)
    half = beat / 3 if compound else beat / 2
    count = int(max(n.onset for n in notes) // bar) + 1
    floor = min(n.pitch for n in notes) - int(rng.integers(4, 13))
    names = list(FIGURES)
    figure = names[int(rng.integers(len(names)))]
    used = [figure]
    made: list[TrueNote] = []
    per_bar = 2 if melody.metre == (4, 4) and rng.random() < 0.4 else 1
    for number in range(count):
        if number and number % 8 == 0 and rng.random() < 0.4:
            figure = names[int(rng.integers(len(names)))]
            used.append(figure)
        for part in range(per_bar):
            length = bar / per_bar
            start = number * bar + part * length
            above = tuple(n for n in notes if start <= n.onset < start + length)
            pcs = _chord_for(above, start, length, tonic, melody.mode, number in (0, count - 1))
            chord = _voiced(pcs, floor)
            scale = tuple(sorted({(tonic + pc) % 12 for triad in TRIADS[melody.mode] for pc in triad}))
            seen = Bar(start, length, beat, half, chord, above, scale)
            if number == count - 1:  # a last bar ends with one chord under the last note
                made += [TrueNote(start, p, False) for p in chord[:3]] if figure != "none" and part == 0 else []
                continue
            made += [TrueNote(start + o, p, False, roll=r) for o, p, r in FIGURES[figure](seen, rng)]
    top = {n.onset: n.pitch for n in notes if not n.grace}
    return [n for n in made if n.pitch < top.get(n.onset, 128)], "+".join(used)


def _chord_for(
    above: tuple[TrueNote, ...], start: Fraction, length: Fraction, tonic: int, mode: str, home: bool
) -> tuple[int, ...]:
    best, best_score = TRIADS[mode][0], -1.0
    ends = [*(n.onset for n in above[1:]), start + length] if above else []
    for triad, liking in zip(TRIADS[mode], LIKING, strict=False):
        pcs = {(tonic + pc) % 12 for pc in triad}
        score = liking + (1.0 if home and triad == TRIADS[mode][0] else 0.0)
        for note, end in zip(above, ends, strict=True):
            weight = float((end - note.onset) / length) * (1.5 if note.onset == start else 1.0)
            score += weight * (note.pitch % 12 in pcs)
        if score > best_score:
            best, best_score = triad, score
    return tuple((tonic + pc) % 12 for pc in best)


def _voiced(pcs: tuple[int, ...], floor: int) -> tuple[int, ...]:
    """Root lowest, the rest close above it, an octave of the root on top."""
    root = floor + (pcs[0] - floor) % 12
    rest = sorted(root + 1 + (pc - root - 1) % 12 for pc in pcs[1:])
    return (root, *rest, root + 12)


def _beats(bar: Bar) -> list[Fraction]:
    return [k * bar.beat for k in range(int(bar.length / bar.beat))]


def _halves(bar: Bar) -> list[Fraction]:
    return [k * bar.half for k in range(int(bar.length / bar.half))]


def _none(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    return []


def _bass(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    return [(Fraction(0), bar.chord[0], 0)]


def _block(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    return [(Fraction(0), pitch, 0) for pitch in bar.chord[:3]]


def _block_beats(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    return [(o, pitch, 0) for o in _beats(bar) for pitch in bar.chord[:3]]


def _rolled(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    size = 3 if rng.random() < 0.5 else 4
    return [(Fraction(0), pitch, size - i) for i, pitch in enumerate(bar.chord[:size])]


def _bass_and_chords(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    figure = []
    for index, place in enumerate(_beats(bar)):
        if index == 0 or (len(_beats(bar)) == 4 and index == 2):
            figure.append((place, bar.chord[0] if index == 0 else bar.chord[2] - 12, 0))
        else:
            figure += [(place, pitch, 0) for pitch in bar.chord[1:3]]
    return figure


def _bass_and_after(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    """Bass on each beat, chord after it."""
    figure = []
    for place in _beats(bar):
        figure.append((place, bar.chord[0], 0))
        figure += [(place + bar.beat - bar.half, pitch, 0) for pitch in bar.chord[1:3]]
    return figure


def _broken(order: tuple[int, ...]) -> Figure:
    def figure(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
        return [(o, bar.chord[order[i % len(order)]], 0) for i, o in enumerate(_halves(bar))]

    return figure


def _broken_fast(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    if bar.beat / bar.half == 3:
        return _broken((0, 1, 2))(bar, rng)
    places = [k * bar.half / 2 for k in range(int(2 * bar.length / bar.half))]
    return [(o, bar.chord[(0, 2, 1, 2)[i % 4]], 0) for i, o in enumerate(places)]


def _walking(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    return [(o, bar.chord[int(rng.integers(3))] if i else bar.chord[0], 0) for i, o in enumerate(_beats(bar))]


def _drone(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    return [(o, bar.chord[0], 0) for o in _beats(bar)] + [(Fraction(0), bar.chord[0] + 7, 0)]


def _below(steps: int, always: bool) -> Figure:
    def figure(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
        made = []
        for note in bar.above:
            on_beat = (note.onset - bar.start) % bar.beat == 0
            if not note.grace and (always or on_beat):
                pitch, left = note.pitch, steps
                while left:
                    pitch -= 1
                    left -= pitch % 12 in bar.scale
                made.append((note.onset - bar.start, pitch, 0))
        return made

    return figure


def _sparse(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    """Chord notes at random half beats."""
    return [(o, bar.chord[int(rng.integers(3))], 0) for o in _halves(bar) if rng.random() < 0.4]


def _mixed(bar: Bar, rng: np.random.Generator) -> list[tuple[Fraction, int, int]]:
    return [(Fraction(0), bar.chord[0], 0), *_below(2, False)(bar, rng)]


FIGURES: dict[str, Figure] = {
    "none": _none,
    "bass": _bass,
    "block": _block,
    "block on beats": _block_beats,
    "rolled": _rolled,
    "bass and chords": _bass_and_chords,
    "bass and after": _bass_and_after,
    "broken up": _broken((0, 1, 2)),
    "broken up and down": _broken((0, 1, 2, 3, 2, 1)),
    "rocking": _broken((0, 2, 1, 2)),
    "broken fast": _broken_fast,
    "walking": _walking,
    "drone": _drone,
    "thirds": _below(2, True),
    "sixths": _below(5, False),
    "bass and thirds": _mixed,
    "sparse": _sparse,
}
