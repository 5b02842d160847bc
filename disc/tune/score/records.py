"""A tune as a file gives it, before it is fitted to any comb: exact quarters, bars as they are played, parts ranked.

Onsets count from the first full bar line, like those of records.Note: an upbeat is negative. Repeats are played out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from disc.records import Key, Metre
from disc.tune.score.dynamics import UNSAID, Loudness

# Ticks of one quarter, chosen: 2**5 * 3**2 * 5 * 7 is whole for 64th notes and for parts of 3, 5, 7 and 9.
TICKS_PER_QUARTER = 10080


class Rank(StrEnum):
    """What a listener would miss most: the melody, then the bass, then what fills in between; ornaments last."""

    MELODY = "melody"
    BASS = "bass"
    INNER = "inner"
    ORNAMENT = "ornament"


@dataclass(frozen=True, slots=True)
class ScorePart:
    """What a file says of one of its parts. sung: there are words under its notes."""

    name: str = ""
    sung: bool = False


@dataclass(frozen=True, slots=True)
class ChordSymbol:
    """A chord as a letter over the staff, such as "Am7" or "D/F#", from its onset on until the next."""

    onset_quarter: Fraction
    text: str


@dataclass(frozen=True, slots=True)
class OrnamentSigned:
    """What a file writes of an ornament of the note at this onset and pitch, of which no notes are made here.

    graces: pitches of small notes before it, in their order. sign: "trill", "mordent", "inverted mordent" or "turn".
    """

    onset_quarter: Fraction
    pitch: int
    part: int = 0
    graces: tuple[int, ...] = ()
    sign: str = ""


@dataclass(frozen=True, slots=True)
class ScoreNote:
    """One sounding note, ties joined. pitch: MIDI number, whole. part: 0 for the first part of the file.

    lead_s: of an ornament's note, how long before its onset it is struck.
    """

    onset_quarter: Fraction
    duration_quarter: Fraction
    pitch: int
    rank: Rank = Rank.MELODY
    part: int = 0
    lead_s: float = 0.0
    loudness: Loudness = UNSAID

    @property
    def end_quarter(self) -> Fraction:
        """When the note stops sounding in the score."""
        return self.onset_quarter + self.duration_quarter


@dataclass(frozen=True, slots=True)
class ScoreBar:
    """One bar as played. number: 1 for the first full bar, counted on through repeats; 0 for an upbeat.

    printed: the bar's number in the file, the same again when a repeat brings it back.
    """

    number: int
    start_quarter: Fraction
    length_quarter: Fraction
    printed: str = ""

    @property
    def end_quarter(self) -> Fraction:
        """Where the next bar line stands."""
        return self.start_quarter + self.length_quarter


@dataclass(frozen=True, slots=True)
class ScoreIn:
    """A tune read from a file. notes are sorted by onset, then pitch.

    key: None if the file gives none. quarter_s: seconds of a quarter by the first tempo mark; None if there is none.
    remarks: what the reader had to leave out or guess, one short line each. parts: by number; melody_part: the one that
    was taken for the tune, None where there is but one. symbols: chord symbols, of which no notes are made here;
    ornaments likewise.
    """

    notes: tuple[ScoreNote, ...]
    bars: tuple[ScoreBar, ...]
    metre: Metre
    key: Key | None
    quarter_s: float | None
    title: str
    remarks: tuple[str, ...] = ()
    parts: tuple[ScorePart, ...] = ()
    melody_part: int | None = None
    composer: str = ""
    symbols: tuple[ChordSymbol, ...] = ()
    ornaments: tuple[OrnamentSigned, ...] = ()

    @property
    def upbeat_quarter(self) -> Fraction:
        """Length of the upbeat before the first full bar; 0 if there is none."""
        return max(Fraction(0), -self.bars[0].start_quarter)

    @property
    def start_quarter(self) -> Fraction:
        """Where the first note sounds."""
        return min(note.onset_quarter for note in self.notes)

    @property
    def last_onset_quarter(self) -> Fraction:
        """Where the last note is struck: what a disc must still reach."""
        return max(note.onset_quarter for note in self.notes)

    def melody(self) -> tuple[ScoreNote, ...]:
        """The notes of the leading part."""
        return tuple(note for note in self.notes if note.rank is Rank.MELODY)

    def played_times(self, times: int) -> ScoreIn:
        """The whole tune played so many times on end, bars counted on."""
        length = self.bars[-1].end_quarter - self.bars[0].start_quarter
        notes = tuple(
            replace(note, onset_quarter=note.onset_quarter + i * length) for i in range(times) for note in self.notes
        )
        count = len(self.bars)
        bars = tuple(
            replace(bar, number=bar.number + i * count, start_quarter=bar.start_quarter + i * length)
            for i in range(times)
            for bar in self.bars
        )
        return replace(self, notes=notes, bars=bars)

    def between_bars(self, first: int, last: int) -> ScoreIn:
        """Only bars first..last as played (inclusive), renumbered from 1; an upbeat kept with first = 0 stays 0.

        Onsets count from the first full bar kept. Notes that begin outside are dropped, notes that ring over the last
        bar line are cut there.
        """
        kept = tuple(bar for bar in self.bars if first <= bar.number <= last)
        start, end = kept[0].start_quarter, kept[-1].end_quarter
        origin = kept[1].start_quarter if kept[0].number == 0 and len(kept) > 1 else start
        notes = tuple(
            replace(
                note,
                onset_quarter=note.onset_quarter - origin,
                duration_quarter=min(note.end_quarter, end) - note.onset_quarter,
            )
            for note in self.notes
            if start <= note.onset_quarter < end
        )
        number = 0 if kept[0].number == 0 else 1
        bars = tuple(
            replace(bar, number=number + i, start_quarter=bar.start_quarter - origin) for i, bar in enumerate(kept)
        )
        return replace(self, notes=notes, bars=bars)


def ornament_groups(notes: Sequence[ScoreNote]) -> tuple[tuple[int, ...], ...]:
    """By place in the notes: each ornament's notes in the order in which they are struck, and last their note.

    The note is the highest of its part that is struck at the place.
    """
    by_place: dict[tuple[Fraction, int], list[int]] = {}
    for i, note in enumerate(notes):
        if note.rank is Rank.ORNAMENT:
            by_place.setdefault((note.onset_quarter, note.part), []).append(i)
    groups = []
    for (onset, part), graces in by_place.items():
        struck = [
            i for i, n in enumerate(notes)
            if n.onset_quarter == onset and n.part == part and n.rank is not Rank.ORNAMENT
        ]  # fmt: skip
        if struck:
            ordered = sorted(graces, key=lambda i: -notes[i].lead_s)
            groups.append((*ordered, max(struck, key=lambda i: notes[i].pitch)))
    return tuple(groups)
