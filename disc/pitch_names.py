"""A pitch as a musician says it: the one place where a MIDI number becomes a name."""

from __future__ import annotations

# Semitones above C of the seven letters, and by the signs after a letter: theory of music, no measurement.
LETTER_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SIGN_SEMITONES = {"": 0, "#": 1, "♯": 1, "##": 2, "b": -1, "♭": -1, "bb": -2}  # theory of music
# The usual spelling where no key is known: the black keys as the nearest keys of the circle of fifths have them.
PLAIN_NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")
SHARP_NAMES = ("C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B")
FLAT_NAMES = ("C", "D♭", "D", "E♭", "E", "F", "G♭", "G", "A♭", "A", "B♭", "B")


def note_name(pitch: float | None, fifths: int | None = None, cents: bool = False) -> str:
    """Note and octave nearest to a MIDI number, in scientific pitch notation (ASA: middle C, 60, is C4).

    fifths: the key's signature (flats negative), which chooses between F♯ and G♭; None: no key is known. cents: with
    how far it is off, "B♭4 +8". None is "pitch not known".
    """
    if pitch is None:
        return "pitch not known"
    whole = round(pitch)
    names = PLAIN_NAMES if fifths is None else FLAT_NAMES if fifths < 0 else SHARP_NAMES
    off = cents_off(pitch) if cents else 0
    return f"{names[whole % 12]}{whole // 12 - 1}" + (f" {off:+d}" if off else "")


def cents_off(pitch: float) -> int:
    """Deviation from the nearest note of equal temperament, whole cents."""
    return round(100.0 * (pitch - round(pitch)))
