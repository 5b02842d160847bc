"""How the turn's time is bent: by a drift of the setting or by held notes, whichever gains more; and at its end.

Each way is weighed by grid and metre together, less what its bends must gain (time/), and the best is taken; a turn
that a steady grid explains stays as it is.
"""

from __future__ import annotations

import numpy as np

from disc.frame import FloatArray
from disc.tune.read.beat.later_lines import later_lines
from disc.tune.read.beat.metre import heard_lines, metre_score
from disc.tune.read.find_figures import FEWEST_STRIKES, Figures
from disc.tune.read.model import Model
from disc.tune.read.said_notes import NOTHING_SAID, SaidNotes
from disc.tune.read.time.holds import find_holds
from disc.tune.read.time.slowing import slowed
from disc.tune.read.time.step_grid import StepGrid, find_grids
from disc.tune.read.time.straighten import STEADY, TimeMap, candidate_steps_by_part, find_drift
from disc.tune.read.time.weighed_turn import WeighedTurn
from disc.tune.read.voices.figures import Rolls
from disc.tune.settings import NoteWord, TuneSettings


def find_turn_pace(
    onset_s: FloatArray,
    pitch: FloatArray,
    figures: Figures,
    model: Model,
    settings: TuneSettings,
    said: SaidNotes = NOTHING_SAID,
) -> TimeMap:
    """The pace of a turn. Where notes were said to be held and their time is found, it is in every way that is weighed.

    onset_s, pitch: shape (n,) each, in order; figures: what was told of them before any grid.
    """
    single = _single(figures)
    if len(single) < FEWEST_STRIKES:
        return STEADY
    turn = weighed_turn(onset_s, pitch, figures, model, settings)
    by_hand = [
        said.held_gaps(word, onset_s, single, figures.melody > 0.5) for word in (NoteWord.HELD, NoteWord.NOT_HELD)
    ]
    held = find_holds(turn, *by_hand)
    if any(hold.by_hand for hold in held.holds):
        return max((held, slowed(turn.onset_s, held, turn.steps, turn.grid_of(held).score)), key=turn.worth)
    bent = [pace for pace in (*steady_or_drifting(turn), *_with_end(turn, held)) if not pace.is_steady]
    return max([STEADY, *bent], key=turn.worth) if bent else STEADY


def steady_or_drifting(turn: WeighedTurn) -> list[TimeMap]:
    """The ways without held notes: a slowing end, and a drift with and without one."""
    found = [slowed(turn.onset_s, STEADY, turn.steps, turn.grid.score)]
    score, drifting = find_drift(turn.onset_s, turn.steps)
    if score > turn.grid.score:
        found += [drifting, slowed(turn.onset_s, drifting, turn.steps, score)]
    return found


def _with_end(turn: WeighedTurn, held: TimeMap) -> list[TimeMap]:
    return [held, slowed(turn.onset_s, held, turn.steps, turn.grid_of(held).score)] if held.holds else []


def weighed_turn(
    onset_s: FloatArray, pitch: FloatArray, figures: Figures, model: Model, settings: TuneSettings
) -> WeighedTurn:
    """The strikes that tell the pace, with the metre to weigh them by; ornaments and all but one of a roll left out."""
    single = _single(figures)
    times, heights, melody = onset_s[single], np.round(pitch[single]), figures.melody[single] > 0.5
    heard = heard_lines(times, heights, melody, model)

    def rate(moved_s: FloatArray, grid: StepGrid) -> float:
        return metre_score(grid, moved_s, heights, melody, model, settings, heard)

    def lines(moved_s: FloatArray, grid: StepGrid, most: int) -> FloatArray:
        return later_lines(moved_s, heights, melody, model, heard, grid, most)

    grids = find_grids(times)
    steps = candidate_steps_by_part(times, grids)
    return WeighedTurn(times, heights, melody, grids[0], tuple(steps), rate, lines, model.holds)


def _single(figures: Figures) -> np.ndarray:
    """Strikes proper, of rolls the last one."""
    proper = np.flatnonzero(figures.proper)
    return proper[Rolls(figures.rolls.of[proper]).single(last=True)]
