"""Readings of beat, metre and bar line that a grid allows, and what speaks for each.

A hypothesis says: s grid steps make a beat (divided by two or by three), b beats make a bar, the first bar line stands
at step `phase`. Comes in: where melody and accompaniment strike on the grid. Goes out: a table of features per
hypothesis, weighed in metre.py. All but a bar's length in seconds are blind to tempo: the speed is the fly's affair.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.tune.read.beat.bar_lines import HeardLines

IntArray = npt.NDArray[np.int64]

# (steps in a beat, compound?): what a beat may be divided into on the finest grid. Where a piece in a simple metre goes
# in triplets all through, its finest grid is one of thirds.
DIVISIONS = ((1, False), (2, False), (4, False), (8, False), (3, True), (6, True), (12, True), (3, False), (6, False))
BEATS = (2, 3, 4)  # of a bar; theory of music
LEAST_THIRDS = 0.04  # of the strikes, on the thirds of the beats where beats are in thirds; common practice, no source
SHORTEST_BAR_S = 0.6  # of two such a copyist makes one; common practice, no source


@dataclass(frozen=True, slots=True)
class Structure:
    """steps: grid steps in a beat; beats: beats in a bar; compound: the beat is dotted, and so divided by three."""

    steps: int
    beats: int
    compound: bool

    @property
    def bar(self) -> int:
        """Grid steps in a bar."""
        return self.steps * self.beats

    @property
    def kind(self) -> str:
        """For tables: "simple2", "compound3", ..."""
        return f"{'compound' if self.compound else 'simple'}{self.beats}"


STRUCTURES = tuple(Structure(s, b, c) for s, c in DIVISIONS for b in BEATS)


@dataclass(frozen=True, slots=True)
class Lattice:
    """A turn on a grid of `count` steps, step 0 being the first with a strike.

    melody: steps where a melody note begins, in order, each once; melody_pitch: its pitch; gap: steps to the next one.
    rest: shape (count,), accompaniment strikes on each step. low: shape (count,), 1 where the lowest note for some time
    begins. size: strikes on each step. change: how much the harmony changes at each step, 0 to 1. chroma: running sum
    of the pitch classes struck, shape (count + 1, 12).
    """

    count: int
    step_s: float
    melody: IntArray
    melody_pitch: FloatArray
    gap: FloatArray
    rest: FloatArray
    low: FloatArray
    size: FloatArray
    change: FloatArray
    chroma: FloatArray


def make_lattice(step: IntArray, pitch: FloatArray, is_melody: npt.NDArray[np.bool_], step_s: float) -> Lattice:
    """step: shape (n,), the grid step of each strike, any integers; pitch and is_melody likewise."""
    step = step - step.min()
    count = int(step.max()) + 1
    size = np.bincount(step, minlength=count).astype(float)
    rest = np.bincount(step[~is_melody], minlength=count).astype(float)
    tops = np.full(count, -1.0)
    np.maximum.at(tops, step[is_melody], pitch[is_melody])
    if not is_melody.any():
        np.maximum.at(tops, step, pitch)
    melody = np.flatnonzero(tops >= 0)
    gap = np.diff(np.r_[melody, count]).astype(float)
    lowest = np.full(count, np.inf)
    np.minimum.at(lowest, step, pitch)
    window = max(2, round(0.9 / step_s))
    chroma = np.zeros((count + 1, 12))
    np.add.at(chroma, (step + 1, np.round(pitch).astype(int) % 12), 1.0)
    chroma = np.cumsum(chroma, axis=0)
    return Lattice(
        count,
        step_s,
        melody,
        tops[melody],
        gap,
        rest,
        _local_lowest(lowest, window),
        size,
        _harmony_change(chroma, window),
        chroma,
    )


def _local_lowest(lowest: FloatArray, window: int) -> FloatArray:
    # numpy's windows, not scipy's filter, whose module alone takes a quarter of a second to load
    padded = np.pad(np.where(np.isfinite(lowest), lowest, 200.0), window, constant_values=200.0)
    least = np.lib.stride_tricks.sliding_window_view(padded, 2 * window + 1).min(1)
    return ((lowest <= least) & np.isfinite(lowest)).astype(float)


def _harmony_change(chroma: FloatArray, window: int) -> FloatArray:
    """Distance of the pitch classes sounding in a window after each step from those before it, shape (count,)."""
    count = len(chroma) - 1
    at = np.arange(count)
    after = chroma[np.minimum(at + window, count)] - chroma[at]
    before = chroma[at] - chroma[np.maximum(at - window, 0)]
    norm = np.linalg.norm(after, axis=1) * np.linalg.norm(before, axis=1)
    return np.where(norm > 0, 1.0 - (after * before).sum(1) / np.maximum(norm, 1e-9), 0.5)


def structures_for(lattice: Lattice) -> Iterator[Structure]:
    """Structures whose beat and bar last as long as beats and bars do."""
    for structure in STRUCTURES:
        beat_s = structure.steps * lattice.step_s
        # Beats of 0.2 to 1.8 s; below and above none is felt (after London, Hearing in Time; from memory).
        long_enough = 0.15 <= beat_s <= 2.5 and beat_s * structure.beats >= SHORTEST_BAR_S
        divided = structure.steps % 3 != 0 or _has_thirds(lattice, structure.steps)
        if long_enough and divided and structure.bar * 3 <= lattice.count:
            yield structure


def _has_thirds(lattice: Lattice, steps: int) -> bool:
    """Whether enough strikes fall on the thirds of a beat of so many steps, wherever the beats are."""
    folded = np.bincount(np.arange(lattice.count) % steps, lattice.size, steps)
    beat = int(folded.argmax())
    thirds = folded[(beat + steps // 3) % steps] + folded[(beat + 2 * steps // 3) % steps]
    return bool(thirds >= LEAST_THIRDS * lattice.size.sum())


# ---- features

ACCENTS = ("onset", "length", "longer", "leap", "rest", "low", "size", "change", "high")
LEVELS = ("bar", "half", "beat", "division")
# Harmony of a beat, or a bar, against that of the beat or bar before: changes fall on lines more than between them.
SPANS = ("beat", "bar")
LAGS = ("beat", "bar", "two bars", "four bars", "eight bars")
ECHOES = ("onset", "pitch", "rest", "low")


def accents(lattice: Lattice) -> FloatArray:
    """What may mark a step, shape (len(ACCENTS), count), each standardised over the turn."""
    made = {name: np.zeros(lattice.count) for name in ACCENTS}
    length = np.log2(np.maximum(lattice.gap, 1.0))
    previous = np.r_[length[0], length[:-1]]
    step_up = np.r_[0.0, np.diff(lattice.melody_pitch)]
    made["onset"][lattice.melody] = 1.0
    made["length"][lattice.melody] = length - np.median(length)
    made["longer"][lattice.melody] = np.clip(length - previous, -2, 2)
    made["leap"][lattice.melody] = np.minimum(np.abs(step_up), 12.0) / 12.0
    made["high"][lattice.melody] = np.clip(step_up, -12, 12) / 12.0
    made["rest"] = np.minimum(lattice.rest, 3.0)
    made["low"] = lattice.low
    made["size"] = np.minimum(lattice.size, 4.0)
    made["change"] = lattice.change * (lattice.size > 0)
    return np.stack([_standard(made[name]) for name in ACCENTS])


def _standard(values: FloatArray) -> FloatArray:
    spread = values.std()
    return (values - values.mean()) / spread if spread > 1e-9 else np.zeros_like(values)


def echoes(lattice: Lattice) -> FloatArray:
    """How much the turn is like itself some steps later, detrended, shape (len(ECHOES), count) by lag."""
    count = lattice.count
    onset = np.zeros(count)
    onset[lattice.melody] = 1.0
    rest = (lattice.rest > 0).astype(float)
    pitch = np.full(count, -1.0)
    pitch[lattice.melody] = lattice.melody_pitch
    same = np.zeros(count)
    for value in np.unique(lattice.melody_pitch):
        same += _correlate((pitch == value).astype(float))
    low = lattice.low
    both = (_correlate(onset - onset.mean()), same, _correlate(rest - rest.mean()), _correlate(low - low.mean()))
    power = (onset.var(), onset.mean(), max(rest.var(), 1e-3), max(low.var(), 1e-3))
    left = np.maximum(count - np.arange(count), 1)
    return np.stack(
        [np.where(left > 8, values / left / max(size, 1e-9), 0.0) for values, size in zip(both, power, strict=True)]
    )


def _correlate(values: FloatArray) -> FloatArray:
    size = 1 << int(np.ceil(np.log2(2 * len(values))))
    spectrum = np.fft.rfft(values, size)
    return np.fft.irfft(spectrum * np.conj(spectrum), size)[: len(values)]


@dataclass(frozen=True, slots=True)
class Features:
    """One structure's features: table of shape (bar, f), a row for each phase 0 ... bar - 1, f = len(FEATURE_NAMES)."""

    structure: Structure
    table: FloatArray


UPBEATS = ("none", "half beat or less", "under a beat", "a beat", "over a beat", "half a bar", "over half a bar")
LAST = ("bar line", "half bar", "beat", "off the beat")
HEARD = ("heard bar lines", "heard beats", "heard kind")  # what a network says, see bar_lines.py
MOST_LIFT = 4.0  # log-odds of one moment are taken no further: one sure moment is no proof; chosen by hand
COUNTS = (2, 4, 8, 16)  # bars that tunes come in: two, four, eight, sixteen; what each says is fitted (model.json)
FEATURE_NAMES: tuple[str, ...] = (
    *(f"{accent} on {level}" for level in LEVELS for accent in ACCENTS),
    *(f"{span} harmony on {level}" for span in SPANS for level in LEVELS[:3]),
    *(f"{echo} after {lag}" for lag in LAGS for echo in ECHOES),
    *(f"upbeat: {name}" for name in UPBEATS),
    *(f"last note: {name}" for name in LAST),
    *(f"bars in {number}s" for number in COUNTS),
    *(f"strain of {name}" for name in ("whole bars", "four bars", "eight bars")),
    *(f"{beats} {kind} beats" for kind in ("simple", "compound") for beats in BEATS),
    *(f"beat of {s}{' in threes' if c else ''} steps" for s, c in DIVISIONS),
    *(f"beat length{power} {kind}" for kind in ("simple", "compound") for power in ("", " squared")),
    *(f"seconds of a bar{power}" for power in ("", " squared")),
    "rhythm",
    "grid",
    *HEARD,
)


@dataclass(frozen=True, slots=True)
class LatticeMarks:
    """What is the same for all structures on a lattice. chroma: running sum of the pitch classes struck, shape
    (count + 1, 12). strain: (steps, strength) of the best long echo. heard: on each step, how much more it is a bar
    line than a beat, and a beat than neither, shape (2, count); kind: log-probabilities of bar_lines.KINDS. changes:
    what harmony was asked for, by span.
    """

    accents: FloatArray
    echoes: FloatArray
    chroma: FloatArray
    strain: tuple[int, float]
    heard: FloatArray
    kind: FloatArray
    changes: dict[int, FloatArray] = field(default_factory=dict)

    def harmony(self, steps: int) -> FloatArray:
        """How the pitch classes of so many steps after each step differ from those before it, standardised."""
        if steps not in self.changes:
            self.changes[steps] = _standard(_change_over(self.chroma, steps))
        return self.changes[steps]


def features(lattice: Lattice, structure: Structure, rhythm: FloatArray, grid: float, marks: LatticeMarks) -> Features:
    """All features of one structure. rhythm: shape (bar,), see rhythm.py; grid: score of the grid over the best's."""
    bar = structure.bar
    alike = [
        *_echo_values(lattice, structure, marks),
        *_strain_values(structure, marks),
        *_prior_values(lattice, structure),
        *_seconds_values(lattice, structure),
    ]
    same = np.broadcast_to(np.array(alike), (bar, len(alike)))
    echoes_end, strain_end = len(LAGS) * len(ECHOES), len(LAGS) * len(ECHOES) + 3
    table = np.hstack(
        [
            _accent_columns(structure, marks).T,
            _harmony_columns(structure, marks).T,
            same[:, :echoes_end],
            _upbeat_columns(structure),
            _last_columns(lattice, structure),
            _count_columns(lattice, structure),
            same[:, echoes_end:strain_end],
            same[:, strain_end:],
            rhythm[:, None],
            np.full((bar, 1), grid),
            _heard_columns(structure, marks),
        ]
    )
    return Features(structure, table)


def find_marks(lattice: Lattice, heard: HeardLines, step: IntArray) -> LatticeMarks:
    """Accents, echoes, harmony and the strain of a lattice, and what the network heard on it.

    step: shape (m,), the lattice's step of each moment heard.
    """
    found = echoes(lattice)
    strain = _find_strain(lattice, found[ECHOES.index("pitch")])
    lifts = np.clip(heard.level[:, :2] - heard.level[:, 1:], -MOST_LIFT, MOST_LIFT) / np.sqrt(len(step))
    on_step = np.zeros((2, lattice.count))
    for row in (0, 1):
        np.add.at(on_step[row], np.clip(step, 0, lattice.count - 1), lifts[:, row])
    return LatticeMarks(accents(lattice), found, lattice.chroma, strain, on_step, heard.kind)


def _heard_columns(structure: Structure, marks: LatticeMarks) -> FloatArray:
    bar, steps = structure.bar, structure.steps
    (lines, beats), _ = _folded(marks.heard, bar)
    by_beat = np.tile(beats.reshape(-1, steps).sum(0), structure.beats)
    kind = marks.kind[2 * structure.compound + (structure.beats == 3)]
    return np.stack([lines, by_beat, np.full(bar, kind)], axis=1)


def _find_strain(lattice: Lattice, pitch_echo: FloatArray) -> tuple[int, float]:
    """The lag at which most melody comes back in pitch: at least 2.5 s, at most 60 per cent of the turn."""
    low = max(4, int(2.5 / lattice.step_s))
    high = int(0.6 * lattice.count)
    if high <= low:
        return 0, 0.0
    lag = low + int(np.argmax(pitch_echo[low:high]))
    return lag, float(pitch_echo[lag])


def _folded(values: FloatArray, bar: int) -> tuple[FloatArray, float]:
    """(rows of values, shape (k, count), added up by place in the bar, shape (k, bar); bars in the turn)."""
    rows, count = values.shape
    padded = np.zeros((rows, -(-count // bar) * bar))
    padded[:, :count] = values
    return padded.reshape(rows, -1, bar).sum(1), max(1.0, count / bar)


def _on_level(folded: FloatArray, structure: Structure, level: str, times: float) -> FloatArray:
    """What stands on the places of a level, for each phase, over its spread by chance; shape as folded."""
    bar, steps = structure.bar, structure.steps
    if level == "bar":
        return np.asarray(folded / np.sqrt(times), dtype=float)
    if level == "half":
        if structure.beats != 4:
            return np.zeros_like(folded)
        return np.asarray(np.roll(folded, -(bar // 2), axis=1) / np.sqrt(times), dtype=float)
    cycle = steps if level == "beat" else max(steps // (3 if structure.compound else 2), 1)
    places = bar // cycle
    total = np.tile(folded.reshape(len(folded), places, cycle).sum(1), (1, places))
    return np.asarray(total / np.sqrt(times * places), dtype=float)


def _accent_columns(structure: Structure, marks: LatticeMarks) -> FloatArray:
    folded, times = _folded(marks.accents, structure.bar)
    return np.vstack([_on_level(folded, structure, level, times) for level in LEVELS])


def _harmony_columns(structure: Structure, marks: LatticeMarks) -> FloatArray:
    rows = []
    for steps in (structure.steps, structure.bar):
        folded, times = _folded(marks.harmony(steps)[None, :], structure.bar)
        # neighbouring steps share most of their spans: what is left to chance is less the wider the span
        rows += [_on_level(folded, structure, level, times) for level in LEVELS[:3]]
    return np.vstack(rows)


def _change_over(chroma: FloatArray, steps: int) -> FloatArray:
    """Distance of the pitch classes of so many steps after each step from those before it, shape (count,)."""
    count = len(chroma) - 1
    at = np.arange(count)
    after = chroma[np.minimum(at + steps, count)] - chroma[at]
    before = chroma[at] - chroma[np.maximum(at - steps, 0)]
    norm = np.sqrt((after * after).sum(1) * (before * before).sum(1))
    change = 1.0 - (after * before).sum(1) / np.maximum(norm, 1e-9)
    middle = float(change[norm > 0].mean()) if (norm > 0).any() else 0.0
    return np.where(norm > 0, change, middle)


def _echo_values(lattice: Lattice, structure: Structure, marks: LatticeMarks) -> list[float]:
    values: list[float] = []
    for steps in (structure.steps, *(structure.bar * k for k in (1, 2, 4, 8))):
        if steps >= 0.7 * lattice.count:
            values += [0.0] * len(ECHOES)
            continue
        reach = max(2, min(steps // 2, structure.bar))
        around = marks.echoes[:, max(1, steps - reach) : steps + reach + 1].mean(1)
        values += (np.clip(marks.echoes[:, steps] - around, -1.0, 1.0) * 3.0).tolist()
    return values


def _seconds_values(lattice: Lattice, structure: Structure) -> list[float]:
    """A bar's length in powers of two, and its square. (How many notes it holds tells the texture, not the bar.)"""
    length = float(np.log2(structure.bar * lattice.step_s))
    return [length, length * length]


def _upbeat_columns(structure: Structure) -> FloatArray:
    phase = np.arange(structure.bar)
    steps, bar = structure.steps, structure.bar
    kinds = (
        phase == 0,
        (phase > 0) & (2 * phase <= steps),
        (2 * phase > steps) & (phase < steps),
        phase == steps,
        (phase > steps) & (2 * phase < bar),
        (2 * phase == bar) & (phase > steps),
        (2 * phase > bar) & (phase > steps),
    )
    return np.stack(kinds, axis=1).astype(float)


def _last_columns(lattice: Lattice, structure: Structure) -> FloatArray:
    place = (lattice.melody[-1] - np.arange(structure.bar)) % structure.bar
    line = place == 0
    half = (2 * place == structure.bar) & (structure.beats == 4)
    beat = (place % structure.steps == 0) & ~line & ~half
    return np.stack((line, half, beat, ~(line | half | beat)), axis=1).astype(float)


def _count_columns(lattice: Lattice, structure: Structure) -> FloatArray:
    bars = (lattice.melody[-1] - np.arange(structure.bar)) // structure.bar + 1
    return (bars[:, None] % np.array(COUNTS) == 0).astype(float)


def _strain_values(structure: Structure, marks: LatticeMarks) -> list[float]:
    steps, strength = marks.strain
    whole = steps > 0 and steps % structure.bar == 0
    bars = steps // structure.bar if whole else 0
    trust = min(strength * 2.0, 1.5)
    return [trust * whole, trust * (whole and bars % 4 == 0), trust * (whole and bars % 8 == 0)]


def _prior_values(lattice: Lattice, structure: Structure) -> list[float]:
    kinds = [float(structure.compound == c and structure.beats == b) for c in (False, True) for b in BEATS]
    steps = [float(structure.steps == s and structure.compound == c) for s, c in DIVISIONS]
    usual = float(np.median(lattice.gap)) if len(lattice.gap) else 1.0
    length = float(np.log2(structure.steps / max(usual, 1.0)))
    lengths = [value * (structure.compound == c) for c in (False, True) for value in (length, length**2)]
    return [*kinds, *steps, *lengths]
