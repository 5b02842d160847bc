"""What discs of a collection have in common: the same tune, the same maker's habits.

A maker's habits are numbers that he kept from disc to disc: the innermost and outermost track, the distance between
tracks, the pins' thickness, the plate's diameter, the teeth. Discs whose habits all agree within what measuring allows
are grouped (common practice, no source): it is a hint where to look, not an attribution.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from itertools import product
from operator import add
from statistics import median

import numpy as np

from disc.collect.rows import DONE, DiscRow
from disc.frame import FloatArray

Cell = tuple[int, ...]
Habits = FloatArray  # shape (discs, habits), each habit counted in its reach

# Unless said otherwise: chosen by hand, not measured.
# Below this probability a tune is not taken as known.
SURE_TUNE = 0.5
# Two discs share a habit if it differs by no more than this. Measured radii agree within 0.05 mm where the diameter
# given was right within 0.3 %; the tracks' distance is a mean over many and so is known better.
REACH = {
    "diameter_mm": 0.3,
    "inner_r_mm": 0.15,
    "outer_r_mm": 0.2,
    "track_gap_mm": 0.03,
    "pin_diameter_mm": 0.04,
    "tracks": 3,
}
ROUNDING = 1e-9  # of a quotient that is exactly one
# The neighbours of a cell, each pair of cells once, by definition.
_HALF_OF_THE_STEPS = [step for step in product((-1, 0, 1), repeat=len(REACH)) if step > (0,) * len(REACH)]


def same_tune(rows: Iterable[DiscRow]) -> list[dict[str, object]]:
    """Tunes that stand on several discs, most discs first."""
    discs: dict[tuple[str, str], list[DiscRow]] = defaultdict(list)
    for row in rows:
        if row.tune_file and (row.tune_probability or 0.0) >= SURE_TUNE:
            discs[(row.tune_file, row.tune_number or "")].append(row)
    shared = [(key, found) for key, found in discs.items() if len(found) > 1]
    return [
        {"file": file, "number": number, "title": found[0].tune_title, "discs": [row.name for row in found]}
        for (file, number), found in sorted(shared, key=lambda pair: (-len(pair[1]), pair[0]))
    ]


def same_habits(rows: Iterable[DiscRow]) -> list[dict[str, object]]:
    """Discs alike in all habits, joined step by step (single linkage).

    Discs of one cell of a grid, as wide as the reach in each habit, are alike; only cells side by side are compared
    disc by disc, and only until they are joined. So the cost grows with the discs and not with their pairs.
    """
    known = [row for row in rows if row.status == DONE and all(getattr(row, habit) is not None for habit in REACH)]
    if len(known) < 2:
        return []
    habits = np.array([[getattr(row, habit) / reach for habit, reach in REACH.items()] for row in known])
    groups: dict[Cell, list[DiscRow]] = defaultdict(list)
    cells = _cells(habits)
    leader = _joined(cells, habits)
    for cell, members in cells.items():
        groups[_root(leader, cell)] += [known[i] for i in members]
    shared = [sorted(found, key=lambda row: row.name) for found in groups.values() if len(found) > 1]
    return [
        {"discs": [row.name for row in found], **{habit: _middle(found, habit) for habit in REACH}}
        for found in sorted(shared, key=lambda found: (-len(found), found[0].name))
    ]


def _cells(habits: Habits) -> dict[Cell, list[int]]:
    cells: dict[Cell, list[int]] = defaultdict(list)
    for index, cell in enumerate(np.floor(habits).astype(int).tolist()):
        cells[tuple(cell)].append(index)
    return cells


def _joined(cells: dict[Cell, list[int]], habits: Habits) -> dict[Cell, Cell]:
    leader = {cell: cell for cell in cells}
    points = {cell: habits[members] for cell, members in cells.items()}
    for cell in cells:
        for step in _HALF_OF_THE_STEPS:
            other = tuple(map(add, cell, step))
            if other not in cells or _root(leader, cell) == _root(leader, other):
                continue
            if _touch(points[cell], points[other]):
                leader[_root(leader, cell)] = _root(leader, other)
    return leader


def _touch(one: Habits, other: Habits) -> bool:
    """Whether any disc of one cell is alike in all habits to any disc of the other. Shapes (n, habits), (m, habits)."""
    return any(bool((np.abs(other - disc) <= 1.0 + ROUNDING).all(axis=1).any()) for disc in one)


def _root(leader: dict[Cell, Cell], cell: Cell) -> Cell:
    while leader[cell] != cell:
        leader[cell] = leader[leader[cell]]
        cell = leader[cell]
    return cell


def _middle(rows: list[DiscRow], habit: str) -> float:
    return float(median(getattr(row, habit) for row in rows))
