"""First pass of the search: groups of strikes vote for where in which tune they may lie.

Every group of strikes that, at a trial tempo, has the shape of a printed group votes for one tune, one transposition
and one start; a rare shape says more than a common one. A vote's cell is a hash of what it says, so that time and
memory do not grow with the library beyond the votes themselves; and votes are limited: those groups cast them that are
likeliest of the melody for what they cost.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from disc.library.index.groups import Groups, Shape, disc_groups, keys_of
from disc.library.index.postings import ONSET_SHIFT, ONSET_UNIT, PITCH_SHIFT, TUNE_SHIFT, Packed, Postings
from disc.library.records import FloatArray, IntArray
from disc.library.search.asked.disc_pulse import DiscPulse

Words = npt.NDArray[np.uint32]

# 2**32 over the golden ratio (Knuth, The Art of Computer Programming 3, 6.4), and odd numbers chosen without a reason.
TUNE_FACTOR, PITCH_FACTOR, ASKED_FACTOR = np.uint32(0x9E3779B1), np.uint32(0x85EBCA77), np.uint32(0xC2B2AE3D)
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
NEIGHBOUR = 0.5  # of the votes for the starts one step earlier and later: strikes are sometimes a step off the grid
LONGEST_GROUP_S = 4.0  # 3, 4 and 6 s found as many practice discs (seeds 103 and 107)
QUARTER_S = (0.12, 4.0)  # trial tempi beyond these are not looked at; practice discs have 0.12 to 3.0
# Printed quarters of one step of the disc's grid, and how often each was right on 450 practice discs (seed 103).
QUARTERS_OF_STEP = np.array([1 / 2, 1 / 4, 1.0, 1 / 3, 1 / 6, 2.0, 1 / 8, 1 / 12, 3 / 2])
SHARE_OF_STEP = np.array([0.5, 0.3, 0.08, 0.04, 0.03, 0.02, 0.02, 0.01, 0.01])  # the shares to the quarters above


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Trial placements in tunes, shape (n,), most votes first.

    note: where in the tune the voting group begins. transposition: semitones (0 where only ranks are known).
    quarters: printed quarters of one grid step. start_quarter: printed quarter at grid place 0. votes: how much speaks
    for it. grid: which grid.
    """

    tune: IntArray
    note: IntArray
    transposition: IntArray
    quarters: FloatArray
    start_quarter: FloatArray
    votes: FloatArray
    grid: IntArray

    def part(self, rows: IntArray) -> Candidates:
        """These rows of it."""
        return Candidates(*(getattr(self, column.name)[rows] for column in fields(self)))

    def seconds(self, grids: list[DiscPulse]) -> tuple[FloatArray, FloatArray]:
        """(seconds of a quarter, second at which quarter 0 falls), shape (n,) each."""
        step_s = np.array([grid.step_s for grid in grids])[self.grid]
        quarter_s = step_s / self.quarters
        return quarter_s, np.array([grid.start_s for grid in grids])[self.grid] - self.start_quarter * quarter_s


@dataclass(frozen=True, slots=True, eq=False)
class _Questions:
    """Groups at trial tempi, shape (n,): key, first strike and its place, number of the tempo, grid, weight."""

    key: np.ndarray
    first: IntArray
    tempo: IntArray
    grid: IntArray
    weight: FloatArray
    place: IntArray


def candidates(
    shape: Shape,
    postings: Postings,
    grids: list[DiscPulse],
    pitch: IntArray,
    weight: FloatArray,
    most_groups: int,
    most_votes: int,
    most: int,
    stretch: npt.NDArray[np.uint8],
    allowed: np.ndarray | None = None,
) -> Candidates:
    """The placements with the most votes. pitch: of each strike, or its rank. weight: log probability to be melody.

    stretch: printed quarters that count as one in each tune, shape (tunes,): the trial tempi are of these.
    allowed: shape (tunes,), tunes that may be found; None: all.
    """
    asked = [_questions(shape, number, grid, pitch, weight, most_groups) for number, grid in enumerate(grids)]
    joined = _Questions(*(np.concatenate([getattr(one, f.name) for one in asked]) for f in fields(_Questions)))
    cast = _votes(postings, joined, most_votes, allowed)
    own = cast.questions(joined)
    divisions = np.array([one.division for one in grids])[own.grid]
    quarters = QUARTERS_OF_STEP[own.tempo] / divisions
    by_pitch = shape.name == "pitch"
    word = (own.tempo * 4 + own.grid).astype(np.uint32) * ASKED_FACTOR
    if by_pitch:
        word += pitch[own.first].astype(np.uint32) * PITCH_FACTOR
    name, onset = _names(cast.vote, np.repeat(word, cast.count), by_pitch)
    steps = onset * np.repeat((1.0 / (ONSET_UNIT * quarters)).astype(np.float32), cast.count)
    start = np.rint(steps, out=steps).astype(np.int32)
    start -= np.repeat(own.place.astype(np.int32), cast.count)
    chosen, votes = _fullest(name, start, np.repeat(cast.worth, cast.count), most)
    source, vote = cast.question(chosen), cast.vote[chosen]
    tuned = pitch[own.first[source]] - ((vote >> PITCH_SHIFT).astype(np.int64) & 127)
    begin = onset[chosen] / ONSET_UNIT - own.place[source] * quarters[source]
    tune = (vote >> TUNE_SHIFT).astype(np.int64)
    return Candidates(
        tune, (vote & np.uint64(0xFFF)).astype(np.int64),
        tuned if by_pitch else np.zeros_like(tuned), quarters[source] * stretch[tune], begin * stretch[tune], votes,
        own.grid[source],
    )  # fmt: skip


def _names(vote: Packed, asked: Words, by_pitch: bool) -> tuple[Words, Words]:
    """(hash of tune, transposition and tempo, onset) of each vote, in words of 32 bits, which are twice as quick.

    asked: hash of what the question of each vote adds.
    """
    high, low = (vote >> PITCH_SHIFT).astype(np.uint32), vote.astype(np.uint32)
    name = (high >> np.uint32(8)) * TUNE_FACTOR
    name += asked
    if by_pitch:
        name -= (high & np.uint32(127)) * PITCH_FACTOR
    return name, low >> np.uint32(ONSET_SHIFT)


def _questions(
    shape: Shape, number: int, grid: DiscPulse, pitch: IntArray, weight: FloatArray, most: int
) -> _Questions:
    """What one grid's groups ask, at every trial tempo."""
    groups = disc_groups(shape, grid.place, pitch, weight, most, LONGEST_GROUP_S / grid.step_s)
    parts = []
    for tempo, of_step in enumerate(QUARTERS_OF_STEP):
        quarters = of_step / grid.division
        if QUARTER_S[0] <= grid.step_s / quarters <= QUARTER_S[1]:
            parts.append(_at_tempo(shape, groups, tempo, quarters, number, grid))
    if not parts:
        parts = [_at_tempo(shape, groups, 0, QUARTERS_OF_STEP[0] / grid.division, number, grid)]
    return _Questions(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(_Questions)))


def _at_tempo(shape: Shape, groups: Groups, tempo: int, quarters: float, number: int, grid: DiscPulse) -> _Questions:
    key, good = keys_of(shape, groups.steps, shape.units_of(groups.gaps * np.float64(quarters)))
    first = groups.first[good]
    alike = np.zeros(first.size, dtype=np.int64)
    weight = groups.weight[good] + 0.5 * np.log(SHARE_OF_STEP[tempo])
    return _Questions(key[good], first, alike + tempo, alike + number, weight, grid.place[first])


@dataclass(frozen=True, slots=True, eq=False)
class _Cast:
    """Votes, those of each question after the other. vote: postings, shape (votes,).

    asked, count, worth: question, number of votes and their worth (logarithm of how rare the shape is) of each that
    has any, shape (questions,).
    """

    vote: Packed
    asked: IntArray
    count: IntArray
    worth: FloatArray

    def questions(self, asked: _Questions) -> _Questions:
        """What was asked, of these questions alone."""
        return _Questions(*(getattr(asked, column.name)[self.asked] for column in fields(_Questions)))

    def question(self, vote: IntArray) -> IntArray:
        """The question of each of some votes."""
        return np.searchsorted(np.cumsum(self.count), vote, side="right")


def _votes(postings: Postings, asked: _Questions, most: int, allowed: np.ndarray | None) -> _Cast:
    """The votes of the likeliest questions for what they cost; of tunes that may be found."""
    place = np.searchsorted(postings.key, asked.key)
    place = np.minimum(place, max(postings.key.size - 1, 0))
    known = np.flatnonzero(postings.key[place] == asked.key) if postings.key.size else np.empty(0, dtype=np.int64)
    begin = postings.start[place[known]]
    count = postings.start[place[known] + 1] - begin
    if count.sum() > most:
        order = np.argsort(np.log(count) - asked.weight[known], kind="stable")
        order = order[: int(np.searchsorted(np.cumsum(count[order]), most))]
        known, begin, count = known[order], begin[order], count[order]
    ends = np.cumsum(count)
    total = int(ends[-1]) if ends.size else 0
    where = np.repeat(begin - (ends - count), count)
    where += np.arange(total)
    worth = np.log(max(postings.packed.size, 1) / np.maximum(count, 1))
    vote = postings.packed[where]
    if allowed is not None:
        inside = allowed[(vote >> TUNE_SHIFT).astype(np.int64)]
        vote, count = vote[inside], np.bincount(np.repeat(np.arange(known.size), count)[inside], minlength=known.size)
    return _Cast(vote, known, count, worth)


SAMPLED = 16  # one in so many cells tells about how full the fullest are, which spares parting all of them


def _fullest(name: Words, start: npt.NDArray[np.int32], worth: FloatArray, most: int) -> tuple[IntArray, FloatArray]:
    """(vote, votes): one vote of each of the fullest cells, fullest first, and how full they are.

    Votes of one cell are brought together by sorting, which is kinder to a processor's cache than a table of cells.
    """
    if worth.size == 0:
        return np.empty(0, dtype=np.int64), np.empty(0)
    mixed = (name ^ (name >> np.uint32(15))) * TUNE_FACTOR
    mixed += start.view(np.uint32)
    joined = mixed.astype(np.uint64)
    joined <<= np.uint64(32)
    joined |= np.arange(worth.size, dtype=np.uint64)
    joined.sort()
    first = np.ones(joined.size, dtype=bool)
    np.greater_equal(joined[1:] ^ joined[:-1], np.uint64(1 << 32), out=first[1:])
    begin, vote = np.flatnonzero(first), joined.astype(np.uint32).astype(np.int64)
    filled = joined[begin] >> np.uint64(32)
    full = np.add.reduceat(worth.take(vote), begin)
    near, beside = full.copy(), np.flatnonzero(filled[1:] - filled[:-1] == 1)
    near[beside] += NEIGHBOUR * full[beside + 1]
    near[beside + 1] += NEIGHBOUR * full[beside]
    chosen = _about_highest(near, most)
    chosen = chosen[np.lexsort((chosen, -near[chosen]))[:most]]
    return vote[begin[chosen]], near[chosen]


def _about_highest(score: FloatArray, most: int) -> IntArray:
    """The highest scores and some more; a sample tells from where on."""
    sample = score[::SAMPLED]
    above = 2 * most // SAMPLED
    if above >= sample.size:
        return np.arange(score.size)
    limit = np.partition(sample, sample.size - 1 - above)[sample.size - 1 - above]
    chosen = np.flatnonzero(score >= limit)
    return chosen if chosen.size >= most else np.arange(score.size)
