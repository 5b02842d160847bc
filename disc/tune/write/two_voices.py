"""Which notes of one bar and staff want a voice of their own, so that a note that is held is written held.

Comes in: the notes of one staff in one bar, with the lengths a copyist would write if there were one voice. Goes out:
the notes of the voice with stems up, and of the one with stems down; nothing in the latter where one reads as well.

A comb says when a note begins, never when it ends: it rings until it is struck again. Held is therefore what a copyist
would hear as held: the lowest note of a chord, while what follows moves about the chord's other notes, stays away from
it and does not strike it again. The count that decides: in one voice it would take a tie at every onset under the held
note to say so, in two voices none; a second voice is written where that saves FEWEST_TIES in the bar. It costs no rest:
the other voice has notes at every onset, and where nothing is held the second voice is not printed at all.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from disc.records import Metre, Note, Voice
from disc.tune.write.lengths import best_single_value

# Ties saved in a bar before a second voice is worth its second set of stems: one tie is read as easily as a voice.
# Chosen by eye on the pages of the development pieces.
FEWEST_TIES = 2
# Semitones that a held note lies from what moves at least: nearer, both are heard as one line. This and the next two
# are chosen on the tuning pieces of tests/bench/measure/music.py --what held, which tells how often the length so
# written is nearer to the print's than that of one voice: .64 without the next two, .80 with them.
NEAREST = 5
# Semitones within which the moving notes stay: where they roam, the bass is mostly short in print. Chosen as NEAREST.
NARROW = 5
# Quarters; of what would be held for longer most is short, and followed by rests, in print. Chosen as NEAREST.
LONGEST = Fraction(2)


@dataclass(frozen=True, slots=True)
class Parted:
    """The notes of the voice with stems up, and of that with stems down; no notes in it: there is one voice."""

    up: tuple[Note, ...]
    down: tuple[Note, ...] = ()


def parted(notes: Sequence[Note], start: Fraction, length: Fraction, metre: Metre) -> Parted:
    """The voices of one staff in one bar. start: its line, in quarters of the tune; length: from there to its end."""
    voices = {note.voice for note in notes if not note.grace}
    if len(voices) > 1:
        return _melody_over_accompaniment(notes)
    if voices != {Voice.ACCOMPANIMENT}:
        return Parted(tuple(notes))
    held = _held_below(notes, start, length, metre)
    saved = sum(ties for _, _, ties in held)
    if saved < FEWEST_TIES:
        return Parted(tuple(notes))
    lengths = {note: duration for note, duration, _ in held}
    return Parted(
        tuple(note for note in notes if note not in lengths),
        tuple(replace(note, duration_quarter=lengths[note]) for note in notes if note in lengths),
    )


def _melody_over_accompaniment(notes: Sequence[Note]) -> Parted:
    """On a staff that both share: two voices where a note of one begins while one of the other is held."""
    sounding = [note for note in notes if not note.grace]
    cut = sum(
        note.onset_quarter < other.onset_quarter < note.onset_quarter + note.duration_quarter
        for note in sounding
        for other in sounding
        if note.voice is not other.voice
    )
    if not cut:
        return Parted(tuple(notes))
    melody = tuple(note for note in notes if note.voice is Voice.MELODY)
    return Parted(melody, tuple(note for note in notes if note.voice is not Voice.MELODY))


def _held_below(
    notes: Iterable[Note], start: Fraction, length: Fraction, metre: Metre
) -> list[tuple[Note, Fraction, int]]:
    """The held notes of a bar, each with its written length and the ties that it would take in one voice."""
    chords: dict[Fraction, list[Note]] = {}
    for note in sorted(notes, key=lambda n: n.pitch):
        if not note.grace:
            chords.setdefault(note.onset_quarter - start, []).append(note)
    onsets = sorted(chords)
    held = []
    for number, onset in enumerate(onsets):
        lowest, *above = chords[onset]
        if not above or above[0].pitch - lowest.pitch < NEAREST or any(note.rolled for note in chords[onset]):
            continue
        end = next((later for later in onsets[number + 1 :] if not _is_above(chords[later], lowest, above[0])), length)
        value = best_single_value(onset, min(end - onset, LONGEST), metre)
        under = [later for later in onsets if onset < later < onset + value]
        moving = [note.pitch for later in under for note in chords[later]]
        if moving and max(moving) - min(moving) <= NARROW:
            held.append((lowest, value, len(under)))
    return held


def _is_above(chord: Sequence[Note], lowest: Note, above: Note) -> bool:
    """Whether all of a chord belongs to what moves over a held note: away from it, and nearer to the notes above it."""
    return all(
        note.pitch - lowest.pitch >= NEAREST and abs(note.pitch - above.pitch) < note.pitch - lowest.pitch
        for note in chord
    )
