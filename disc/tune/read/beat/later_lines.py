"""What bar lines gain where everything after some strike stands later: a note held longer than it is written.

Nearly all that speaks for a bar line is a sum over the steps of the grid, each counted by its place in the bar. Added
up from the left with the lines as they are, and from the right with the lines moved on, the sums tell for every gap and
every number of steps at once how good the metre could be; what is no sum (echoes, lengths) is taken as it stands. It
is a first look: what it names is read in full (metre.py) before it is believed.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.tune.read.beat.bar_lines import HeardLines
from disc.tune.read.beat.pulse import (
    ACCENTS,
    COUNTS,
    FEATURE_NAMES,
    LAST,
    LEVELS,
    SPANS,
    Lattice,
    LatticeMarks,
    Structure,
    features,
    find_marks,
    make_lattice,
    structures_for,
)
from disc.tune.read.beat.rhythm import rhythm_scores
from disc.tune.read.model import Model
from disc.tune.read.time.step_grid import StepGrid

STRUCTURES_TRIED = 8  # likeliest on the whole turn; the time of looking grows with it (chosen, not fitted)

# What hangs on where the last bar line is, and what is a sum over steps.
_ENDS = np.isin(FEATURE_NAMES, [f"last note: {x}" for x in LAST] + [f"bars in {x}s" for x in COUNTS])
_SUMS = np.isin(
    FEATURE_NAMES,
    [f"{accent} on {level}" for level in LEVELS for accent in ACCENTS]
    + [f"{span} harmony on {level}" for span in SPANS for level in LEVELS[:3]]
    + ["rhythm", "heard bar lines", "heard beats"],
)


def later_lines(
    onset_s: FloatArray,
    pitch: FloatArray,
    is_melody: npt.NDArray[np.bool_],
    model: Model,
    heard: HeardLines,
    grid: StepGrid,
    most: int,
) -> FloatArray:
    """The metre's best score if what follows a strike is taken 0, 1, ... most steps earlier; shape (n - 1, most + 1).

    onset_s: shape (n,), in order; pitch, is_melody: likewise. heard: metre.heard_lines of the same strikes.
    """
    step = np.round(grid.places(onset_s)).astype(np.int64)
    lattice = make_lattice(step, pitch, is_melody, grid.step_s)
    first = int(step.min())
    marks = find_marks(lattice, heard, np.round(grid.places(heard.moment_s(onset_s))).astype(np.int64) - first)
    model_weights = model.metre_for(len(np.unique(np.round(pitch))))
    weight = model_weights.weight / model_weights.spread
    shares: list[tuple[float, Structure, FloatArray]] = []
    for structure in structures_for(lattice):
        made = features(lattice, structure, rhythm_scores(lattice, structure, model.rhythm), 0.0, marks)
        share = model_weights.shares(made.table)
        shares.append((float(share.sum(1).max()), structure, share))
    shares.sort(key=lambda item: -item[0])
    best = np.full((len(onset_s) - 1, most + 1), -np.inf)
    for _, structure, share in shares[:STRUCTURES_TRIED]:
        best = np.maximum(best, _of_structure(lattice, structure, marks, model, weight, share, step - first, most))
    return best


def _of_structure(
    lattice: Lattice,
    structure: Structure,
    marks: LatticeMarks,
    model: Model,
    weight: FloatArray,
    share: FloatArray,
    step: npt.NDArray[np.int64],
    most: int,
) -> FloatArray:
    bar = structure.bar
    phase = np.arange(bar)
    begins, ends = share[:, ~_ENDS & ~_SUMS].sum(1), share[:, _ENDS].sum(1)
    by_place = _by_place(lattice, structure, marks, weight)
    at = np.arange(lattice.count)
    sums = np.vstack([np.zeros(bar), np.cumsum(by_place[at[:, None], (at[:, None] - phase) % bar], axis=0)])
    before, after = sums[step[:-1] + 1], sums[-1] - sums[step[1:]]
    table = model.rhythm.table(structure) * weight[FEATURE_NAMES.index("rhythm")]
    melody, gap = lattice.melody, lattice.gap.astype(np.int64)
    place = (melody[:, None] - phase) % bar
    gaps = table[place[:-1], np.minimum(gap[:-1], bar + 1)[:, None] - 1]
    sums = np.vstack([np.zeros(bar), np.cumsum(gaps, axis=0), gaps.sum(0)[None, :]])
    last = np.searchsorted(melody, step[:-1], "right") - 1  # the melody's note that would be held
    own = np.clip(last, 0, len(melody) - 1)
    before += sums[own]
    after += sums[-1] - sums[np.minimum(own + 1, len(melody) - 1)]
    made = np.empty((len(step) - 1, most + 1))
    for moved in range(most + 1):
        left = np.clip(gap[own] - moved, 1, bar + 1)
        held = np.where((own < len(melody) - 1)[:, None], table[place[own], left[:, None] - 1], 0.0)
        later = np.roll(after + ends, -moved, axis=1)
        made[:, moved] = (before + held + begins + later).max(1)
    return made


def _by_place(lattice: Lattice, structure: Structure, marks: LatticeMarks, weight: FloatArray) -> FloatArray:
    """What each step adds at each place of the bar, rhythm apart; shape (count, bar)."""
    bar, steps = structure.bar, structure.steps
    bars = np.sqrt(max(1.0, lattice.count / bar))
    cycle = {"bar": bar, "half": bar, "beat": steps, "division": max(steps // (3 if structure.compound else 2), 1)}
    made = np.zeros((lattice.count, bar))

    def add(level: str, on_step: FloatArray, scale: float) -> None:
        first = bar // 2 if level == "half" else 0
        if level != "half" or structure.beats == 4:
            made[:, first :: cycle[level]] += (on_step / scale)[:, None]

    for level in LEVELS:
        rows = [FEATURE_NAMES.index(f"{accent} on {level}") for accent in ACCENTS]
        add(level, weight[rows] @ marks.accents, bars * np.sqrt(bar // cycle[level]))
    for span, size in zip(SPANS, (steps, bar), strict=True):
        change = marks.harmony(size)
        for level in LEVELS[:3]:
            row = FEATURE_NAMES.index(f"{span} harmony on {level}")
            add(level, weight[row] * change, bars * np.sqrt(bar // cycle[level]))
    for level, row, name in (("bar", 0, "heard bar lines"), ("beat", 1, "heard beats")):
        add(level, weight[FEATURE_NAMES.index(name)] * marks.heard[row], 1.0)
    return made
