"""Chromatic notes of a line are spelled by where they lead: up by a semitone as raised, down as lowered.

Some stay as the key has them: the raised fourth, the lowered seventh, and in a minor key the leading note, which are of
the neighbouring keys. Common practice, no source. Notes of chords, and notes that lead nowhere by a semitone, are
spelled by the key alone (signs.spelled).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from disc.pitch_names import LETTER_SEMITONES
from disc.records import Key, Note
from disc.tune.write.layout import Bar, Chord
from disc.tune.write.signs import Spelling, spelled

Spellings = Mapping[int, Spelling]  # by id() of a note
STEPS = "CDEFGAB"
# Semitones over the tonic of the major key of the signature; theory of music.
MAJOR = frozenset({0, 2, 4, 5, 7, 9, 11})
RAISED_FOURTH, LOWERED_SEVENTH, LEADING_OF_MINOR = 6, 10, 8  # semitones over the same tonic; by definition


def spellings_of(bars: Sequence[Bar]) -> Spellings:
    """How each note is written that is not spelled by its key alone."""
    struck = Counter((bar.printed.start + c.onset, n.pitch % 12) for bar, c in _chords(bars) for n in c.notes)
    found: dict[int, Spelling] = {}
    for staff in range(max((len(bar.staves) for bar in bars), default=0)):
        goal: int | None = None
        after: int | None = None
        for note, at, key in reversed(list(_line(bars, staff))):
            if note is None:
                goal = after = None
                continue
            if note.pitch != after:  # a pitch that is struck again leads where its last one does
                goal, after = after, note.pitch
            led = None if goal is None or struck[at, note.pitch % 12] > 1 else _led(note.pitch, goal, key)
            if led is not None:
                found[id(note)] = led
    return found


def _chords(bars: Sequence[Bar]) -> Iterator[tuple[Bar, Chord]]:
    for bar in bars:
        for voices in bar.staves:
            for voice in voices:
                yield from ((bar, chord) for chord in voice if not chord.tied_back)


def _line(bars: Sequence[Bar], staff: int) -> Iterator[tuple[Note | None, Fraction, Key]]:
    """The upper voice of a staff: each note that stands alone, and none for chords and rests."""
    for bar in bars:
        for chord in bar.staves[staff][0]:
            if not chord.tied_back:
                note = chord.notes[0] if len(chord.notes) == 1 else None
                yield note, bar.printed.start + chord.onset, bar.printed.part.key


def _led(pitch: int, target: int, key: Key) -> Spelling | None:
    """The letter next to the one that a chromatic note leads to; None: as the key has it."""
    degree, step = (pitch - 7 * key.fifths) % 12, target - pitch
    if abs(step) != 1 or degree in MAJOR or (target - 7 * key.fifths) % 12 not in MAJOR:
        return None
    if (degree, step) in {(RAISED_FOURTH, -1), (LOWERED_SEVENTH, 1)}:
        return None
    if key.mode == "minor" and (degree, step) == (LEADING_OF_MINOR, -1):
        return None
    goal = spelled(target, key.fifths)
    place = STEPS.index(goal.letter) - step
    letter, octave = STEPS[place % 7], goal.octave + place // 7
    alter = pitch - 12 * (octave + 1) - LETTER_SEMITONES[letter]
    led = Spelling(letter, alter, octave)
    return led if abs(alter) <= 1 or led == spelled(pitch, key.fifths) else None


def plainly(pitch: int, fifths: int) -> Spelling:
    """A pitch spelled for a signature, without a double accidental: that is for notes which lead to their neighbour."""
    written = spelled(pitch, fifths)
    return written if abs(written.alter) < 2 else spelled(pitch, 0)
