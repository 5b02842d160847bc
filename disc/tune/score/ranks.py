"""Which notes are melody, which bass, which fill in: by part where a file has parts, by height where it has one.

lead.py says which part leads; the bass is the lowest of the others. Inside one part
with chords or several voices a note leads if nothing above it sounds when it is struck, and is bass if nothing below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from disc.tune.score.records import Rank, ScoreNote


def rank_notes(notes: Sequence[ScoreNote], lead: int | None = None) -> tuple[ScoreNote, ...]:
    """The same notes with their ranks, sorted by onset, then pitch. Doubled notes (same onset and pitch) become one.

    lead: the part that carries the tune, where there are several; None: the highest.
    """
    parts = sorted({note.part for note in notes})
    if len(parts) < 2:
        return _sorted(_by_height(_unique(notes), {Rank.MELODY, Rank.BASS}))
    height = {part: _height(notes, part) for part in parts}
    lead = max(parts, key=lambda p: (height[p], -p)) if lead is None else lead
    bass = min((p for p in parts if p != lead), key=lambda p: (height[p], p))
    ranked: list[ScoreNote] = []
    for part in parts:
        own = [note for note in notes if note.part == part]
        if part == lead:
            ranked += _by_height(own, {Rank.MELODY})
        elif part == bass:
            ranked += _by_height(own, {Rank.BASS})
        else:
            ranked += [replace(note, rank=Rank.INNER) for note in own]
    return _sorted(_unique(ranked))


def _height(notes: Sequence[ScoreNote], part: int) -> float:
    """Mean pitch of a part's notes, each counted once however long it is."""
    pitches = [note.pitch for note in notes if note.part == part]
    return sum(pitches) / len(pitches)


def _by_height(notes: Sequence[ScoreNote], outer: set[Rank]) -> list[ScoreNote]:
    """Ranks inside one part: of the outer ranks asked for, those whose place the note holds when struck; else inner."""
    ordered = sorted(notes, key=lambda n: n.onset_quarter)
    sounding: list[ScoreNote] = []
    ranked = []
    for i, note in enumerate(ordered):
        sounding = [other for other in sounding if other.end_quarter > note.onset_quarter]
        together = _struck_with(ordered, i)
        heard = [other.pitch for other in (*sounding, *together)]
        if Rank.MELODY in outer and all(note.pitch >= pitch for pitch in heard):
            rank = Rank.MELODY
        elif Rank.BASS in outer and all(note.pitch <= pitch for pitch in heard):
            rank = Rank.BASS
        else:
            rank = Rank.INNER
        ranked.append(replace(note, rank=rank))
        sounding.append(note)
    return ranked


def _struck_with(ordered: Sequence[ScoreNote], i: int) -> list[ScoreNote]:
    """The later notes of the list that are struck at the same moment as note i."""
    found = []
    for other in ordered[i + 1 :]:
        if other.onset_quarter != ordered[i].onset_quarter:
            break
        found.append(other)
    return found


_ORDER = {Rank.MELODY: 0, Rank.BASS: 1, Rank.INNER: 2}  # what comes first, by definition


def _unique(notes: Sequence[ScoreNote]) -> list[ScoreNote]:
    """One note for each onset and pitch: the best-ranked, with the longest duration of those doubled."""
    best: dict[tuple[Fraction, int], ScoreNote] = {}
    for note in notes:
        key = (note.onset_quarter, note.pitch)
        if key not in best:
            best[key] = note
            continue
        held = best[key]
        longest = max(held.duration_quarter, note.duration_quarter)
        better = note if _ORDER[note.rank] < _ORDER[held.rank] else held
        best[key] = replace(better, duration_quarter=longest)
    return list(best.values())


def _sorted(notes: Sequence[ScoreNote]) -> tuple[ScoreNote, ...]:
    return tuple(sorted(notes, key=lambda n: (n.onset_quarter, n.pitch)))
