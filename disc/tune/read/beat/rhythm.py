"""How likely a melody's rhythm is against a bar line: gaps between onsets, given where in the bar they begin.

A first-order chain over places in the bar (as in Temperley, Music and Probability, 2007, ch. 3, there by probabilities
of onsets at each level; here by gaps). Tables are counted from the tuning half of the corpus draw by
tests/bench/fit/fit_tune.py and kept in model.json: per structure, and per beat alone where a structure was seldom seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.frame import FloatArray
from disc.tune.read.beat.pulse import Lattice, Structure

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# Weight of the beat's own table, and of no knowledge, in counts, against the bar's table.
BEAT_COUNTS = 20.0
FLAT_COUNTS = 2.0  # of no knowledge, as said above; chosen by hand


@dataclass(frozen=True, slots=True)
class RhythmModel:
    """Counts of (place, gap), each of shape (places, places of a bar + 1), the last gap standing for longer ones.

    bar: by structure name, places of the bar; beat: by structure name of any beats, places of the beat.
    """

    bar: dict[str, FloatArray]
    beat: dict[str, FloatArray]

    def table(self, structure: Structure) -> FloatArray:
        """Log-probability of a gap from each place, shape (bar, bar + 1)."""
        size = structure.bar
        flat = np.r_[0.5 ** np.minimum(np.arange(1, size + 1), 12.0), 0.002]
        beat = self.beat.get(beat_name(structure))
        spread = np.zeros((size, size + 1)) + FLAT_COUNTS * flat / flat.sum()
        if beat is not None:
            rows = np.tile(fit_gaps(beat, size + 1), (structure.beats, 1)) + spread
            spread = BEAT_COUNTS * rows / rows.sum(1, keepdims=True)
        counts = self.bar.get(bar_name(structure))
        total = spread + (counts if counts is not None else 0.0)
        return np.log(total / total.sum(1, keepdims=True))


def bar_name(structure: Structure) -> str:
    """Key of a structure in the tables."""
    return f"{structure.kind}/{structure.steps}"


def beat_name(structure: Structure) -> str:
    """Key of a structure's beat in the tables."""
    return f"{'compound' if structure.compound else 'simple'}/{structure.steps}"


def fit_gaps(table: FloatArray, width: int) -> FloatArray:
    """A table of gaps cut or widened to another longest gap; what is cut goes into the last column."""
    if table.shape[1] <= width:
        made = np.zeros((len(table), width))
        made[:, : table.shape[1] - 1] = table[:, :-1]
        made[:, -1] = table[:, -1]
        return made
    return np.hstack([table[:, : width - 1], table[:, width - 1 :].sum(1, keepdims=True)])


def gap_counts(lattice: Lattice, size: int) -> FloatArray:
    """How often a gap begins at each step modulo size, shape (size, size + 1)."""
    counts = np.zeros((size, size + 1))
    gaps = np.minimum(lattice.gap[:-1].astype(int), size + 1) - 1
    np.add.at(counts, (lattice.melody[:-1] % size, gaps), 1.0)
    return counts


def rhythm_scores(lattice: Lattice, structure: Structure, model: RhythmModel) -> FloatArray:
    """Log-likelihood of the melody's gaps for each phase, shape (bar,)."""
    counts = gap_counts(lattice, structure.bar)
    table = model.table(structure)
    given = counts @ table.T  # (place on the grid, place in the bar)
    phase = np.arange(structure.bar)
    return np.asarray(given[phase[None, :], (phase[None, :] - phase[:, None]) % structure.bar].sum(1), dtype=float)
