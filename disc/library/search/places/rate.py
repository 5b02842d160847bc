"""Second pass of the search: every candidate is rated by its likelihood over all strikes.

The turn is drawn once as a picture, pitch by time: how much a printed note would gain there. Rating a candidate then is
looking up its notes in the picture, for a thousand candidates at once. The run of notes with the highest sum counts, so
that a disc may hold only some bars. A note without a strike costs as much as the share of pins that are gone says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.library.index.tune_index import Index
from disc.library.records import FloatArray, IntArray
from disc.library.search.asked.disc_pulse import DiscPulse
from disc.library.search.places.align import FOLD_NATS
from disc.library.search.places.vote import Candidates
from disc.tune.score.records import TICKS_PER_QUARTER

CELL_S = 0.010  # of the picture; chosen, a third of the widest spread used (by_pitch.COARSE_SPREAD_S)
MARGIN_S = 1.0  # of picture before the first strike and after the last; chosen, wider than any start tried
# Share of printed notes still played: of 0.5 to 0.8 on 260 severe discs (seeds 131 and 135) 0.5 and 0.6 put most true
# tunes first, 0.90 of them, 0.8 only 0.85; other discs are known with any of them.
PRESENT = 0.6
ABSENT_NATS = np.log(1.0 - PRESENT)  # by definition
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
# Where nothing sounds for so long all pins are gone together, and a note absent there says nothing. Of 0.8 to 1.4 s on
# the same discs 0.8 and 1.0 kept most true tunes among the first ten, 0.95; without it 0.92.
SILENCE_S, SILENT_STEPS = 1.0, 3.0  # and at least so many usual steps from strike to strike
RINGING_S = 0.15  # a note this near to either end of the silence would have met its strike
LOOK_NOTES = 20  # to either side; of 120 severe practice discs (seed 104) 10 kept 82 % of the tunes, 20 88 %
LOOKED_AT_ONCE = 4096  # placements: what stays in a processor's nearest cache
LONGEST_RUN = 400  # printed notes rated within one turn; no disc of this kind holds more of melody


@dataclass(frozen=True, slots=True, eq=False)
class GainPicture:
    """What a note gains at each pitch and time, shape (128, cells), nats. first_s: time of the first cell."""

    gain: npt.NDArray[np.float32]
    first_s: float
    end_s: float


def draw(onset_s: FloatArray, pitch: IntArray, weight: FloatArray, sigma_s: float) -> GainPicture:
    """The picture of a turn. weight: nats that a note gains at exactly each strike. sigma_s: their spread."""
    first = float(onset_s[0]) - MARGIN_S
    cells = int((onset_s[-1] - first + MARGIN_S) / CELL_S) + 1
    reach = int(np.ceil(3.0 * sigma_s / CELL_S))
    offsets = np.arange(-reach, reach + 1)
    cell = np.round((onset_s - first) / CELL_S).astype(np.int64)[:, None] + offsets
    late = cell * CELL_S + first - onset_s[:, None]
    value = (weight[:, None] - 0.5 * (late / sigma_s) ** 2).astype(np.float32)
    gain = np.zeros((128, cells), dtype=np.float32)
    cell = np.clip(cell, 0, cells - 1)
    for octave, loss in ((0, 0.0), (12, FOLD_NATS), (-12, FOLD_NATS)):
        row = np.clip(pitch + octave, 0, 127)[:, None]
        np.maximum.at(gain, (np.broadcast_to(row, cell.shape), cell), value - np.float32(loss))
    absent = np.full(cells, ABSENT_NATS, dtype=np.float32)
    for begin, end in _silences(onset_s):
        absent[int((begin - first) / CELL_S) : int((end - first) / CELL_S)] = 0.0
    return GainPicture(np.where(gain > 0, gain, absent), first, float(onset_s[-1]))


def _silences(onset_s: FloatArray) -> list[tuple[float, float]]:
    """(begin, end) of each stretch of the turn, in seconds, in which no tooth is struck though notes were due."""
    apart = np.diff(onset_s)
    sounding = apart[apart > RINGING_S]
    longest = max(SILENCE_S, SILENT_STEPS * float(np.median(sounding))) if sounding.size else SILENCE_S
    return [(float(onset_s[i]) + RINGING_S, float(onset_s[i + 1]) - RINGING_S) for i in np.flatnonzero(apart > longest)]


def rate(
    index: Index,
    found: Candidates,
    grids: list[DiscPulse],
    picture: GainPicture,
    shifts_s: FloatArray,
    stretches: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(score, quarter_s, start_s) of each candidate, each at its best small shift and stretch of the tempo."""
    quarter_s, start_s = found.seconds(grids)
    return rate_places(index, found.tune, found.transposition, quarter_s, start_s, picture, shifts_s, stretches)


def look(index: Index, found: Candidates, grids: list[DiscPulse], picture: GainPicture) -> npt.NDArray[np.float32]:
    """What the notes next to the voting group gain, shape (n,): a cheap look at very many candidates.

    The best run from the group's first note on, and the best run back from it, of LOOK_NOTES each.
    """
    quarter_s, start_s = found.seconds(grids)
    # With an empty border, so that what falls outside gains nothing.
    cells, flat = picture.gain.shape[1], np.pad(picture.gain, 1).ravel()
    scale = (quarter_s / (TICKS_PER_QUARTER * CELL_S)).astype(np.float32)
    zero = ((start_s - picture.first_s) / CELL_S + 1.5).astype(np.float32)
    first, end, shift = index.start[found.tune], index.start[found.tune + 1], found.transposition + 1
    score = np.zeros(found.tune.size, dtype=np.float32)
    for begin in range(0, score.size, LOOKED_AT_ONCE):
        part = slice(begin, begin + LOOKED_AT_ONCE)
        low, high = first[part], end[part]
        own = low + found.note[part]
        for columns in (range(LOOK_NOTES), range(-1, -1 - LOOK_NOTES, -1)):
            total, best = np.zeros(own.size, dtype=np.float32), np.zeros(own.size, dtype=np.float32)
            for column in columns:
                note = np.minimum(np.maximum(own + column, low), high - 1)
                at = index.onset[note].astype(np.float32)  # 16 million ticks are exact, which is 1,600 quarters
                cell = np.minimum(np.maximum(zero[part] + at * scale[part], 0), cells + 1)
                pitch = np.minimum(np.maximum(index.pitch[note] + shift[part], 0), 129)
                gain = flat[pitch * (cells + 2) + cell.astype(np.int64)]
                total += gain if not column else np.where(note == own + column, gain, np.float32(0))
                np.maximum(best, total, out=best)
            score[part] += best
    return score


def rate_places(
    index: Index,
    tune: IntArray,
    transposition: IntArray,
    quarter_s: FloatArray,
    start_s: FloatArray,
    picture: GainPicture,
    shifts_s: FloatArray,
    stretches: FloatArray,
    within_s: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """As rate(), for places given in seconds.

    within_s: (first, last) second of each place's notes, shape (n, 2); None: the whole turn.
    """
    if within_s is None:
        within_s = np.broadcast_to([picture.first_s, picture.end_s + MARGIN_S], (tune.size, 2))
    at_s, pitch, real = _notes_within(index, tune, transposition, quarter_s, start_s, within_s)
    middle = (picture.first_s + picture.end_s) / 2.0
    best = np.full(tune.size, -np.inf)
    best_shift, best_stretch = np.zeros(tune.size), np.ones(tune.size)
    flat = picture.gain.ravel()
    cells = picture.gain.shape[1]
    base = pitch * cells
    for stretch in stretches:
        stretched = middle + (at_s - middle) * stretch - picture.first_s
        for shift in shifts_s:
            cell = ((stretched + shift) * (1.0 / CELL_S) + 0.5).astype(np.int64)
            inside = real & (cell >= 0) & (cell < cells)
            value = np.where(inside, flat[np.where(inside, base + cell, 0)], 0.0)
            score = _best_run(value)
            better = score > best
            best[better], best_shift[better], best_stretch[better] = score[better], shift, stretch
    new_quarter = quarter_s * best_stretch
    new_start = middle + (start_s - middle) * best_stretch + best_shift
    return best, new_quarter, new_start


def _notes_within(
    index: Index,
    tune: IntArray,
    transposition: IntArray,
    quarter_s: FloatArray,
    start_s: FloatArray,
    within_s: FloatArray,
) -> tuple[FloatArray, IntArray, npt.NDArray[np.bool_]]:
    """Expected seconds and pitch of the printed notes that fall within these seconds, shape (candidates, notes)."""
    per_tick = TICKS_PER_QUARTER / quarter_s
    begin = first_notes(index, tune, (within_s[:, 0] - start_s) * per_tick)
    end = first_notes(index, tune, (within_s[:, 1] - start_s) * per_tick)
    width = int(min((end - begin).max(initial=1), LONGEST_RUN))
    column = np.arange(max(width, 1))
    real = column < (end - begin)[:, None]
    place = np.minimum(begin[:, None] + column, index.start[tune + 1][:, None] - 1)
    at_s = start_s[:, None] + index.onset[place] / per_tick[:, None]
    pitch = index.pitch[place].astype(np.int64) + transposition[:, None]
    return at_s, np.clip(pitch, 0, 127), real & (pitch >= 0) & (pitch < 128)


def first_notes(index: Index, tune: IntArray, tick: FloatArray) -> IntArray:
    """The first note of each tune at or after a tick, one past its last where there is none; all bisected at once."""
    low, high = index.start[tune].astype(np.int64), index.start[tune + 1].astype(np.int64)
    last = high - 1
    while True:
        open_ = low < high
        if not open_.any():
            return low
        middle = (low + high) // 2
        before = open_ & (index.onset[np.minimum(middle, last)] < tick)
        low = np.where(before, middle + 1, low)
        high = np.where(open_ & ~before, middle, high)


def _best_run(value: FloatArray) -> FloatArray:
    """Highest sum of a run in each row (Kadane, by running sums)."""
    total = np.cumsum(value, axis=1)
    total = np.concatenate([np.zeros((value.shape[0], 1)), total], axis=1)
    return np.asarray((total - np.minimum.accumulate(total, axis=1)).max(axis=1))
