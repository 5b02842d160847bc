"""The arranger's task made ready: what each note is worth, where its pins could stand, and one programme per key.

prepare gathers what all transpositions share; set_up makes the programme of one transposition at one tempo.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from disc.design.arrange import weights
from disc.design.arrange.conflicts import find_cliques, least_gaps_deg
from disc.design.arrange.free_places import BoolArray, Places, find_places, passing_pairs
from disc.design.arrange.pitches import PlayingComb
from disc.design.arrange.programme import IntArray, Programme, index_by_note
from disc.design.arrange.timing import Timing
from disc.design.settings import DesignSettings, MissingPitch
from disc.frame import FULL_TURN_DEG, FloatArray, angle_gap_deg, turn_deg
from disc.records import Pin, Plate
from disc.tune.score.records import Rank, ScoreIn, ornament_groups
from disc.tune.write.lengths import beat_quarter

# Tempi tried, as shares of the time that fills the turn: a slightly quicker tune moves the holes of the two faces
# against each other where they fall together. Five per cent is a change of tempo few would notice; choice, no source.
TEMPO_SHARES = (1.0, 0.99, 0.98, 0.97, 0.96, 0.95)
# Unless said otherwise: chosen by hand, not measured.
TEMPO_COST = 1  # of two tempi alike otherwise the first is taken


@dataclass(frozen=True, slots=True)
class ArrangeTask:
    """Everything an arrangement depends on, prepared once.

    pitch, worth: of each note, shape (n,); worth at its own pitch. nominal: of each tooth, shape (k,). kept: old pins
    that stay. timings: the tempi to try. places: for each of them.
    """

    score: ScoreIn
    comb: PlayingComb
    settings: DesignSettings
    pitch: IntArray
    worth: FloatArray
    nominal: IntArray
    excluding: tuple[tuple[int, int], ...]
    melody: tuple[int, ...]
    ornaments: tuple[tuple[int, ...], ...]
    timings: tuple[Timing, ...]
    places: tuple[Places, ...]
    gaps_deg: FloatArray


@dataclass(frozen=True, slots=True)
class Attempt:
    """One transposition at one tempo, set up but not solved."""

    transposition: int
    tempo: int
    programme: Programme
    semitones: IntArray
    bound: int


def prepare(
    score: ScoreIn,
    comb: PlayingComb,
    plate: Plate,
    settings: DesignSettings,
    timing: Timing,
    kept: Sequence[Pin] = (),
    tempi: Sequence[float] = TEMPO_SHARES,
) -> ArrangeTask:
    """Gather a task: pitches, worths, places at each tempo, and which teeth exclude each other.

    kept: pins that stand already. tempi: shares of the timing's tempo to try; where an old disc's pins set it, only 1.
    """
    beat = beat_quarter(score.metre)
    rank = weights.BY_PREFERENCE[settings.prefer].rank
    worth = [
        weights.note_worth(
            rank[n.rank],
            _in_bar(score, n.onset_quarter),
            n.duration_quarter,
            beat,
            is_kept_first(score, n.onset_quarter, settings),
        )
        for n in score.notes
    ]
    timings = tuple(timing.stretched(share) for share in tempi)
    since_first = np.array([float(n.onset_quarter - score.start_quarter) for n in score.notes])
    lead_deg = np.array([n.lead_s for n in score.notes]) / timing.revolution_s * FULL_TURN_DEG
    gaps = least_gaps_deg(comb, settings, timing.revolution_s)
    excluding = passing_pairs(comb, settings)
    passing = _passes_kept(comb, kept, excluding)
    places = []
    for one in timings:
        found = find_places(one.turn_deg(since_first) - lead_deg, comb, plate, settings, kept)
        clear = _clear_of_kept(found, comb, plate, kept, gaps) & passing
        places.append(replace(found, free=found.free & clear))
    return ArrangeTask(
        score=score,
        comb=comb,
        settings=settings,
        pitch=np.array([note.pitch for note in score.notes], dtype=np.int64),
        worth=np.array(worth),
        nominal=np.array([tooth.nominal for tooth in comb.teeth], dtype=np.int64),
        excluding=excluding,
        melody=tuple(i for i, note in enumerate(score.notes) if note.rank is Rank.MELODY),
        ornaments=ornament_groups(score.notes),
        timings=timings,
        places=tuple(places),
        gaps_deg=gaps,
    )


def is_kept_first(score: ScoreIn, onset: Fraction, settings: DesignSettings) -> bool:
    """Whether a moment lies in the bars that are to be kept before all others."""
    return any(
        bar.start_quarter <= onset < bar.end_quarter and any(a <= bar.number <= b for a, b in settings.keep_bars)
        for bar in score.bars
    )


def _in_bar(score: ScoreIn, onset: Fraction) -> Fraction:
    """Quarters from the last bar line; an upbeat's notes lie at the end of a bar that is not all there."""
    for bar in score.bars:
        if bar.start_quarter <= onset < bar.end_quarter:
            absent = max(Fraction(0), score.metre.bar_quarter - bar.length_quarter) if bar.number == 0 else Fraction(0)
            return onset - bar.start_quarter + absent
    return onset


def _clear_of_kept(
    places: Places, comb: PlayingComb, plate: Plate, kept: Sequence[Pin], gaps_deg: FloatArray
) -> BoolArray:
    """Whether a strike leaves each tooth time to come back before and after the strikes of the pins that stay."""
    clear = np.ones_like(places.free)
    numbers = [tooth.number for tooth in comb.teeth]
    for pin in kept:
        if pin.tooth in numbers and pin.plays:
            column = numbers.index(pin.tooth)
            turned = turn_deg(pin.theta_deg, comb.teeth[column].tip_theta_deg, plate.turns)
            off = angle_gap_deg(places.turn_deg, np.full_like(places.turn_deg, turned))
            clear[:, column] &= off >= gaps_deg[column]
    return clear


def _passes_kept(comb: PlayingComb, kept: Sequence[Pin], excluding: Sequence[tuple[int, int]]) -> BoolArray:
    """Whether each tooth's pins pass the tips of the teeth that pins play already, shape (k,); those teeth themselves
    go on playing.
    """
    playing = {pin.tooth for pin in kept if pin.plays}
    struck = [tooth.number in playing for tooth in comb.teeth]
    passes = np.ones(len(struck), dtype=bool)
    for a, b in excluding:
        passes[a] &= struck[a] or not struck[b]
        passes[b] &= struck[b] or not struck[a]
    return passes


# ---- one transposition


def set_up(task: ArrangeTask, transposition: int, tempo: int) -> Attempt:
    """The programme of one transposition at one tempo, by its place in task.timings."""
    octaves, semitones = intervals(task, transposition)
    left = what_is_left(task, octaves, semitones)
    note, tooth = np.nonzero((left > 0) & task.places[tempo].free)
    value = np.rint(task.worth[note] * left[note, tooth]).astype(np.int64)
    note, tooth, value = note[value > 0], tooth[value > 0], value[value > 0]
    distance = min(transposition % 12, -transposition % 12)
    programme = Programme(
        value=value,
        note=note,
        tooth=tooth,
        octave=octaves[note, tooth],
        cliques=(),
        excluding=task.excluding,
        melody=task.melody,
        break_cost=round(weights.BY_PREFERENCE[task.settings.prefer].broken * weights.UNIT),
        constant=-round(weights.FAR_KEY * weights.UNIT) * distance - TEMPO_COST * tempo,
        ornaments=task.ornaments,
        by_note=index_by_note(note),
    )
    return Attempt(transposition, tempo, programme, semitones, programme.upper_bound())


def intervals(task: ArrangeTask, transposition: int) -> tuple[IntArray, IntArray]:
    """(octaves, semitones) from each transposed note to each tooth, shape (n, k), semitones from -5 to 6."""
    interval = task.nominal[None, :] - (task.pitch[:, None] + transposition)
    octaves = np.floor_divide(interval + 5, 12)
    return octaves, interval - 12 * octaves


def what_is_left(task: ArrangeTask, octaves: IntArray, semitones: IntArray) -> FloatArray:
    """Share of a note's worth that each tooth leaves of it, 0 where it may not take it; shape (n, k)."""
    left = np.zeros(octaves.shape)
    folds = np.abs(octaves)
    for rank, factors in weights.BY_PREFERENCE[task.settings.prefer].folded.items():
        rows = np.array([note.rank is rank for note in task.score.notes])
        for fold, factor in enumerate(factors[: weights.MOST_FOLD_OCTAVES + 1]):
            left[(folds == fold) & rows[:, None]] = factor
    off = np.abs(semitones)
    if task.settings.missing_pitch is MissingPitch.NEAREST:
        has_tooth = (off == 0).any(axis=1)
        off = np.where(has_tooth[:, None] & (off > 0), len(weights.NEAREST), off)
    else:
        off = np.where(off > 0, len(weights.NEAREST), off)
    nearness = np.array([*weights.NEAREST, 0.0])
    return left * nearness[np.minimum(off, len(weights.NEAREST))]


def with_conflicts(task: ArrangeTask, attempt: Attempt) -> Programme:
    """The attempt's programme with its cliques, which take longest to find and are needed only to solve it."""
    programme = attempt.programme
    cliques = find_cliques(
        task.places[attempt.tempo], programme.note, programme.tooth, task.gaps_deg, task.settings.hole_distance_mm
    )
    return replace(programme, cliques=cliques)
