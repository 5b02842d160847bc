"""Is what is written as held, held in print? Excerpts whose lengths are known, written as if read from a disc.

A disc has no lengths: they are thrown away, found as for a copyist (write/written.py), and the second voices of the
accompaniment's staff (write/two_voices.py) are compared with the print.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from math import log

import numpy as np

from disc.records import Key, Metre, Note, Tune, Voice
from disc.tune.read.sections.strains import PrintedBar, printed_bars
from disc.tune.write.two_voices import parted
from disc.tune.write.written import with_lengths
from tests.bench.truth.music_pieces import Piece

INNER = 0.6  # share of the inner notes that a comb has room for, as the discs of this bench


def held_counts(pieces: Iterable[Piece]) -> tuple[int, int, int, int]:
    """(bars, notes written held, of those nearer to the print's length than in one voice, as near)."""
    bars = held = nearer = equal = 0
    for piece in pieces:
        tune, lengths = _as_read(piece)
        for bar in () if tune is None else printed_bars(tune):
            bars += 1
            for error, other in _errors(bar, lengths):
                held, nearer, equal = held + 1, nearer + (error < other), equal + (error == other)
    return bars, held, nearer, equal


def _as_read(piece: Piece) -> tuple[Tune | None, dict[tuple[int, ...], Fraction]]:
    """The tune with a copyist's lengths, and the print's by pin; no tune where its first bar is not its first."""
    rng = np.random.default_rng(1)
    by_time: dict[Fraction, list[tuple[int, Fraction, bool]]] = {}
    for onset, length, tone, part in piece.notes:
        by_time.setdefault(onset, []).append((tone, length, part == piece.lead))
    notes: list[Note] = []
    lengths: dict[tuple[int, ...], Fraction] = {}
    for onset, sounding in sorted(by_time.items()):
        lead = sorted(note for note in sounding if note[2])[-1:]
        below = sorted(note for note in sounding if not note[2])
        kept = lead + [note for i, note in enumerate(below) if i == 0 or rng.random() < INNER]
        for tone, length, leads in {(tone, leads): (tone, length, leads) for tone, length, leads in kept}.values():
            pins = (len(notes) + 1,)
            notes.append(Note(onset, length, tone, Voice.MELODY if leads else Voice.ACCOMPANIMENT, pins))
            lengths[pins] = length
    metre = Metre(*piece.metre)
    upbeat = max(Fraction(0), -min((note.onset_quarter for note in notes), default=-metre.bar_quarter))
    if not notes or upbeat >= metre.bar_quarter:
        return None, {}
    return Tune(with_lengths(notes, metre, upbeat), metre, Key(0, "major", 0), upbeat, 0.5, 1.0, ""), lengths


def _errors(bar: PrintedBar, lengths: dict[tuple[int, ...], Fraction]) -> Iterable[tuple[float, float]]:
    """Of each held note how far its length is from the print's, in two voices and in one, in logarithms."""
    mine = [note for note in bar.notes if note.voice is Voice.ACCOMPANIMENT]
    alone = {note.pins: note.duration_quarter for note in mine}
    for note in parted(mine, bar.start, bar.length, bar.part.metre).down:
        true = float(lengths[note.pins])
        yield (
            round(abs(log(float(note.duration_quarter) / true)), 6),
            round(abs(log(float(alone[note.pins]) / true)), 6),
        )
