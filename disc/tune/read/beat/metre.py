"""The metre and the bar line: every reading a grid allows is scored, and all that is plausible is kept, best first.

A reading's score is a weighted sum of the features of pulse.py, so its lead over a runner-up can be told in words:
explain() names what spoke most for the one and against the other. The weights maximise the probability of the written
metre among all readings (a conditional logit; McFadden 1974) over the tuning half of the corpus draw. What marks a bar
in a plain tune is not what does in a quartet, so there are two fits, mixed by how many pitches the turn strikes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.records import Metre
from disc.tune.read.beat.bar_lines import HeardLines, hear_lines, load_net
from disc.tune.read.beat.pulse import FEATURE_NAMES, Structure, features, find_marks, make_lattice, structures_for
from disc.tune.read.beat.rhythm import rhythm_scores
from disc.tune.read.key import read_key, strike_weights
from disc.tune.read.model import Model
from disc.tune.read.time.step_grid import StepGrid
from disc.tune.settings import TuneSettings
from disc.tune.write.lengths import is_compound
from disc.words import counted

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# A coarser or finer grid that is this much worse for each strike cannot win by its metre any more.
WORST_GRID = 0.5
GRIDS = 3  # best grids whose metre is read; chosen by hand
READINGS = 6  # kept to be told as runners-up; chosen by hand
# A quarter above 160 is written as an eighth, as a copyist would: 3/8 for 3/4. Common practice, no source.
FASTEST_BEAT_S = 60.0 / 160.0
IN_EIGHTHS = {Metre(3, 4): Metre(3, 8), Metre(4, 4): Metre(2, 4)}  # common practice, as said above
# Lower figures a known quarter may ask for, and how far (a share) a bar as read may be from it: grids that differ by
# less are one; the next note value is a factor of 3/2 away.
UNITS = (4, 8, 2, 16)
QUARTER_SHARE = 0.05  # how far off, as said above


@dataclass(frozen=True, slots=True)
class MetreReading:
    """One reading. first_step: the grid's step (as Grid.places counts) of bar 1's line; shares: score by feature.

    metre: how it is written: as a person set it, else 2/4, 3/4, 4/4, 6/8, 9/8, 12/8, or what a known quarter asks.
    """

    grid: StepGrid
    structure: Structure
    metre: Metre
    first_step: int
    upbeat_steps: int
    bars: int
    score: float
    shares: FloatArray
    probability: float = 0.0


def read_metre(
    grids: Iterable[StepGrid],
    onset_s: FloatArray,
    pitch: FloatArray,
    is_melody: npt.NDArray[np.bool_],
    model: Model,
    settings: TuneSettings,
    quarter_s: float | None = None,
    heard: HeardLines | None = None,
) -> list[MetreReading]:
    """All plausible readings, best first, probabilities adding up to 1 over all considered; empty if none fits.

    quarter_s: length of a quarter if it is known. heard: heard_lines of the same strikes, if it was asked before.
    """
    kept = list(grids)[:GRIDS]
    best = max(grid.score for grid in kept)
    heard = heard or heard_lines(onset_s, pitch, is_melody, model)
    found: list[MetreReading] = []
    for grid in kept:
        if grid.score >= best - WORST_GRID * len(onset_s):
            found += _read_on(grid, best, onset_s, pitch, is_melody, heard, model, settings, quarter_s)
    return _ranked(found)


def heard_lines(onset_s: FloatArray, pitch: FloatArray, is_melody: npt.NDArray[np.bool_], model: Model) -> HeardLines:
    """What the network hears in a turn, under its likeliest key."""
    keys = read_key(np.round(pitch), strike_weights(onset_s, is_melody), is_melody, model.key)
    return hear_lines(onset_s, pitch, is_melody, keys[0].key.tonic, load_net())


def _read_on(
    grid: StepGrid,
    best: float,
    onset_s: FloatArray,
    pitch: FloatArray,
    is_melody: npt.NDArray[np.bool_],
    heard: HeardLines,
    model: Model,
    settings: TuneSettings,
    quarter_s: float | None,
) -> list[MetreReading]:
    step = np.round(grid.places(onset_s)).astype(np.int64)
    lattice = make_lattice(step, pitch, is_melody, grid.step_s)
    first = int(step.min())
    marks = find_marks(lattice, heard, np.round(grid.places(heard.moment_s(onset_s))).astype(np.int64) - first)
    found = []
    weights = model.metre_for(len(np.unique(np.round(pitch))))
    for structure in structures_for(lattice):
        metre = _written(structure, settings, grid.step_s, quarter_s)
        if metre is None or not _is_wanted(structure, settings):
            continue
        made = features(lattice, structure, rhythm_scores(lattice, structure, model.rhythm), grid.score - best, marks)
        shares = weights.shares(made.table)
        for phase in range(structure.bar):
            bars = int((lattice.melody[-1] - phase) // structure.bar) + 1
            if _has_upbeat(structure, phase, metre, settings) and _has_beats(bars, metre, settings):
                score = float(shares[phase].sum())
                found.append(MetreReading(grid, structure, metre, first + phase, phase, bars, score, shares[phase]))
    return found


def metre_score(
    grid: StepGrid,
    onset_s: FloatArray,
    pitch: FloatArray,
    is_melody: npt.NDArray[np.bool_],
    model: Model,
    settings: TuneSettings,
    heard: HeardLines,
) -> float:
    """The best score of any reading on a grid; minus infinity if none fits."""
    found = _read_on(grid, grid.score, onset_s, pitch, is_melody, heard, model, settings, None)
    return max((reading.score for reading in found), default=-np.inf)


def _is_wanted(structure: Structure, settings: TuneSettings) -> bool:
    metre = settings.metre
    if metre is None:
        return True
    compound = is_compound(metre)
    return structure.compound == compound and structure.beats == (metre.beats // 3 if compound else metre.beats)


def step_quarter(structure: Structure, metre: Metre) -> Fraction:
    """Length of one grid step when the structure is written in this metre."""
    return metre.bar_quarter / structure.bar


def _written(structure: Structure, settings: TuneSettings, step_s: float, quarter_s: float | None) -> Metre | None:
    """The metre the structure is written in; None if none agrees with the quarter's length."""
    beats = 3 * structure.beats if structure.compound else structure.beats
    usual = settings.metre or Metre(beats, 8 if structure.compound else 4)
    if quarter_s is None:
        too_fast = structure.steps * step_s < FASTEST_BEAT_S and settings.metre is None
        return IN_EIGHTHS.get(usual, usual) if too_fast else usual
    bar_quarter = structure.bar * step_s / quarter_s
    units = [usual.unit] if settings.metre else UNITS
    metres = (Metre(usual.beats, unit) for unit in units)
    return next((m for m in metres if abs(bar_quarter / float(m.bar_quarter) - 1.0) < QUARTER_SHARE), None)


def _has_upbeat(structure: Structure, phase: int, metre: Metre, settings: TuneSettings) -> bool:
    return settings.upbeat is None or phase * step_quarter(structure, metre) == settings.upbeat


def _has_beats(bars: int, metre: Metre, settings: TuneSettings) -> bool:
    """Whether the turn holds the beats a person counted, give or take the last bar."""
    return settings.beats is None or abs(bars * metre.beats - settings.beats) < metre.beats


def _ranked(found: list[MetreReading]) -> list[MetreReading]:
    if not found:
        return []
    found.sort(key=lambda reading: -reading.score)
    weight = np.exp(np.array([reading.score for reading in found]) - found[0].score)
    weight /= weight.sum()
    merged: dict[tuple[str, int, int], MetreReading] = {}
    for reading, share in zip(found, weight, strict=True):
        key = _meaning(reading)
        if key in merged:
            merged[key] = _with_probability(merged[key], merged[key].probability + float(share))
        else:
            merged[key] = _with_probability(reading, float(share))
    return sorted(merged.values(), key=lambda reading: -reading.probability)[:READINGS]


def _with_probability(reading: MetreReading, probability: float) -> MetreReading:
    return replace(reading, probability=probability)


def _meaning(reading: MetreReading) -> tuple[str, int, int]:
    """Readings on a finer or coarser grid that say the same: metre, length of a bar and place of its line, rounded."""
    grid = reading.grid
    bar_s = reading.structure.bar * grid.step_s
    line_s = grid.start_s + reading.first_step * grid.step_s
    return reading.structure.kind, round(20 * float(np.log(bar_s))), round(8 * line_s / bar_s)


def explain(best: MetreReading, other: MetreReading, count: int = 6) -> list[str]:
    """Features that spoke most for the best reading against another, by name."""
    lead = best.shares - other.shares
    order = np.argsort(-lead)[:count]
    return [FEATURE_NAMES[index] for index in order if lead[index] > 0]


def describe(reading: MetreReading) -> str:
    """A reading in words: "6/8, upbeat of 1/8, 32 bars"."""
    written = reading.metre
    upbeat = reading.upbeat_steps * step_quarter(reading.structure, written) / 4
    lead = f"upbeat of {upbeat}" if upbeat else "no upbeat"
    return f"{written.beats}/{written.unit}, {lead}, {counted(reading.bars, 'bar')}"
