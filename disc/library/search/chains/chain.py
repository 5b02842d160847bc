"""Two melodies laid side by side as chains of steps: how much of the one stands in the other, as singers vary a tune.

A step goes from a note to one of the next three: so many semitones, so many seconds. A step of the disc's melody is
laid on a step of the print's; what speaks for the pair is how alike they are in pitch and in time, less what is skipped
between. The best chain of pairs counts (local alignment, Smith and Waterman 1981, with affine steps instead of single
notes). No transposition is assumed, and an ornament, a dropped note or a bar of
another metre costs a step, not the rest of the tune. A chain may leap: a disc that begins in the middle of its tune,
leaves out a repeat or has its phrases in another order is laid in pieces. All candidates are laid at once: their notes
stand end to end, and each note of the disc is one pass over them. Whole numbers of 1/SCALE nat keep the passes quick,
and four of them are looked up as one word of 64 bits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.library.records import FloatArray, IntArray

Nats = npt.NDArray[np.int16]
Words = npt.NDArray[np.int64]

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
LANES = 4  # the last notes of the disc's melody that a chain may go on from, and the one at work
STEPS = LANES - 1  # a step goes on by one, two or three notes: up to two are skipped on either side; by definition
SCALE = 50.0  # whole numbers to a nat: steps of 0.02 nat (chosen; a chain sums some hundreds of nats at most)
FORBIDDEN = -32000  # below what any chain of MOST_NOTES can make up for
MOST_NOTES = 320  # of the disc's melody; a disc of this kind has 50 to 300 pins in all
WIDEST = 13  # semitones; wider leaps count as this wide
LEVELS_AN_OCTAVE, SHORTEST_OCTAVE, OCTAVES = 12, -6, 10  # times from 1/64 s to 16 s in twelfths of a factor of two
LEVELS = LEVELS_AN_OCTAVE * OCTAVES
INTERVALS = 2 * WIDEST + 1  # -WIDEST to WIDEST semitones; by definition
BLOCK_NOTES = 8192  # of the candidates laid at once: what stays in a processor's cache


@dataclass(frozen=True, slots=True)
class ChainModel:
    """What a pair of steps says, nats. Pitch: of the same interval, an octave off, up to two semitones off, other.

    same_time: of equal times; it falls by time_slope an octave of their ratio, to other_time at least. skip: of a note
    passed over on either side; of the disc's, times its probability to be melody. leap: of one within a chain; of 7 and
    12, 7 put one more version of 30 first and lost no other disc (seeds 171 and 172).
    """

    same: float = 1.0
    folded: float = 0.3
    near: float = -0.9
    other: float = -1.5
    same_time: float = 0.5
    time_slope: float = 1.3
    other_time: float = -1.2
    skip: float = 0.2
    leap: float = (
        12.0  # for going on elsewhere in the print: chance finds 8 to 12 in a print that has nothing to do with it
    )


PLAIN = ChainModel()


@dataclass(frozen=True, slots=True, eq=False)
class MelodyLine:
    """A melody to be found: onsets in seconds, pitches (or what stands for them) and how likely each is melody."""

    onset_s: FloatArray
    pitch: IntArray
    likely: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Shelf:
    """Candidates end to end. code: of the step to each note from the one before, the second and the third before it,
    shape (STEPS, notes). start: first note of each candidate, shape (candidates + 1,).
    """

    code: npt.NDArray[np.intp]
    start: IntArray


def level_of(seconds: FloatArray) -> IntArray:
    """Times in twelfths of an octave, from 0."""
    level = np.rint(LEVELS_AN_OCTAVE * (np.log2(np.maximum(seconds, 1e-6)) - SHORTEST_OCTAVE)).astype(np.int64)
    return np.clip(level, 0, LEVELS - 1)


def shelf_of(onset_s: FloatArray, pitch: IntArray, start: IntArray) -> Shelf:
    """Candidates' notes, end to end, each at its own tempo. start: shape (candidates + 1,)."""
    code = np.full((STEPS, pitch.size), INTERVALS * LEVELS, dtype=np.intp)
    begin = np.repeat(start[:-1], np.diff(start))
    place = np.arange(pitch.size)
    for back in range(1, STEPS + 1):
        inside = place[back:] - back >= begin[back:]
        interval = np.clip(pitch[back:] - pitch[:-back], -WIDEST, WIDEST) + WIDEST
        level = level_of(onset_s[back:] - onset_s[:-back])
        code[back - 1, back:] = np.where(inside, interval * LEVELS + level, INTERVALS * LEVELS)
    return Shelf(code, np.asarray(start, dtype=np.int64))


def interval_nats(model: ChainModel) -> FloatArray:
    """What each interval of the print (columns) says of one of the disc (rows), -WIDEST to WIDEST semitones each."""
    width = np.arange(-WIDEST, WIDEST + 1)
    off = np.abs(width[:, None] - width)
    far = np.where(off <= 2, model.near, model.other)
    return np.asarray(np.where(off == 0, model.same, np.where(off == 12, model.folded, far)))


def step_tables(line: MelodyLine, model: ChainModel, by_interval: FloatArray, by_time: bool = True) -> Words:
    """What every step of a print says of every step to each note of the disc, shape (notes, codes + 1).

    A word holds four numbers, by the place modulo LANES of the note that the step comes from. The last code is that of
    a step that is none. by_interval: as interval_nats(). by_time: whether onsets are known.
    """
    onset_s, pitch, likely = (values[:MOST_NOTES] for values in (line.onset_s, line.pitch, line.likely))
    table = np.full((onset_s.size, INTERVALS * LEVELS + 1, LANES), FORBIDDEN, dtype=np.int16)
    level = SHORTEST_OCTAVE + np.arange(LEVELS) / LEVELS_AN_OCTAVE
    by_width = np.rint(SCALE * by_interval).astype(np.int16)
    for back in range(1, min(STEPS, onset_s.size - 1) + 1):
        octave = np.log2(np.maximum(onset_s[back:] - onset_s[:-back], 1e-3))
        off = np.abs(octave[:, None] - level)
        time = np.maximum(model.same_time - model.time_slope * off, model.other_time) if by_time else np.zeros_like(off)
        row = np.clip(pitch[back:] - pitch[:-back], -WIDEST, WIDEST) + WIDEST
        skipped = sum((likely[k : k - back] for k in range(1, back)), np.zeros(onset_s.size - back))
        by_level = np.rint(SCALE * (time - model.skip * skipped[:, None])).astype(np.int16)
        for lane in range(LANES):
            own = slice(lane, None, LANES)  # steps from every fourth note
            nats = by_width[row[own]][:, :, None] + by_level[own][:, None, :]
            table[lane + back :: LANES, :-1, lane] = nats.reshape(-1, INTERVALS * LEVELS)
    return table.view(np.int64)[:, :, 0]


def lay(table: Words, shelf: Shelf, model: ChainModel, pieces: bool = False) -> FloatArray:
    """The best chain of each candidate, nats, shape (candidates,). pieces: whether it may leap."""
    best = np.zeros(shelf.start.size - 1)
    for first, last in _blocks(shelf.start):
        start = shelf.start[first : last + 1]
        if start[-1] > start[0]:
            part = Shelf(np.ascontiguousarray(shelf.code[:, start[0] : start[-1]]), start - start[0])
            high = _best_ends(table, part, model, pieces)
            filled = np.flatnonzero(np.diff(start) > 0)
            best[first + filled] = np.maximum.reduceat(high, part.start[filled])
    return best / SCALE


def _blocks(start: IntArray) -> list[tuple[int, int]]:
    """(first, one past the last) candidate of each block."""
    out, first = [], 0
    while first < start.size - 1:
        last = max(int(np.searchsorted(start, start[first] + BLOCK_NOTES, side="right")) - 1, first + 1)
        out.append((first, last))
        first = last
    return out


def _best_ends(table: Words, shelf: Shelf, model: ChainModel, pieces: bool, kept: Nats | None = None) -> Nats:
    """The best chain that ends at each note, shape (notes,). kept: filled with those that end with each of the disc's
    notes, shape (disc's notes, notes).
    """
    code, size = shelf.code, shelf.code.shape[1]
    runs = np.zeros((size, LANES), dtype=np.int16)  # the best chains that end with the disc's last notes, by lane
    best, word = np.zeros(size, dtype=np.int16), np.empty(size, dtype=np.int64)
    gain, high = word.view(np.int16).reshape(size, LANES), np.empty((size, LANES), dtype=np.int16)
    costs, landing = _costs(model), _Landing(shelf, model) if pieces else None
    for note in range(1, table.shape[0]):
        high[:] = 0 if landing is None else landing.nats[:, None]
        for apart in range(1, min(STEPS, size - 1) + 1):
            table[note].take(code[apart - 1], out=word, mode="clip")
            chain = gain[apart:]
            chain += runs[:-apart]
            if apart > 1:
                chain -= np.int16(costs[apart - 1])
            np.maximum(high[apart:], chain, out=high[apart:])
        here = np.maximum(np.maximum(high[:, 0], high[:, 1]), np.maximum(high[:, 2], high[:, 3]))
        np.maximum(best, here, out=best)
        runs[:, note % LANES] = here
        if kept is not None:
            kept[note] = here
        if landing is not None:
            landing.after(here)
    return best


class _Landing:
    """What a chain that leaps has when it lands: the best of its candidate before, less the leap; nothing at least."""

    def __init__(self, shelf: Shelf, model: ChainModel) -> None:
        notes = np.diff(shelf.start)
        self._filled = shelf.start[:-1][notes > 0]
        self._notes = notes[notes > 0]
        self._leap = np.int16(round(SCALE * model.leap))
        self._best = np.zeros(self._filled.size, dtype=np.int16)
        self.nats: Nats = np.zeros(shelf.code.shape[1], dtype=np.int16)

    def after(self, here: Nats) -> None:
        """Take in the chains that end with one more note of the disc."""
        np.maximum(self._best, np.maximum.reduceat(here, self._filled), out=self._best)
        self.nats = np.repeat(np.maximum(self._best - self._leap, 0).astype(np.int16), self._notes)


def _costs(model: ChainModel) -> list[int]:
    return [round(SCALE * model.skip * k) for k in range(STEPS)]


Piece = list[tuple[int, int]]  # (note of the disc's melody, the candidate's own note), in order


def trace(table: Words, shelf: Shelf, model: ChainModel, pieces: bool = False) -> list[list[Piece]]:
    """The best chain of each candidate, in the pieces between its leaps; none where there is no chain."""
    runs = np.zeros((table.shape[0], shelf.code.shape[1]), dtype=np.int16)
    _best_ends(table, shelf, model, pieces, runs)
    return [
        _pieces(table, shelf, model, runs, slice(int(shelf.start[k]), int(shelf.start[k + 1])), pieces)
        for k in range(shelf.start.size - 1)
    ]


def _pieces(table: Words, shelf: Shelf, model: ChainModel, runs: Nats, part: slice, pieces: bool) -> list[Piece]:
    own = runs[:, part]
    if own.size == 0 or not own.any():
        return []
    lanes, costs = table.view(np.int16).reshape(table.shape[0], -1, LANES), _costs(model)
    landed = _landed(own, model) if pieces else [0] * own.shape[0]
    found: list[Piece] = []
    until = own.shape[0]
    while until > 0 and own[:until].any():
        note, at = divmod(int(np.argmax(own[:until])), own.shape[1])
        piece = [(note, at)]
        while own[note, at] > landed[note]:
            note, at = _before(lanes, runs, shelf.code, costs, note, part.start + at)
            at -= part.start
            piece.append((note, at))
        found.append(piece[::-1])
        until = note if landed[note] > 0 else 0
    return found[::-1]


def _landed(own: Nats, model: ChainModel) -> list[int]:
    """What a chain that landed on each note of the disc had."""
    before = np.maximum.accumulate(own.max(axis=1, initial=0))
    leap = round(SCALE * model.leap)
    return [0, *(max(0, int(best) - leap) for best in before[:-1])]


def _before(
    lanes: Nats, runs: Nats, code: npt.NDArray[np.intp], costs: list[int], note: int, at: int
) -> tuple[int, int]:
    """The pair that the best chain to this one comes from."""
    wanted = int(runs[note, at])
    apart_most = min(STEPS, at)
    nats = lanes[note, code[:apart_most, at]].tolist()
    for back in range(1, min(STEPS, note) + 1):
        lane = (note - back) % LANES
        for apart, before in enumerate(runs[note - back, at - apart_most : at][::-1].tolist()):
            if before + nats[apart][lane] - costs[apart] == wanted:
                return note - back, at - apart - 1
    raise AssertionError("a chain comes from somewhere")
