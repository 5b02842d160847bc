"""Where one printed tune may lie on a disc: trial placements, judged by how many notes meet a strike.

A placement is one transposition (up to octaves), one tempo and one start. For a single tune all of them can be tried:
on the disc's own grid the tempo is one of few simple ratios, and every pair of strike and note of the same pitch class
points to one start.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.library.records import FloatArray, IntArray
from disc.library.search.asked.disc_pulse import DiscPulse, find_grids
from disc.library.search.asked.melody import melody_probability
from disc.tune.score.records import TICKS_PER_QUARTER

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
# Printed quarters of one step of the disc's grid: what notation makes of a pulse, from a 64th to a breve.
STEP_QUARTERS = (1 / 16, 1 / 12, 1 / 8, 1 / 6, 3 / 16, 1 / 4, 1 / 3, 3 / 8, 1 / 2, 2 / 3, 3 / 4, 1, 3 / 2, 2, 3, 4)
GRIDS_TRIED = 4  # pulses of the disc that are tried; chosen by hand, not fitted
KEPT_PER_TRIAL = 2  # starts kept of each pulse and step, most meetings first; chosen by hand
START_CELL_QUARTER = 1 / 8  # starts this near count as one
TEMPO_S = (0.04, 4.0)  # seconds of a quarter beyond which no disc plays


@dataclass(frozen=True, slots=True)
class Placement:
    """A trial: pitch classes up by `transposition` (0-11), a quarter takes quarter_s, quarter 0 falls at start_s."""

    transposition: int
    quarter_s: float
    start_s: float
    weight: float = 0.0


def trial_placements(
    onset_s: FloatArray, pitch: IntArray, note_tick: IntArray, note_pitch: IntArray, most: int = 12
) -> list[Placement]:
    """The likeliest placements of a tune, best first. pitch: whole semitones, shape (n,)."""
    likely = 0.2 + melody_probability(onset_s, pitch.astype(np.float64))
    found: list[Placement] = []
    for grid in find_grids(onset_s, GRIDS_TRIED):
        for quarters in STEP_QUARTERS:
            if TEMPO_S[0] <= grid.step_s / quarters <= TEMPO_S[1]:
                found += _best_starts(grid, quarters, pitch, likely, note_tick / TICKS_PER_QUARTER, note_pitch)
    found.sort(key=lambda placement: -placement.weight)
    return found[:most]


def _best_starts(
    grid: DiscPulse,
    quarters: float,
    pitch: IntArray,
    likely: FloatArray,
    note_quarter: FloatArray,
    note_pitch: IntArray,
) -> list[Placement]:
    start = note_quarter[None, :] - grid.place[:, None] * quarters
    lowest = float(start.min())
    cell = np.round((start - lowest) / START_CELL_QUARTER).astype(np.int64)
    cells = int(cell.max()) + 2
    classes = (pitch[:, None] - note_pitch[None, :]) % 12
    weight = np.broadcast_to(likely[:, None], cell.shape)
    votes = np.bincount((classes * cells + cell).ravel(), weights=weight.ravel(), minlength=12 * cells)
    count = votes + 0.5 * np.append(votes[1:], 0.0)
    # Chance meetings grow with the number of strikes and notes that overlap, at a slow tempo as at a quick one.
    best = np.argsort(-count, kind="stable")[:KEPT_PER_TRIAL]
    quarter_s = grid.step_s / quarters
    result = []
    for i in best:
        at = lowest + float(i % cells) * START_CELL_QUARTER
        result.append(Placement(int(i // cells), quarter_s, grid.start_s - at * quarter_s, float(count[i])))
    return result
