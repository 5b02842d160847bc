"""Search by the order of the teeth alone: the comb's tuning and the tune are solved for together.

Where only the order of the teeth by pitch is known, a trial placement says which printed note meets which tooth. The
tuning that goes with it is a rising map from teeth to pitches; the one under which most notes meet their tooth is found
by dynamic programming over teeth and pitches (as in the longest common rising subsequence), for all placements at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.library.index.tune_index import Index
from disc.library.records import FloatArray, IntArray
from disc.library.search.asked.disc_pulse import DiscPulse
from disc.library.search.places.rate import first_notes
from disc.library.search.places.vote import Candidates
from disc.tune.score.records import TICKS_PER_QUARTER

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
NEAR_PLACE = 0.34  # steps of the grid within which a printed note stands at a place
TOGETHER = 4  # strikes at one place of the grid that are looked at, highest first
MET_NATS = 2.0  # a note that meets its tooth; chance: about one tooth in eight
ABSENT_NATS = -1.0  # a note that meets no tooth: a pin may be lost; chosen with MET_NATS on practice discs, not fitted
TOOTH_NATS = 1.0  # every mapped tooth is a free choice of pitch, worth about one semitone in three
# semitones above a tune's lowest that a tooth may have: four octaves hold any comb's tune; higher ones are taken for
# the last
PITCHES = 48
# A cheap look at very many placements, before tunings are solved for. Of 175 discs (seeds 130 and 131) whose tune was
# among 20,000 placements the look kept 98 % among the first 200, the votes alone 93 % among 400.
LOOK_NOTES = 12  # to either side; 24 kept no more
# nats of a note met and not met in the cheap look; chosen by hand, as the look as a whole was measured
LOOK_MET, LOOK_ABSENT = 0.8, -0.8
SAME_WAY, OTHER_WAY = 0.9, -1.6  # the melody and the teeth move the same way from one note met to the next, or not
VOTES_SHARE = 0.3  # what the votes count beside the look, best against best
WIDEST = 256  # columns of notes solved at once from the first that meets; chosen by hand, to bound memory


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """Rated placements: score, shape (n,); pitch of each tooth, (n, teeth), -1 where it plays no printed note."""

    score: FloatArray
    pitch_of_rank: IntArray


def look(index: Index, found: Candidates, grids: list[DiscPulse], rank: IntArray, weight: FloatArray) -> FloatArray:
    """What the notes next to the voting group say, and the votes, shape (n,), higher is better; no tuning is solved.

    weight: probability of each strike to be of the melody; the likeliest at each place of the grid is looked at.
    """
    score = np.zeros(found.tune.size)
    for number, grid in enumerate(grids):
        rows = np.flatnonzero(found.grid == number)
        if rows.size:
            score[rows] = _look(index, found.part(rows), grid, rank, weight)
    return score / max(score.max(initial=0.0), 1e-9) + VOTES_SHARE * found.votes / found.votes.max(initial=1e-9)


def _look(index: Index, found: Candidates, grid: DiscPulse, rank: IntArray, weight: FloatArray) -> FloatArray:
    places = int(grid.place.max()) + 1
    tooth, strength = np.full(places + 1, -1), np.zeros(places + 1)
    for i in np.argsort(weight, kind="stable"):
        if grid.place[i] >= 0:
            tooth[grid.place[i]], strength[grid.place[i]] = rank[i], weight[i]
    first, end = index.start[found.tune][:, None], index.start[found.tune + 1][:, None]
    steps = (1.0 / (found.quarters * TICKS_PER_QUARTER))[:, None]
    zero = (found.start_quarter / found.quarters)[:, None]
    score = np.zeros(found.tune.size)
    for column in (np.arange(LOOK_NOTES), -np.arange(LOOK_NOTES)):
        note = first + found.note[:, None] + column
        there = (note >= first) & (note < end)
        note = np.where(there, note, first)
        exact = index.onset[note] * steps - zero
        place = np.rint(exact).astype(np.int64)
        there &= (place >= 0) & (place < places)
        place = np.where(there & (np.abs(exact - place) < NEAR_PLACE), place, places)
        here, strong = tooth[place], strength[place]
        met = here >= 0
        value = np.where(met, LOOK_MET * _claim(strong), LOOK_ABSENT)
        alike = np.sign(np.diff(index.pitch[note].astype(np.int64), axis=1)) == np.sign(np.diff(here, axis=1))
        way = np.where(alike, SAME_WAY, OTHER_WAY) * np.minimum(strong[:, 1:], strong[:, :-1])
        value[:, 1:] += np.where(met[:, 1:] & met[:, :-1], way, 0.0)
        score += np.maximum(np.cumsum(np.where(there, value, 0.0), axis=1).max(axis=1), 0.0)
    return score


def _claim(weight: FloatArray) -> FloatArray:
    """What a strike counts by its probability to be of the melody, 0.35 to 1: the probability is a rule of thumb."""
    return np.asarray(0.35 + 0.65 * weight)


def solve_tunings(
    index: Index, found: Candidates, grids: list[DiscPulse], rank: IntArray, weight: FloatArray
) -> Solved:
    """The best tuning and score of every candidate. weight: probability of each strike to be of the melody."""
    score = np.zeros(found.tune.size)
    teeth = int(rank.max()) + 1
    tuning = np.full((found.tune.size, teeth), -1, dtype=np.int64)
    for number, grid in enumerate(grids):
        rows = np.flatnonzero(found.grid == number)
        for part in np.array_split(rows, max(1, -(-rows.size // 500))):
            if part.size:
                score[part], tuning[part] = _solve(index, found, part, grid, rank, weight, teeth)
    return Solved(score, tuning)


def _solve(
    index: Index, found: Candidates, rows: IntArray, grid: DiscPulse, rank: IntArray, weight: FloatArray, teeth: int
) -> tuple[FloatArray, IntArray]:
    table, strength = _teeth_at(grid, rank, weight)
    place, pitch, real = _printed(index, found, rows, table.shape[0])
    lowest = np.where(real, pitch, 127).min(axis=1)
    row, note = np.nonzero(real)
    at, met = place[row, note], table[place[row, note]]  # (notes within the turn, TOGETHER)
    step = np.clip(pitch[row, note] - lowest[row], 0, PITCHES - 1)
    cell = (row[:, None] * teeth + met) * PITCHES + step[:, None]
    meetings = np.bincount(cell[met >= 0], weights=strength[at][met >= 0], minlength=rows.size * teeth * PITCHES)
    meetings = meetings.reshape(rows.size, teeth, PITCHES)
    # The notes of a pitch that meet another tooth instead: a tooth's claim on a pitch is what speaks for it.
    total, choice = _rising_map(meetings.astype(np.float64) * (MET_NATS - ABSENT_NATS))
    absent = ABSENT_NATS * real.sum(axis=1)
    return total + absent, np.where(choice >= 0, choice + lowest[:, None], -1)


def _teeth_at(grid: DiscPulse, rank: IntArray, weight: FloatArray) -> tuple[IntArray, FloatArray]:
    """Teeth struck at each place of the grid and their weights, highest first, shape (places + 1, TOGETHER)."""
    places = int(grid.place.max()) + 1
    table = np.full((places + 1, TOGETHER), -1, dtype=np.int64)
    strength = np.zeros((places + 1, TOGETHER))
    filled = np.zeros(places + 1, dtype=np.int64)
    claim = _claim(weight)
    for i in np.lexsort((-rank, grid.place)):
        at = grid.place[i]
        if at >= 0 and filled[at] < TOGETHER:
            table[at, filled[at]] = rank[i]
            strength[at, filled[at]] = claim[i]
            filled[at] += 1
    return table, strength


def _printed(index: Index, found: Candidates, rows: IntArray, places: int) -> tuple[IntArray, IntArray, np.ndarray]:
    """Grid place, pitch and whether it falls within the turn of the candidates' notes, shape (candidates, notes)."""
    tune, quarters, zero = found.tune[rows], found.quarters[rows], found.start_quarter[rows]
    first = first_notes(index, tune, (zero - quarters) * TICKS_PER_QUARTER)
    length = first_notes(index, tune, (zero + places * quarters) * TICKS_PER_QUARTER) - first
    column = np.arange(int(min(length.max(initial=1), 2048)))
    note = np.minimum(first[:, None] + column, index.start[tune + 1][:, None] - 1)
    quarter = index.onset[note] / TICKS_PER_QUARTER
    exact = (quarter - zero[:, None]) / quarters[:, None]
    place = np.round(exact).astype(np.int64)
    real = (column < length[:, None]) & (place >= 0) & (place < places - 1) & (np.abs(exact - place) < NEAR_PLACE)
    begin = np.argmax(real, axis=1)
    width = int(min((column.size - begin).max(initial=1), WIDEST))
    take = np.minimum(begin[:, None] + np.arange(width), column.size - 1)
    row = np.arange(rows.size)[:, None]
    inside = real[row, take] & (begin[:, None] + np.arange(width) < column.size)
    return np.where(inside, place[row, take], places - 1), index.pitch[note[row, take]].astype(np.int64), inside


def _rising_map(claim: FloatArray) -> tuple[FloatArray, IntArray]:
    """The strictly rising map of teeth to pitches with the highest sum of claims.

    claim: shape (n, teeth, pitches). Returns (sum, shape (n,); pitch of each tooth or -1, shape (n, teeth)).
    """
    n, teeth, pitches = claim.shape
    gain = claim - TOOTH_NATS
    best = np.zeros((n, pitches + 1))  # best[:, p]: highest sum with all pitches so far below p
    took = np.zeros((teeth, n, pitches + 1), dtype=bool)
    for tooth in range(teeth):
        with_tooth = best[:, :-1] + gain[:, tooth]
        here = np.maximum(best[:, 1:], with_tooth)
        took[tooth, :, 1:] = with_tooth > best[:, 1:]
        new = np.concatenate([best[:, :1], here], axis=1)
        best = np.maximum.accumulate(new, axis=1)
        took[tooth, :, 1:] &= here >= best[:, 1:]
    return best[:, -1], _trace(took, best)


def _trace(took: np.ndarray, best: FloatArray) -> IntArray:
    teeth, n, width = took.shape
    choice = np.full((n, teeth), -1, dtype=np.int64)
    limit = np.full(n, width - 1)
    levels = np.arange(width)
    for tooth in range(teeth - 1, -1, -1):
        # The highest pitch at or below the limit at which this tooth was taken and no higher sum was carried over it.
        allowed = took[tooth] & (levels <= limit[:, None])
        last = np.where(allowed.any(axis=1), width - 1 - np.argmax(allowed[:, ::-1], axis=1), -1)
        choice[:, tooth] = np.where(last > 0, last - 1, -1)
        limit = np.where(last > 0, last - 1, limit)
    return choice
