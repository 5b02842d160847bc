"""The strikes of a turn with what their time is weighed by: the grid, and the metre, which is handed in from above."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.tune.read.linear import LinearModel
from disc.tune.read.time.step_grid import StepGrid, find_grids
from disc.tune.read.time.straighten import TimeMap

Rate = Callable[[FloatArray, StepGrid], float]
Lines = Callable[[FloatArray, StepGrid, int], FloatArray]


@dataclass(frozen=True, slots=True)
class WeighedTurn:
    """onset_s, pitch, is_melody: shape (n,), in order. grid: the best steady one; steps: those worth trying, s.

    rate: (moved onsets, a grid) to the metre's score; lines: (moved onsets, a grid, most steps) to the same for each
    gap taken 0, 1, ... most steps shorter, at a look (later_lines.py). odds: weights of hold_odds.FEATURES.
    """

    onset_s: FloatArray
    pitch: FloatArray
    is_melody: npt.NDArray[np.bool_]
    grid: StepGrid
    steps: tuple[float, ...]
    rate: Rate
    lines: Lines
    odds: LinearModel

    def grid_of(self, pace: TimeMap) -> StepGrid:
        """The best grid of the strikes as they stand by a pace."""
        return find_grids(pace.straight(self.onset_s))[0]

    def worth(self, pace: TimeMap) -> float:
        """Grid and metre together by a pace, less what its bends must gain; nats."""
        moved = pace.straight(self.onset_s)
        grid = find_grids(moved)[0]
        return grid.score + self.rate(moved, grid) - pace.price
