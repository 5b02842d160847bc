"""Prints of the library laid beside a disc's melody: which of them share most of it (chain.py), at which tempo, where.

The disc's melody is the likeliest strike of each moment. Prints are taken with the highest note of each onset, at the
likeliest tempi by their own note lengths (tempi.py), and at those that another search has found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.library.index.tune_index import Index
from disc.library.records import FloatArray, IntArray
from disc.library.search.chains.chain import (
    PLAIN,
    ChainModel,
    MelodyLine,
    Piece,
    Shelf,
    Words,
    interval_nats,
    lay,
    shelf_of,
    step_tables,
    trace,
)
from disc.library.search.chains.tempi import trial_tempi
from disc.library.search.places.align import straight_line
from disc.tune.score.records import TICKS_PER_QUARTER

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
TOGETHER_S = 0.045  # strikes this near are of one moment; pins of one chord are some hundredths apart
LEAST_LIKELY = 0.4  # of a moment's likeliest strike, to be taken for a note of the melody
FEWEST_NOTES = 5  # of a melody; fewer fit anything (chosen, not fitted)
TEMPI = 3  # tried of each print
AHEAD = 50  # prints of which a second tempo is tried, and leaps
FEWEST_PAIRS = 4  # notes laid side by side, to tell a tempo by
WIDEST_SHIFT = 140  # semitones from print to disc: no pitch is beyond


def melody_line(onset_s: FloatArray, pitch: FloatArray, likely: FloatArray) -> tuple[MelodyLine, IntArray]:
    """(the disc's melody, which strikes they are). likely: probability of each strike to be of the melody."""
    begins = [0]
    for i in range(1, onset_s.size):
        if onset_s[i] - onset_s[begins[-1]] >= TOGETHER_S:
            begins.append(i)
    ends = [*begins[1:], onset_s.size]
    best = np.array([a + int(np.argmax(likely[a:b])) for a, b in zip(begins, ends, strict=True)])
    kept = best[likely[best] >= LEAST_LIKELY]
    if kept.size < FEWEST_NOTES:
        kept = best
    return MelodyLine(onset_s[kept], np.rint(pitch[kept]).astype(np.int64), likely[kept]), kept


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """A melody made ready to be laid beside prints."""

    line: MelodyLine
    table: Words
    model: ChainModel
    by_time: bool = True


def ask(
    line: MelodyLine, model: ChainModel = PLAIN, by_interval: FloatArray | None = None, by_time: bool = True
) -> Asked:
    """The melody's step tables. by_interval: what intervals say of each other; by_time: whether onsets are known."""
    nats = interval_nats(model) if by_interval is None else by_interval
    return Asked(line, step_tables(line, model, nats, by_time), model, by_time)


@dataclass(frozen=True, slots=True, eq=False)
class TopLines:
    """The melodies of some prints, end to end. quarter: onsets. note: place in the whole print.

    start: first note of each, shape (prints + 1,).
    """

    quarter: FloatArray
    pitch: IntArray
    note: IntArray
    start: IntArray


def top_lines(index: Index, tunes: Sequence[int] | IntArray) -> TopLines:
    """The highest note of each onset of these prints."""
    parts = [np.arange(int(index.start[t]), int(index.start[t + 1])) for t in tunes]
    at = np.concatenate(parts) if parts else np.empty(0, dtype=np.int64)
    owner = np.repeat(np.arange(len(parts)), [part.size for part in parts])
    onset = index.onset[at].astype(np.int64)
    top = np.ones(at.size, dtype=bool)  # notes are sorted by onset, then pitch: the last of each onset is the highest
    top[:-1] = (onset[1:] != onset[:-1]) | (owner[1:] != owner[:-1])
    start = np.searchsorted(owner[top], np.arange(len(parts) + 1))
    first = index.start[:-1][np.asarray(tunes, dtype=np.int64)] if len(parts) else np.empty(0, dtype=np.int64)
    note = at[top] - np.repeat(first, np.diff(start))
    return TopLines(onset[top] / TICKS_PER_QUARTER, index.pitch[at[top]].astype(np.int64), note, start)


def lay_tunes(
    index: Index, asked: Asked, tunes: Sequence[int] | IntArray, known_s: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """(nats of the best chain, seconds of a quarter at which it is best) of each print.

    known_s: shape (tunes,), a quarter's seconds as another search found them; without, TEMPI are tried of each: the
    second and further ones only of those that the first put ahead.
    """
    tunes = np.asarray(tunes, dtype=np.int64)
    lines = top_lines(index, tunes)
    if known_s is not None or not asked.by_time:
        tempo = np.ones(tunes.size) if known_s is None else known_s
        return _in_pieces(index, asked, tunes, _laid(asked, lines, tempo), tempo), tempo
    between = np.diff(lines.quarter, prepend=0.0)
    between[lines.start[:-1][np.diff(lines.start) > 0]] = 0.0
    tempi = trial_tempi(np.diff(asked.line.onset_s), between, lines.start, TEMPI)
    best, at = _laid(asked, lines, tempi[:, 0]), tempi[:, 0].copy()
    ahead = _ahead(best)
    others = np.tile(ahead, TEMPI - 1)
    nats = _laid(asked, top_lines(index, tunes[others]), tempi[ahead, 1:].T.ravel()).reshape(TEMPI - 1, -1)
    for column in range(1, TEMPI):
        better = nats[column - 1] > best[ahead]
        best[ahead[better]], at[ahead[better]] = nats[column - 1][better], tempi[ahead[better], column]
    return _in_pieces(index, asked, tunes, best, at), at


def _ahead(nats: FloatArray) -> IntArray:
    """The prints that have most in common with the disc: half of few, AHEAD of many."""
    return np.argsort(-nats, kind="stable")[: min(AHEAD, -(-nats.size // 2))]


def _in_pieces(index: Index, asked: Asked, tunes: IntArray, nats: FloatArray, quarter_s: FloatArray) -> FloatArray:
    """The nats with leaps allowed, of the prints that are ahead."""
    ahead = _ahead(nats)
    out = nats.copy()
    out[ahead] = _laid(asked, top_lines(index, tunes[ahead]), quarter_s[ahead], pieces=True)
    return out


def _laid(asked: Asked, lines: TopLines, quarter_s: FloatArray, pieces: bool = False) -> FloatArray:
    return lay(asked.table, _shelf(lines, quarter_s), asked.model, pieces)


def _shelf(lines: TopLines, quarter_s: FloatArray) -> Shelf:
    return shelf_of(lines.quarter * np.repeat(quarter_s, np.diff(lines.start)), lines.pitch, lines.start)


def pieces_of(index: Index, asked: Asked, tunes: Sequence[int] | IntArray, quarter_s: FloatArray) -> list[list[Piece]]:
    """The best chain of each print in its pieces: (note of the disc's melody, note of the print)."""
    lines = top_lines(index, tunes)
    chains = trace(asked.table, _shelf(lines, quarter_s), asked.model, pieces=True)
    return [
        [[(i, int(lines.note[first + j])) for i, j in piece] for piece in one]
        for first, one in zip(lines.start, chains, strict=False)
    ]


def place_of(
    index: Index, asked: Asked, tune: int, quarter_s: float, pairs: list[tuple[int, int]]
) -> tuple[int, float, float] | None:
    """(semitones up, seconds of a quarter, second at which quarter 0 falls) by the chain; None: it is too short."""
    if len(pairs) < FEWEST_PAIRS:
        return None
    mine, theirs = (np.array(column) for column in zip(*pairs, strict=True))
    begin = int(index.start[tune])
    quarter = index.onset[begin + theirs] / TICKS_PER_QUARTER
    shift = asked.line.pitch[mine] - index.pitch[begin + theirs].astype(np.int64)
    commonest = int(np.argmax(np.bincount(shift + WIDEST_SHIFT))) - WIDEST_SHIFT
    onset_s = asked.line.onset_s[mine]
    late = onset_s - quarter_s * quarter
    start_s = float(np.median(late))
    near = np.abs(late - start_s) < 2.0 * quarter_s
    if near.sum() >= FEWEST_PAIRS and float(np.ptp(quarter[near])) > 0:
        slope, level = straight_line(quarter[near], onset_s[near])
        if 0.85 < slope / quarter_s < 1.15:
            quarter_s, start_s = slope, level
    return commonest, quarter_s, start_s
