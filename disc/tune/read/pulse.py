"""Readings of beat, metre and bar line that a grid allows, and what speaks for each.

A hypothesis says: s grid steps make a beat (divided by two or by three), b beats make a bar, the first bar line stands
at step `phase`. Comes in: where melody and accompaniment strike on the grid. Goes out: a table of features per
hypothesis, weighed in metre.py. Features are chosen to be blind to absolute tempo: a disc's speed is the fly's affair.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray

IntArray = npt.NDArray[np.int64]

# (steps in a beat, divided by three?): what a beat may be divided into on the finest grid.
DIVISIONS = ((1, False), (2, False), (4, False), (8, False), (3, True), (6, True), (12, True))
BEATS = (2, 3, 4)


@dataclass(frozen=True, slots=True)
class Structure:
    """steps: grid steps in a beat; beats: beats in a bar; compound: the beat is divided by three."""

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
    begins. size: strikes on each step. change: how much the harmony changes at each step, 0 to 1.
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
    return Lattice(
        count,
        step_s,
        melody,
        tops[melody],
        gap,
        rest,
        _local_lowest(lowest, window),
        size,
        _harmony_change(step, pitch, count, window),
    )


def _local_lowest(lowest: FloatArray, window: int) -> FloatArray:
    from scipy.ndimage import minimum_filter1d

    padded = np.where(np.isfinite(lowest), lowest, 200.0)
    least = minimum_filter1d(padded, 2 * window + 1, mode="constant", cval=200.0)
    return ((padded <= least) & np.isfinite(lowest)).astype(float)


def _harmony_change(step: IntArray, pitch: FloatArray, count: int, window: int) -> FloatArray:
    """Distance of the pitch classes sounding in a window after each step from those before it, shape (count,)."""
    chroma = np.zeros((count + 2 * window, 12))
    np.add.at(chroma, (step + window, np.round(pitch).astype(int) % 12), 1.0)
    total = np.vstack([np.zeros(12), np.cumsum(chroma, axis=0)])
    at = np.arange(count) + window
    after, before = total[at + window] - total[at], total[at] - total[at - window]
    norm = np.linalg.norm(after, axis=1) * np.linalg.norm(before, axis=1)
    return np.where(norm > 0, 1.0 - (after * before).sum(1) / np.maximum(norm, 1e-9), 0.5)


def structures_for(lattice: Lattice) -> Iterator[Structure]:
    """Structures whose beat and bar last as long as beats and bars do."""
    for structure in STRUCTURES:
        beat_s = structure.steps * lattice.step_s
        # Beats of 0.2 to 1.8 s; below and above none is felt (after London, Hearing in Time; from memory).
        if 0.15 <= beat_s <= 2.5 and structure.bar * 3 <= lattice.count:
            yield structure


# ---- features

ACCENTS = ("onset", "length", "longer", "leap", "rest", "low", "size", "change", "high")
LEVELS = ("bar", "half", "beat", "division")
LAGS = ("beat", "bar", "two bars", "four bars", "eight bars")
ECHOES = ("onset", "pitch", "rest")


def accents(lattice: Lattice) -> dict[str, FloatArray]:
    """What may mark a step, each shape (count,), standardised over the turn."""
    count = lattice.count
    made = {name: np.zeros(count) for name in ACCENTS}
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
    return {name: _standard(values) for name, values in made.items()}


def _standard(values: FloatArray) -> FloatArray:
    spread = values.std()
    return (values - values.mean()) / spread if spread > 1e-9 else np.zeros_like(values)


def echoes(lattice: Lattice) -> dict[str, FloatArray]:
    """How much the turn is like itself some steps later, each shape (count,) by lag, detrended."""
    count = lattice.count
    onset = np.zeros(count)
    onset[lattice.melody] = 1.0
    rest = (lattice.rest > 0).astype(float)
    pitch = np.full(count, -1.0)
    pitch[lattice.melody] = lattice.melody_pitch
    same = np.zeros(count)
    for value in np.unique(lattice.melody_pitch):
        same += _correlate((pitch == value).astype(float))
    both = {"onset": _correlate(onset - onset.mean()), "pitch": same, "rest": _correlate(rest - rest.mean())}
    power = {"onset": onset.var(), "pitch": onset.mean(), "rest": max(rest.var(), 1e-3)}
    left = np.maximum(count - np.arange(count), 1)
    return {name: np.where(left > 8, values / left / max(power[name], 1e-9), 0.0) for name, values in both.items()}


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
COUNTS = (2, 4, 8, 16)
FEATURE_NAMES: tuple[str, ...] = (
    *(f"{accent} on {level}" for level in LEVELS for accent in ACCENTS),
    *(f"{echo} after {lag}" for lag in LAGS for echo in ECHOES),
    *(f"upbeat: {name}" for name in UPBEATS),
    *(f"last note: {name}" for name in LAST),
    *(f"bars in {number}s" for number in COUNTS),
    *(f"strain of {name}" for name in ("whole bars", "four bars", "eight bars")),
    *(f"{beats} {kind} beats" for kind in ("simple", "compound") for beats in BEATS),
    *(f"beat of {s}{' in threes' if c else ''} steps" for s, c in DIVISIONS),
    *(f"beat length{power} {kind}" for kind in ("simple", "compound") for power in ("", " squared")),
    "rhythm",
    "grid",
)


@dataclass(frozen=True, slots=True)
class Marks:
    """What is the same for all structures on a lattice. strain: (steps, strength) of the best long echo."""

    accents: dict[str, FloatArray]
    echoes: dict[str, FloatArray]
    strain: tuple[int, float]


def features(lattice: Lattice, structure: Structure, rhythm: FloatArray, grid: float, marks: Marks) -> Features:
    """All features of one structure. rhythm: shape (bar,), see rhythm.py; grid: score of the grid over the best's."""
    bar = structure.bar
    columns = [
        *_accent_columns(structure, marks),
        *(np.full(bar, value) for value in _echo_values(lattice, structure, marks)),
        *_upbeat_columns(structure),
        *_last_columns(lattice, structure),
        *_count_columns(lattice, structure),
        *(np.full(bar, value) for value in _strain_values(structure, marks)),
        *(np.full(bar, value) for value in _prior_values(lattice, structure)),
        rhythm,
        np.full(bar, grid),
    ]
    return Features(structure, np.stack(columns, axis=1))


def find_marks(lattice: Lattice) -> Marks:
    """Accents, echoes and the strain of a lattice."""
    found = echoes(lattice)
    return Marks(accents(lattice), found, _find_strain(lattice, found["pitch"]))


def _find_strain(lattice: Lattice, pitch_echo: FloatArray) -> tuple[int, float]:
    """The lag at which most melody comes back in pitch: at least 2.5 s, at most 60 per cent of the turn."""
    low = max(4, int(2.5 / lattice.step_s))
    high = int(0.6 * lattice.count)
    if high <= low:
        return 0, 0.0
    lag = low + int(np.argmax(pitch_echo[low:high]))
    return lag, float(pitch_echo[lag])


def _accent_columns(structure: Structure, marks: Marks) -> list[FloatArray]:
    bar, steps = structure.bar, structure.steps
    columns = []
    half = bar // 2 if structure.beats == 4 else 0
    fine = steps // 3 if structure.compound else steps // 2
    for level in LEVELS:
        for accent in ACCENTS:
            values = marks.accents[accent]
            padded = np.zeros(-(-len(values) // bar) * bar)
            padded[: len(values)] = values
            folded = padded.reshape(-1, bar).sum(0)
            times = max(1.0, len(values) / bar)
            if level == "bar":
                total, places = folded, 1
            elif level == "half":
                total, places = (np.roll(folded, -half), 1) if half else (np.zeros(bar), 1)
            else:
                cycle = steps if level == "beat" else max(fine, 1)
                total, places = np.tile(folded.reshape(-1, cycle).sum(0), bar // cycle), bar // cycle
            columns.append(total / np.sqrt(times * places))
    return columns


def _echo_values(lattice: Lattice, structure: Structure, marks: Marks) -> list[float]:
    values = []
    for steps in (structure.steps, *(structure.bar * k for k in (1, 2, 4, 8))):
        for echo in ECHOES:
            series = marks.echoes[echo]
            if steps >= 0.7 * lattice.count:
                values.append(0.0)
                continue
            reach = max(2, min(steps // 2, structure.bar))
            around = series[max(1, steps - reach) : steps + reach + 1]
            values.append(float(np.clip(series[steps] - around.mean(), -1.0, 1.0)) * 3.0)
    return values


def _upbeat_columns(structure: Structure) -> list[FloatArray]:
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
    return [kind.astype(float) for kind in kinds]


def _last_columns(lattice: Lattice, structure: Structure) -> list[FloatArray]:
    place = (lattice.melody[-1] - np.arange(structure.bar)) % structure.bar
    line = place == 0
    half = (2 * place == structure.bar) & (structure.beats == 4)
    beat = (place % structure.steps == 0) & ~line & ~half
    return [kind.astype(float) for kind in (line, half, beat, ~(line | half | beat))]


def _count_columns(lattice: Lattice, structure: Structure) -> list[FloatArray]:
    bars = (lattice.melody[-1] - np.arange(structure.bar)) // structure.bar + 1
    return [(bars % number == 0).astype(float) for number in COUNTS]


def _strain_values(structure: Structure, marks: Marks) -> list[float]:
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
