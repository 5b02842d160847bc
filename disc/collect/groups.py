"""What discs of a collection have in common: the same tune, the same maker's habits.

A maker's habits are numbers that he kept from disc to disc: the innermost and outermost track, the distance between
tracks, the pins' thickness, the plate's diameter, the teeth. Discs whose habits all agree within what measuring allows
are grouped (common practice, no source): it is a hint where to look, not an attribution.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from disc.collect.rows import DONE, Row

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


def same_tune(rows: Iterable[Row]) -> list[dict[str, object]]:
    """Tunes that stand on several discs, most discs first."""
    discs: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in rows:
        if row.tune_file and (row.tune_probability or 0.0) >= SURE_TUNE:
            discs[(row.tune_file, row.tune_number or "")].append(row)
    shared = [(key, found) for key, found in discs.items() if len(found) > 1]
    return [
        {"file": file, "number": number, "title": found[0].tune_title, "discs": [row.name for row in found]}
        for (file, number), found in sorted(shared, key=lambda pair: (-len(pair[1]), pair[0]))
    ]


def same_habits(rows: Iterable[Row]) -> list[dict[str, object]]:
    """Discs alike in all habits, joined step by step (single linkage), in cells of a grid so that it scales."""
    known = [row for row in rows if row.status == DONE and all(getattr(row, habit) is not None for habit in REACH)]
    cells: dict[tuple[int, int, int], list[int]] = defaultdict(list)
    for index, row in enumerate(known):
        cells[_cell(row)].append(index)
    leader = list(range(len(known)))
    for index, row in enumerate(known):
        for other in _near(cells, row):
            if other < index and _alike(row, known[other]):
                leader[_root(leader, index)] = _root(leader, other)
    groups: dict[int, list[Row]] = defaultdict(list)
    for index, row in enumerate(known):
        groups[_root(leader, index)].append(row)
    shared = [found for found in groups.values() if len(found) > 1]
    return [
        {"discs": [row.name for row in found], **{habit: _middle(found, habit) for habit in REACH}}
        for found in sorted(shared, key=lambda found: (-len(found), found[0].name))
    ]


_CELL_HABITS = ("diameter_mm", "inner_r_mm", "track_gap_mm")


def _cell(row: Row) -> tuple[int, int, int]:
    a, b, c = (int(getattr(row, habit) // REACH[habit]) for habit in _CELL_HABITS)
    return a, b, c


def _near(cells: dict[tuple[int, int, int], list[int]], row: Row) -> list[int]:
    a, b, c = _cell(row)
    steps = (-1, 0, 1)
    return [i for x in steps for y in steps for z in steps for i in cells.get((a + x, b + y, c + z), ())]


def _alike(one: Row, other: Row) -> bool:
    return all(abs(getattr(one, habit) - getattr(other, habit)) <= reach for habit, reach in REACH.items())


def _root(leader: list[int], index: int) -> int:
    while leader[index] != index:
        leader[index] = leader[leader[index]]
        index = leader[index]
    return index


def _middle(rows: list[Row], habit: str) -> float:
    from statistics import median

    return float(median(getattr(row, habit) for row in rows))
