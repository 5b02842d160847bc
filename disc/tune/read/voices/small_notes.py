"""What tells a small note of an ornament from a written one: its haste, its neighbours in pitch, and the grid it keeps.

Comes in: the strikes that may be melody, one line of them, and the grid that the turn stands on without quick notes.
Goes out: the strikes that are small notes, as fitted trees say from a row of numbers for each that stands near enough
to another (tests/bench/fit/fit_small_notes.py). A written run may be as quick as a turn: what tells them apart is
seldom one number.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

from disc.fitted import fitted_part
from disc.frame import FloatArray
from disc.trees import fitted_trees
from disc.tune.read.time.step_grid import StepGrid

SMALL_FILE = Path(__file__).with_name("small_notes.json")

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

# A small note and the one beside it follow each other within this; a tenth of a second and two setting errors. Chosen.
QUICK_S = 0.135
# Gaps are told in powers of two between these; shorter and longer ones are alike (chosen).
LEAST_GAP_S, MOST_GAP_S = 0.02, 2.5
BESIDE_S = 0.04  # strikes closer than this sound together; chosen, under three setting errors
ALIKE_S = 0.018  # gaps that differ by less may be the same written value; a setting error's, chosen
MOMENT_S = 0.02  # two strikes closer than this cannot be told in order; chosen, a little over a setting error
NEAR_STEP = 5.0  # semitones, the widest of a small note to its own; common practice, no source
MOST_STEP = 12.0  # semitones: wider steps are alike (chosen)
FEATURES = (
    *("gap before the last", "gap before", "gap after", "gap after the next"),
    *("step from before", "step to next", "width to next", "step to next but one", "step over it"),
    *("same as next but one", "same as last but one", "chance of melody", "chance of melody of next"),
    *("quick before", "quick after", "mean of the run", "spread of the run", "rest before run", "rest after run"),
    *("shakes", "range of run", "width over run"),
    *("median gap", "quick share", "quick mean", "quick spread", "gaps as this", "long notes so led to"),
    *("beside it", "beside next", "beside note", "beside note before"),
    *(
        "grid step",
        "grid error",
        "off grid",
        "next off grid",
        "note off grid",
        "gap off steps",
        "used place",
        "used half",
    ),
)


def small_notes(
    onset_s: FloatArray, pitch: FloatArray, melody: FloatArray, line: IntArray, grid: StepGrid
) -> BoolArray:
    """Which strikes of the line are small notes, shape as line. Inputs as of small_note_rows."""
    places, rows = small_note_rows(onset_s, pitch, melody, line, grid)
    small = np.zeros(len(line), dtype=bool)
    small[places] = fitted_trees(SMALL_FILE, "small_notes").odds(rows) > fitted_part(SMALL_FILE, "least_odds")["odds"]
    return small


def small_note_rows(
    onset_s: FloatArray, pitch: FloatArray, melody: FloatArray, line: IntArray, grid: StepGrid
) -> tuple[IntArray, FloatArray]:
    """(places in the line of the strikes that may be small notes, shape (m,); what is seen of each, shape (m, f)).

    onset_s, pitch, melody (probability): shape (n,), in order of time. line: the line's strikes by index.
    """
    at, height = onset_s[line], pitch[line]
    count = len(line)
    gap = np.r_[MOST_GAP_S, np.diff(at), MOST_GAP_S]  # gap[k]: before the line's k-th; gap[k + 1]: after it
    quick = gap <= QUICK_S
    may_be = np.flatnonzero(quick[:-1] | quick[1:])
    if not len(may_be):
        return may_be, np.zeros((0, len(FEATURES)))
    edges = np.flatnonzero(~quick)  # the runs of quick gaps lie between them
    run = np.searchsorted(edges, np.arange(count), "right") - 1
    first, last = edges[run], edges[run + 1] - 1  # the line's places where the run of each begins and ends
    inner = gap[1:-1]
    hasty = inner[inner <= QUICK_S]
    beside = (np.abs(onset_s[:, None] - at[None, :]) < BESIDE_S).sum(0) - 1.0
    place = grid.places(at)
    off = np.abs(place - np.round(place)) * grid.step_s
    whole = np.round(place).astype(int)
    rows = []
    for k in may_be.tolist():
        a, b = int(first[k]), int(last[k])
        own = gap[a + 1 : b + 1]
        heights = height[a : b + 1]
        after = float(gap[k + 1])
        steps = after / grid.step_s
        shakes = float((heights[2:] == heights[:-2]).mean()) if len(heights) > 2 else 0.0
        end = min(b + 1, count - 1) if b == k else b
        rows.append(
            [
                *(_log(gap[j]) if 0 <= j < len(gap) else _log(MOST_GAP_S) for j in (k - 1, k, k + 1, k + 2)),
                _step(height, k - 1, k),
                _step(height, k, k + 1),
                abs(_step(height, k, k + 1)),
                _step(height, k, k + 2),
                _step(height, k - 1, k + 1),
                k + 2 < count and height[k] == height[k + 2],
                k > 1 and height[k] == height[k - 2],
                melody[line[k]],
                melody[line[min(k + 1, count - 1)]],
                k - a,
                b - k,
                own.mean(),
                own.std(),
                _log(gap[a]),
                _log(gap[b + 1]),
                shakes,
                np.ptp(heights),
                abs(_step(height, a - 1, b)),
                _log(float(np.median(inner))),
                len(hasty) / count,
                hasty.mean(),
                hasty.std(),
                (np.abs(inner - after) < ALIKE_S).sum() - 1.0,
                ((np.abs(inner[:-1] - after) < ALIKE_S) & (inner[1:] > 2.0 * after)).sum() / count,
                beside[k],
                beside[min(k + 1, count - 1)],
                beside[end],
                beside[max(a - 1, 0)],
                grid.step_s,
                grid.sigma_s,
                off[k],
                off[min(k + 1, count - 1)],
                off[end],
                abs(steps - max(1.0, round(steps))) * grid.step_s,
                (whole % 2 == whole[k] % 2).mean(),
                (whole % 4 == whole[k] % 4).mean(),
            ]
        )
    return may_be, np.array(rows, dtype=float)


def upper_line(onset_s: FloatArray, pitch: FloatArray, melody: FloatArray, single: BoolArray) -> IntArray:
    """The strikes that may be of the melody or of its ornaments, by index: those that nothing at the same moment is
    above, and that are melody, or so near to another in time and pitch that they may lead to it.

    single: shape (n,), strikes of no roll and the last of each. Voices are told apart by who sounds together, and so
    take a note for accompaniment that its own small note, above it, stands close before.
    """
    later_s = onset_s[None, :] - onset_s[:, None]
    above = pitch[None, :] - pitch[:, None]
    top = ~((np.abs(later_s) < MOMENT_S) & (above > 0) & single[None, :]).any(1) & single
    near = (np.abs(later_s) < QUICK_S) & (np.abs(later_s) >= MOMENT_S) & (np.abs(above) <= NEAR_STEP) & (above != 0)
    sure = melody > 0.5
    by_melody = (near & (sure & top)[None, :]).any(1)
    return np.flatnonzero(top & (sure | by_melody))


def _log(gap_s: float) -> float:
    return float(np.log2(min(max(gap_s, LEAST_GAP_S), MOST_GAP_S)))


def _step(height: FloatArray, k: int, to: int) -> float:
    """Semitones up from one place of the line to another; 0 beyond its ends."""
    if k < 0 or to >= len(height):
        return 0.0
    return float(np.clip(height[to] - height[k], -MOST_STEP, MOST_STEP))
