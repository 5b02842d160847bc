"""What a person may fix of a reading by hand, and how the words for it are read ("6/8", "D", "1/8")."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from disc.errors import BadInput
from disc.pitch_names import LETTER_SEMITONES
from disc.records import Key, Metre

# Scale steps of each mode's tonic above the major key with the same signature, in semitones; theory of music.
MODE_STEPS = {"major": 0, "dorian": 2, "phrygian": 4, "lydian": 5, "mixolydian": 7, "minor": 9, "locrian": 11}
MODE_WORDS = {"": "major", "maj": "major", "m": "minor", "min": "minor", "aeolian": "minor", "ionian": "major"}
LATER = "later"  # under which a job keeps what its design knows of the tunes after the first
WIDEST_SIGNATURE = 7  # sharps or flats; there are seven letters, by definition


class NoteWord(StrEnum):
    """What a person says of one note."""

    HELD = "held"  # longer than written: under a fermata
    NOT_HELD = "not-held"
    ORNAMENT = "ornament"  # a grace note, which belongs to the note that follows it
    WRITTEN = "written"  # a note of its own, no ornament
    MELODY = "melody"
    ACCOMPANIMENT = "accompaniment"


# Of each pair a note can be said to be one only.
OPPOSITE = {
    NoteWord.HELD: NoteWord.NOT_HELD,
    NoteWord.ORNAMENT: NoteWord.WRITTEN,
    NoteWord.MELODY: NoteWord.ACCOMPANIMENT,
}
OPPOSITE |= {other: word for word, other in OPPOSITE.items()}


@dataclass(frozen=True, slots=True)
class TuneSettings:
    """Fixed by hand; None leaves it to the reader.

    upbeat: length of the upbeat in quarters. beats: number of metre units (the lower figure of the metre; quarters if
    no metre is given) from the first note to the end of the last bar. quarter_deg: turn of the disc for one quarter, as
    a design knows it: it rules the note values, and in degrees it holds at any speed. title: printed over the score;
    those of several tunes parted by " / ". section_deg: how far the disc has turned where each later tune begins;
    empty: there is but one. bars: what was said of single bars, in the order in which it was said, since each counts
    the bars as they stood then: (bar, metre) from that bar on, or (bar, beats), its line and all after it later.
    notes: what was said of single notes, each by the pin that plays it. later: what is known of each tune after the
    first, where a disc was laid out for two.
    """

    metre: Metre | None = None
    key: Key | None = None
    upbeat: Fraction | None = None
    beats: int | None = None
    quarter_deg: float | None = None
    title: str = ""
    section_deg: tuple[float, ...] | None = None
    bars: tuple[tuple[int, Metre | Fraction], ...] = ()
    notes: tuple[tuple[int, NoteWord], ...] = ()
    later: tuple[TuneSettings, ...] = ()


def parse_metre(text: str) -> Metre:
    """ "6/8" as a metre. Raises BadInput."""
    match = re.fullmatch(r"\s*(\d{1,2})\s*/\s*(\d{1,2})\s*", text)
    if not match or not 1 <= int(match[1]) <= 24 or int(match[2]) not in (1, 2, 4, 8, 16, 32):
        raise BadInput(f"the metre {text!r} cannot be read. Write it as 3/4, 4/4 or 6/8.")
    return Metre(int(match[1]), int(match[2]))


def parse_of_bar(text: str) -> tuple[int, Metre | Fraction]:
    """What is said of one bar: "2/4@17" or "17 -1/2". Raises BadInput."""
    return parse_metre_at(text) if "@" in text else parse_move(text)


def parse_metre_at(text: str) -> tuple[int, Metre]:
    """ "2/4@17" as (17, 2/4): the metre from that bar on. Raises BadInput."""
    metre, _, bar = text.partition("@")
    if not re.fullmatch(r"\s*\d{1,4}\s*", bar):
        raise BadInput(f"the metre {text!r} cannot be read. Write it as 2/4@17 for a bar of its own, or 3/4 for all.")
    return int(bar), parse_metre(metre)


def parse_move(text: str) -> tuple[int, Fraction]:
    """ "17 -1/2" as (17, -1/2): the bar and how many beats later its line stands. Raises BadInput."""
    match = re.fullmatch(r"\s*(\d{1,4})\s+([+-]?\d{1,2}(?:\.\d{1,3}|/[1-9]\d?)?)\s*", text)
    if not match:
        raise BadInput(f"the move {text!r} cannot be read. Give a bar and the beats: --move-bar 17 1, or 17 -1/2.")
    return int(match[1]), Fraction(match[2])


def parse_length(text: str) -> Fraction:
    """A length in parts of a whole note ("1/8", "0") in quarters. Raises BadInput."""
    match = re.fullmatch(r"\s*(\d{1,3})(?:\s*/\s*(\d{1,3}))?\s*", text)
    if not match or (match[2] and int(match[2]) == 0):
        raise BadInput(f"the length {text!r} cannot be read. Write it as a part of a whole note: 1/8 or 3/16, or 0.")
    return Fraction(int(match[1]), int(match[2] or 1)) * 4


def parse_key(text: str) -> Key:
    """ "D", "Bb", "F#m", "E dorian" as a key. Raises BadInput."""
    match = re.fullmatch(r"\s*([A-Ga-g])([#b♯♭]?)\s*(-?\s*[A-Za-z]*)\s*", text)
    mode = None
    if match:
        word = match[3].strip(" -").lower() if match[3].strip(" -") != "M" else "major"
        mode = MODE_WORDS.get(word, word)
    if not match or mode not in MODE_STEPS:
        raise BadInput(f"the key {text!r} cannot be read. Write it as D, Bb, F# minor or E dorian.")
    step = {"#": 1, "♯": 1, "b": -1, "♭": -1}.get(match[2], 0)
    tonic = (LETTER_SEMITONES[match[1].upper()] + step) % 12
    fifths = _letter_fifths(match[1].upper()) + 7 * step - _mode_fifths(mode)
    if abs(fifths) > WIDEST_SIGNATURE:
        raise BadInput(f"the key {text!r} would need {abs(fifths)} signs. Write it by its other name.")
    return Key(tonic, mode, fifths)


def key_of(tonic: int, mode: str) -> Key:
    """The key on a pitch class with the fewest signs in its signature (six flats rather than six sharps)."""
    major = (tonic - MODE_STEPS[mode]) % 12
    fifths = (major * 7) % 12
    return Key(tonic % 12, mode, fifths if fifths < 6 else fifths - 12)


def key_name(key: Key) -> str:
    """The key in words: "B flat major"."""
    tonic_fifths = key.fifths + _mode_fifths(key.mode)
    letter = "FCGDAEB"[(tonic_fifths + 1) % 7]
    signs = (tonic_fifths + 1) // 7
    return f"{letter}{' sharp' * max(signs, 0)}{' flat' * max(-signs, 0)} {key.mode}"


def _letter_fifths(letter: str) -> int:
    return "FCGDAEB".index(letter) - 1


def _mode_fifths(mode: str) -> int:
    """How many fifths the tonic lies above that of the major key with the same signature."""
    return {"major": 0, "lydian": -1, "mixolydian": 1, "dorian": 2, "minor": 3, "phrygian": 4, "locrian": 5}[mode]
