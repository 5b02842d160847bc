"""Practice discs: printed tunes arranged for a comb and damaged, with the truth known. For fitting and for measuring.

A tune is transposed, given an accompaniment, laid on a comb of few teeth (notes it lacks are folded by an octave or set
to the nearest tooth), cut to the bars that one turn holds, and then damaged: pins gone, spurious pins, inexact places.
All figures of the levels are those of the project's task for this search; where it leaves a choice, the comment says
so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.library.records import FloatArray, IntArray, ReferenceTune
from disc.tune.score.records import TICKS_PER_QUARTER


@dataclass(frozen=True, slots=True)
class Damage:
    """How much is wrong with a practice disc. gone, spurious: shares of the pins. jitter_s: one standard deviation."""

    gone: tuple[float, float]
    spurious: tuple[float, float]
    jitter_s: tuple[float, float]
    bars: tuple[int, int] | None = None  # None: as many as one turn holds
    dead_teeth: tuple[int, int] = (0, 0)
    gap: tuple[float, float] = (0.0, 0.0)  # share of the turn without any pin


LEVELS = {
    "mild": Damage((0.0, 0.05), (0.0, 0.01), (0.010, 0.012)),
    "medium": Damage((0.05, 0.15), (0.0, 0.02), (0.012, 0.018)),
    "hard": Damage((0.15, 0.25), (0.01, 0.03), (0.018, 0.025)),
    "severe": Damage((0.22, 0.35), (0.02, 0.05), (0.025, 0.040), (7, 10), (1, 3), (0.08, 0.15)),
}


@dataclass(frozen=True, slots=True, eq=False)
class PracticeDisc:
    """A query with its truth. rank: place of each strike's tooth in the order of pitch, 0 the lowest.

    melody: index of the printed note each strike came from, -1 for accompaniment and spurious strikes.
    """

    onset_s: FloatArray
    pitch: IntArray
    rank: IntArray
    melody: IntArray
    transposition: int
    quarter_s: float
    tune: ReferenceTune


def practice_disc(
    tune: ReferenceTune, damage: Damage, rng: np.random.Generator, turned: float = 0.0
) -> PracticeDisc | None:
    """One practice disc of this tune; None if the tune is too short to make one (fewer than 12 notes).

    turned: the share of discs that begin at some bar within what they hold and end with what comes before it.
    """
    part = _choose_bars(tune, damage, rng)
    if part.size < 12:
        return None
    quarter = tune.onset_tick[part] / TICKS_PER_QUARTER
    if turned and rng.random() < turned:
        part, quarter = _turned(tune, part, quarter, rng)
    quarter_s = _tempo(quarter, damage, rng)
    # Combs of this kind are tuned high: common practice, no source; the search must not depend on it.
    transposition = int(np.clip(80 - np.median(tune.pitch[part]), -24, 36)) + int(rng.integers(-6, 7))
    melody = tune.pitch[part] + transposition
    at_q, low = _accompany(tune, part, quarter, melody, rng)
    onset = np.concatenate([quarter, at_q])
    pitch = np.concatenate([melody, low])
    source = np.concatenate([part, np.full(at_q.size, -1)])
    pitch, comb = _lay_on_comb(pitch, source >= 0, rng)
    onset_s = (onset - quarter[0]) * quarter_s + rng.uniform(0.5, 2.0)
    return _damaged(onset_s, pitch, source, comb, damage, rng, tune, transposition, quarter_s)


def _choose_bars(tune: ReferenceTune, damage: Damage, rng: np.random.Generator) -> IntArray:
    """Note indices of the run of played-out bars that the disc holds."""
    starts = np.flatnonzero(np.r_[True, np.diff(tune.bar) != 0])
    if damage.bars is not None:
        count = int(rng.integers(damage.bars[0], damage.bars[1] + 1))
    else:
        # One turn holds about 35 to 110 notes of melody; half of the discs begin at the beginning.
        notes = int(rng.integers(35, 111))
        count = max(4, round(notes / (tune.pitch.size / starts.size)))
    last = max(0, starts.size - count)
    first = 0 if damage.bars is None and rng.random() < 0.5 else int(rng.integers(0, last + 1))
    end = starts[first + count] if first + count < starts.size else tune.pitch.size
    return np.arange(starts[first], end)


def _turned(
    tune: ReferenceTune, part: IntArray, quarter: FloatArray, rng: np.random.Generator
) -> tuple[IntArray, FloatArray]:
    """(notes, onsets in quarters) from some bar on, the notes before it behind."""
    starts = np.flatnonzero(np.r_[False, np.diff(tune.bar[part]) != 0])
    if not starts.size:
        return part, quarter
    at = int(rng.choice(starts))
    end = float(quarter[-1]) + tune.duration_tick[part[-1]] / TICKS_PER_QUARTER
    later = quarter[:at] - quarter[0] + (end - quarter[at])
    return np.concatenate([part[at:], part[:at]]), np.concatenate([quarter[at:] - quarter[at], later])


def _tempo(quarter: FloatArray, damage: Damage, rng: np.random.Generator) -> float:
    """Seconds of a quarter: a turn of 30 to 60 s, kept within what a comb can play and an ear can follow."""
    span = max(float(quarter[-1] - quarter[0]), 1.0)
    per_note = span / max(quarter.size - 1, 1)
    full = float(rng.uniform(28, 58)) / span
    if damage.bars is not None:
        full = float(rng.uniform(0.25, 0.5)) / per_note
    return float(np.clip(full, 0.16 / per_note, 0.75 / per_note))


TRIADS = np.array([[0, 4, 7], [2, 5, 9], [4, 7, 11], [5, 9, 0], [7, 11, 2], [9, 0, 4]])


def _accompany(
    tune: ReferenceTune, part: IntArray, quarter: FloatArray, melody: IntArray, rng: np.random.Generator
) -> tuple[FloatArray, IntArray]:
    """Broken chords, bass and chord, bass alone, thirds below, or nothing, chosen by chance."""
    style = rng.choice(["broken", "oompah", "bass", "thirds", "none"], p=[0.4, 0.25, 0.15, 0.1, 0.1])
    if style == "none":
        return np.empty(0), np.empty(0, dtype=np.int64)
    if style == "thirds":
        keep = rng.random(melody.size) < 0.6
        return quarter[keep], melody[keep] - rng.choice([3, 4], size=int(keep.sum()))
    tonic = (7 * tune.fifths + int(melody[0] - tune.pitch[part[0]])) % 12
    metre = tune.metre or (4, 4)
    beat = 1.5 if metre[1] == 8 and metre[0] % 3 == 0 else 4 / metre[1]
    chord_len = beat * (2 if metre[0] % 2 == 0 and beat < 1.5 else 3 if metre[0] == 3 else 1)
    onsets: list[float] = []
    pitches: list[int] = []
    floor = int(np.percentile(melody, 20)) - int(rng.integers(9, 17))
    for start in np.arange(quarter[0], quarter[-1] + 0.01, chord_len):
        here = melody[(quarter >= start - 1e-6) & (quarter < start + chord_len - 1e-6)]
        chord = (_triad(here, tonic) + tonic) % 12
        tones = np.sort(floor + (chord - floor) % 12)
        for at, tone in _figure(str(style), tones, chord_len, beat):
            onsets.append(float(start + at))
            pitches.append(int(tone))
    return np.array(onsets), np.array(pitches, dtype=np.int64)


def _triad(here: IntArray, tonic: int) -> IntArray:
    fits = [
        np.isin((here - tonic) % 12, triad).sum() + bonus
        for triad, bonus in zip(TRIADS, (0.5, 0, 0, 0.2, 0.3, 0), strict=True)
    ]
    return np.asarray(TRIADS[int(np.argmax(fits))])


def _figure(style: str, tones: IntArray, length: float, beat: float) -> list[tuple[float, int]]:
    if style == "bass":
        return [(0.0, int(tones[0]))]
    if style == "oompah":
        steps = max(2, round(length / beat))
        off = [(i * beat, int(t)) for i in range(1, steps) for t in tones[1:]]
        return [(0.0, int(tones[0]) - 12), *off] if steps > 1 else [(0.0, int(tones[0]))]
    step = beat / 3 if beat == 1.5 else beat / 2
    order = (0, 1, 2, 1)
    return [(i * step, int(tones[order[i % 4]])) for i in range(max(1, round(length / step)))]


def _lay_on_comb(pitch: IntArray, is_melody: np.ndarray, rng: np.random.Generator) -> tuple[IntArray, IntArray]:
    """Notes moved to the teeth there are: the most used pitches; others folded by an octave or set to the nearest."""
    teeth = int(rng.integers(12, 31))
    used, count = np.unique(pitch, return_counts=True)
    weight = np.array([count[i] + np.sum(is_melody & (pitch == p)) for i, p in enumerate(used)])
    if rng.random() < 0.3:  # a comb that goes no lower or no higher than it happens to: part of the range is lost
        edge = int(np.percentile(pitch[is_melody], rng.choice([8, 92])))
        weight = weight * ((used >= edge) if edge < np.median(pitch[is_melody]) else (used <= edge))
        teeth = min(teeth, int((weight > 0).sum()))
    comb = np.sort(used[np.argsort(-weight, kind="stable")[:teeth]])
    moved = pitch.copy()
    for i in np.flatnonzero(~np.isin(pitch, comb)):
        folded = [p for p in (pitch[i] - 12, pitch[i] + 12) if p in comb]
        moved[i] = folded[0] if folded else comb[np.argmin(np.abs(comb - pitch[i]))]
    return moved, comb


def _damaged(
    onset_s: FloatArray,
    pitch: IntArray,
    source: IntArray,
    comb: IntArray,
    damage: Damage,
    rng: np.random.Generator,
    tune: ReferenceTune,
    transposition: int,
    quarter_s: float,
) -> PracticeDisc:
    turn_s = float(onset_s.max()) + 1.0
    keep = rng.random(onset_s.size) >= rng.uniform(*damage.gone)
    dead = rng.choice(
        comb,
        size=min(int(rng.integers(damage.dead_teeth[0], damage.dead_teeth[1] + 1)), max(comb.size - 4, 0)),
        replace=False,
    )
    keep &= ~np.isin(pitch, dead)
    gap = rng.uniform(*damage.gap) * turn_s
    gap_at = rng.uniform(0, turn_s - gap)
    keep &= ~((onset_s >= gap_at) & (onset_s < gap_at + gap))
    extra = round(rng.uniform(*damage.spurious) * onset_s.size)
    onset_s = np.concatenate([onset_s[keep], rng.uniform(0, turn_s, extra)])
    pitch = np.concatenate([pitch[keep], rng.choice(comb, extra)])
    source = np.concatenate([source[keep], np.full(extra, -1)])
    onset_s = np.maximum(onset_s + rng.normal(0, rng.uniform(*damage.jitter_s), onset_s.size), 0.0)
    order = np.lexsort((pitch, onset_s))
    onset_s, pitch, source = onset_s[order], pitch[order], source[order]
    apart = _can_sound(onset_s, pitch)
    onset_s, pitch, source = onset_s[apart], pitch[apart], source[apart]
    rank = np.searchsorted(comb, pitch)
    return PracticeDisc(onset_s, pitch, rank, source, transposition, quarter_s, tune)


def _can_sound(onset_s: FloatArray, pitch: IntArray) -> np.ndarray:
    """A tooth needs time between two pins: the second within 70 ms is left off (from memory: 50 to 150 ms)."""
    last: dict[int, float] = {}
    keep = np.ones(onset_s.size, dtype=bool)
    for i, (at, p) in enumerate(zip(onset_s.tolist(), pitch.tolist(), strict=True)):
        keep[i] = at - last.get(p, -1.0) > 0.07
        if keep[i]:
            last[p] = at
    return keep
