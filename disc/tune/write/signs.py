"""What stands at the notes of a bar by rule: the sign of a length, accidentals, beams, the brackets of triplets.

Common practice of engravers, no source: an accidental holds for its place to the bar's end, and is said again where the
same letter was altered in another octave; beams go by beats, and eighths alone by half bars, or a bar of three.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Sized
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from disc.pitch_names import LETTER_SEMITONES
from disc.records import Metre
from disc.tune.write.lengths import PLAIN, beat_quarter, is_compound

# The line of fifths from F (-1) upwards, seven letters.
LETTERS = "FCGDAEB"
# Names of MusicXML 4.0 (note-type-value), by quarters.
TYPES = {
    Fraction(8): "breve", Fraction(4): "whole", Fraction(2): "half", Fraction(1): "quarter", Fraction(1, 2): "eighth",
    Fraction(1, 4): "16th", Fraction(1, 8): "32nd", Fraction(1, 16): "64th", Fraction(1, 32): "128th",
}  # fmt: skip
ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
EIGHTH = Fraction(1, 2)  # of a quarter; by definition


class Written(Protocol):
    """A chord of a bar, or a rest where it has no notes."""

    @property
    def onset(self) -> Fraction:
        """Quarters from the bar's beginning."""
        ...

    @property
    def duration(self) -> Fraction:
        """Quarters, as written."""
        ...

    @property
    def notes(self) -> Sized:
        """What sounds; nothing of a rest."""
        ...


@dataclass(frozen=True, slots=True)
class Sign:
    """The sign of a length: its plain value in quarters, whether it has a dot, whether it is one of a triplet's."""

    plain: Fraction
    dotted: bool = False
    triplet: bool = False

    @property
    def beams(self) -> int:
        """How many beams or flags it has."""
        return max(0, PLAIN.index(self.plain) - PLAIN.index(Fraction(1)))


def sign_of(length: Fraction) -> Sign:
    """The sign that writes a length; of one that none does the next smaller plain one."""
    for plain in PLAIN:
        if length == plain:
            return Sign(plain)
        if length == plain * Fraction(3, 2):
            return Sign(plain, dotted=True)
        if length == plain * Fraction(2, 3):
            return Sign(plain, triplet=True)
    return Sign(next((plain for plain in PLAIN if plain <= length), PLAIN[-1]))


@dataclass(frozen=True, slots=True)
class Spelling:
    """A pitch as it is written. alter: sharps positive, flats negative. octave: 4 from middle C on."""

    letter: str
    alter: int
    octave: int

    @property
    def name(self) -> str:
        """As music21 reads it: "B-4"."""
        return f"{self.letter}{'#' * self.alter}{'-' * -self.alter}{self.octave}"


def spelled(pitch: int, fifths: int) -> Spelling:
    """A MIDI number spelled for a signature: the nearest on the line of fifths.

    The window of twelve fifths is such that chromatic notes of a major key come out as raised first, fourth and fifth
    and flat third and seventh, and the leading note of its relative minor as raised. Common practice.
    """
    low = fifths - 3  # in C: from E flat (-3) to G sharp (8)
    place = next(f for f in range(low, low + 12) if (f * 7) % 12 == pitch % 12)
    letter, alter = LETTERS[(place + 1) % 7], (place + 1) // 7
    return Spelling(letter, alter, (pitch - alter - LETTER_SEMITONES[letter]) // 12 - 1)


class Accidentals:
    """Which notes of one staff need an accidental, asked in their order; begun anew with each bar."""

    def __init__(self, fifths: int) -> None:
        sharp, flat = set(LETTERS[: max(0, fifths)]), set(LETTERS[::-1][: max(0, -fifths)])
        self._signed = {letter: (letter in sharp) - (letter in flat) for letter in LETTERS}
        self._before: dict[tuple[str, int], int] = {}

    def before(self, written: Spelling) -> str | None:
        """The accidental that stands before a note; None where it is understood."""
        place = (written.letter, written.octave)
        known = self._before.get(place, self._signed[written.letter])
        elsewhere = {alter for (letter, _), alter in self._before.items() if letter == written.letter}
        needed = known != written.alter or (place not in self._before and bool(elsewhere - {written.alter}))
        self._before[place] = written.alter
        return ACCIDENTALS.get(written.alter) if needed else None


def beams_of(chords: Sequence[Written], metre: Metre) -> list[tuple[str, ...]]:
    """For each chord the words of its beams, the outermost first, as MusicXML has them; none for flags and rests."""
    words: list[tuple[str, ...]] = [()] * len(chords)
    for run in _runs(chords, _group_starts(chords, metre)):
        levels = [sign_of(chords[i].duration).beams for i in run]
        for at, i in enumerate(run):
            words[i] = tuple(_beam(levels, at, level, chords[i]) for level in range(1, levels[at] + 1))
    return words


def _group_starts(chords: Sequence[Written], metre: Metre) -> list[Fraction]:
    """For each chord where the group begins within which it may be beamed."""
    beat = metre.bar_quarter if metre.beats == 3 and metre.unit == 8 else beat_quarter(metre)
    if is_compound(metre) or metre.unit != 4:
        starts = [chord.onset // beat * beat for chord in chords]
        thirds = {start for chord, start in zip(chords, starts, strict=True) if sign_of(chord.duration).triplet}
        # a half with triplets in it goes by quarters: they share no beam with what is not theirs
        return [
            Fraction(chord.onset // 1) if beat == 2 and start in thirds else start
            for chord, start in zip(chords, starts, strict=True)
        ]
    span = Fraction(metre.beats if metre.beats <= 3 else 2)
    starts = [chord.onset // span * span for chord in chords]
    whole = {
        start
        for start in set(starts)
        if _all_eighths([c for c, s in zip(chords, starts, strict=True) if s == start], span)
    }
    return [
        start if start in whole else chord.onset // beat * beat for chord, start in zip(chords, starts, strict=True)
    ]


def _all_eighths(chords: Sequence[Written], span: Fraction) -> bool:
    return all(chord.notes and chord.duration == EIGHTH for chord in chords) and len(chords) == span / EIGHTH


def _runs(chords: Sequence[Written], starts: Sequence[Fraction]) -> Iterable[list[int]]:
    """Two chords or more with flags that follow each other in one group, none over the edge of a triplet's bracket: the
    engraver draws that as long as the beam.
    """
    run: list[int] = []
    edges = _bracketed(chords)
    for i, chord in enumerate(chords):
        flagged = bool(chord.notes) and sign_of(chord.duration).beams > 0
        if run and (not flagged or starts[run[0]] != starts[i] or i in edges):
            if len(run) > 1:
                yield run
            run = []
        if flagged:
            run.append(i)
    if len(run) > 1:
        yield run


def _bracketed(chords: Sequence[Written]) -> set[int]:
    """Where triplets begin, and what follows them, of those that have a bracket: a part of them has no beam."""
    edges: set[int] = set()
    first = 0
    for i, (begins, ends) in enumerate(triplet_ends(chords)):
        first = i if begins else first
        if ends and any(not c.notes or not sign_of(c.duration).beams for c in chords[first : i + 1]):
            edges |= {first, i + 1}
    return edges


def _beam(levels: Sequence[int], at: int, level: int, chord: Written) -> str:
    before = at > 0 and levels[at - 1] >= level
    after = at + 1 < len(levels) and levels[at + 1] >= level
    if before or after:
        return "continue" if before and after else "end" if before else "begin"
    first, last = at == 0, at + 1 == len(levels)
    forward = first or (not last and chord.onset % (2 * chord.duration) == 0)
    return "forward hook" if forward else "backward hook"


def triplet_ends(chords: Sequence[Written]) -> list[tuple[bool, bool]]:
    """For each chord whether a triplet's bracket begins and ends at it: as soon as its parts fill a plain value, but
    not amid a triplet whose second third is two notes.
    """
    ends = [(False, False)] * len(chords)
    first, filled = -1, Fraction(0)
    for i, chord in enumerate(chords):
        triplet = sign_of(chord.duration).triplet
        if first < 0 and triplet:
            first, filled = i, Fraction(0)
        if first < 0:
            continue
        filled += chord.duration
        following = i + 1 < len(chords) and sign_of(chords[i + 1].duration).triplet
        full = filled.denominator % 3 and not (following and _is_mid_third(chords[first:], filled))
        if full or not following:
            ends[i] = (ends[i][0], True)
            ends[first] = (True, ends[first][1])
            first = -1
    return ends


def _is_mid_third(chords: Sequence[Written], filled: Fraction) -> bool:
    """Whether what is filled is the first half of one triplet: its second third is parted there, the others whole."""
    start, sixth = chords[0].onset, filled / 3
    if start % (2 * filled):
        return False
    inside = [chord for chord in chords if chord.onset < start + 2 * filled]
    whole = inside[-1].onset + inside[-1].duration == start + 2 * filled
    return whole and {(chord.onset - start) / sixth for chord in inside} <= {0, 2, 3, 4}
