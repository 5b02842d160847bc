"""First pass of the search: groups of strikes vote for where in which tune they may lie.

Every group of strikes that has the shape of a printed group votes for one tune, one transposition, one tempo and one
start. Votes are counted in a table of fixed size (a vote's cell is a hash of what it says), so that time and memory do
not grow with the library beyond the votes themselves; and votes are limited, commonest shapes last.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.library.grid import Grid
from disc.library.groups import Groups, Shape, disc_groups
from disc.library.index import ONSET_STEP, SPAN_STEPS, SPAN_ZERO, Postings
from disc.library.records import TICKS_PER_QUARTER, FloatArray, IntArray

CELL_BITS = 21
CELLS = 1 << CELL_BITS
MULTIPLIER = np.int64(0x9E3779B1)  # 2**32 over the golden ratio: Knuth, The Art of Computer Programming 3, 6.4
START_CELL_QUARTER = 1.0
# Quarters of one grid step that notation gives; a tempo is drawn to the nearest, since spans are kept coarsely.
SIMPLE_RATIOS = (
    (1, 32), (1, 24), (1, 16), (1, 12), (3, 32), (1, 10), (1, 8), (1, 6), (3, 16), (1, 5), (1, 4), (1, 3), (3, 8),
    (2, 5), (1, 2), (3, 5), (2, 3), (3, 4), (1, 1), (4, 3), (3, 2), (2, 1), (8, 3), (3, 1), (4, 1), (6, 1), (8, 1),
)  # fmt: skip
SIMPLE = np.array([a / b for a, b in SIMPLE_RATIOS])
SIMPLE_STEP = SPAN_STEPS * np.log2(SIMPLE)
LOWEST_STEP, HIGHEST_STEP = -200, 200
NEAREST_SIMPLE = SIMPLE[np.argmin(np.abs(np.arange(LOWEST_STEP, HIGHEST_STEP)[:, None] - SIMPLE_STEP), axis=1)]


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Trial placements in tunes, shape (n,), most votes first.

    transposition: semitones (0 where only ranks are known). quarters: printed quarters of one grid step. start_quarter:
    printed quarter at grid place 0. votes: how many groups agree. grid: which grid.
    """

    tune: IntArray
    transposition: IntArray
    quarters: FloatArray
    start_quarter: FloatArray
    votes: IntArray
    grid: IntArray


def candidates(
    shape: Shape,
    postings: Postings,
    grids: list[Grid],
    pitch: IntArray,
    weight: FloatArray,
    most_groups: int,
    most_votes: int,
    most: int,
    allowed: np.ndarray | None = None,
) -> Candidates:
    """The placements with the most votes. allowed: shape (tunes,), tunes that may be found; None: all."""  # fmt: skip
    parts = [
        _from_grid(shape, postings, number, grid, pitch, weight, most_groups, most_votes, most, allowed)
        for number, grid in enumerate(grids)
    ]
    if not parts:
        empty = np.empty(0, dtype=np.int64)
        return Candidates(empty, empty, np.empty(0), np.empty(0), empty, empty)
    names = ("tune", "transposition", "quarters", "start_quarter", "votes", "grid")
    joined = [np.concatenate([getattr(part, name) for part in parts]) for name in names]
    order = np.argsort(-joined[4], kind="stable")[:most]
    return Candidates(*(column[order] for column in joined))


def _from_grid(
    shape: Shape,
    postings: Postings,
    number: int,
    grid: Grid,
    pitch: IntArray,
    weight: FloatArray,
    most_groups: int,
    most_votes: int,
    most: int,
    allowed: np.ndarray | None,
) -> Candidates:
    groups = disc_groups(shape, grid.place, pitch, weight, most_groups)
    vote, source = _votes(postings, groups, most_votes)
    tune = (vote >> np.uint64(32)).astype(np.int64)
    if allowed is not None:
        inside = allowed[tune]
        vote, source, tune = vote[inside], source[inside], tune[inside]
    low = vote.astype(np.uint32).astype(np.int64)
    transposition = pitch[groups.first][source] - (low >> 24) if shape.name == "pitch" else np.zeros_like(tune)
    step = ((low >> 16) & 255) - SPAN_ZERO - np.round(SPAN_STEPS * np.log2(groups.span)).astype(np.int64)[source]
    quarters = NEAREST_SIMPLE[np.clip(step - LOWEST_STEP, 0, HIGHEST_STEP - LOWEST_STEP - 1)]
    start = (low & 0xFFFF) * (ONSET_STEP / TICKS_PER_QUARTER) - grid.place[groups.first][source] * quarters
    cell = _cells(tune, transposition, step, start)
    count = np.bincount(cell, minlength=CELLS)
    return _most_voted(count, cell, tune, transposition, quarters, start, number, most)


def _votes(postings: Postings, groups: Groups, most: int) -> tuple[np.ndarray, IntArray]:
    """(packed posting of each vote, index of the group that cast it)."""
    place = np.searchsorted(postings.key, groups.key)
    place = np.minimum(place, max(postings.key.size - 1, 0))
    known = np.flatnonzero(postings.key[place] == groups.key) if postings.key.size else np.empty(0, dtype=np.int64)
    begin = postings.start[place[known]].astype(np.int64)
    count = postings.start[place[known] + 1].astype(np.int64) - begin
    if count.sum() > most:
        order = np.argsort(count, kind="stable")
        order = order[: int(np.searchsorted(np.cumsum(count[order]), most))]
        known, begin, count = known[order], begin[order], count[order]
    ends = np.cumsum(count)
    total = int(ends[-1]) if ends.size else 0
    where = np.arange(total) + np.repeat(begin - (ends - count), count)
    return postings.packed[where], np.repeat(known, count)


def _cells(tune: IntArray, transposition: IntArray, step: IntArray, start: FloatArray) -> IntArray:
    name = (tune * 64 + (transposition & 63)) * 256 + (step & 255)
    base = ((name * MULTIPLIER) & np.int64(0xFFFFFFFF)) >> np.int64(32 - CELL_BITS)
    return (base + np.floor(start / START_CELL_QUARTER).astype(np.int64)) & np.int64(CELLS - 1)


def _most_voted(
    count: IntArray,
    cell: IntArray,
    tune: IntArray,
    transposition: IntArray,
    quarters: FloatArray,
    start: FloatArray,
    number: int,
    most: int,
) -> Candidates:
    """One candidate for each of the fullest cells."""
    enough = _threshold(count, most)
    chosen = np.flatnonzero(count[cell] >= enough)
    exact = np.round(start[chosen] * 8).astype(np.int64)
    name = (tune[chosen] * 256 + (transposition[chosen] & 255)) * 1024 + (
        np.round(quarters[chosen] * 96).astype(np.int64) & 1023
    )
    order = np.lexsort((exact, name))
    name, exact, chosen = name[order], exact[order], chosen[order]
    begins = (
        np.flatnonzero(np.concatenate([[True], (name[1:] != name[:-1]) | (exact[1:] != exact[:-1])]))
        if name.size
        else name
    )
    votes = np.diff(np.concatenate([begins, [name.size]]))
    best = np.argsort(-votes, kind="stable")[:most]
    pick = chosen[begins[best]]
    return Candidates(
        tune[pick], transposition[pick], quarters[pick], exact[begins[best]] / 8.0, votes[best],
        np.full(best.size, number, dtype=np.int64),
    )  # fmt: skip


def _threshold(count: IntArray, most: int) -> int:
    """Fewest votes with which a cell is among about `most` cells; at least two."""
    histogram = np.bincount(count)
    above = np.cumsum(histogram[::-1])[::-1]
    few = np.flatnonzero(above <= most)
    return max(2, int(few[0]) if few.size else histogram.size)
