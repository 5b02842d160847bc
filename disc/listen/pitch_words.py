"""A pitch as a musician says it: note, octave and cents."""

from __future__ import annotations

NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")


def note_name(pitch: float) -> str:
    """Note and octave nearest to a MIDI number: "A4"."""
    whole = round(pitch)
    return f"{NAMES[whole % 12]}{whole // 12 - 1}"


def pitch_words(pitch: float) -> str:
    """Note and octave of a MIDI number, with cents and frequency: "A4 -14 c (436.5 Hz)". 69.0 is A4 at 440 Hz."""
    whole = round(pitch)
    cents = round((pitch - whole) * 100)
    hz = 440.0 * 2.0 ** ((pitch - 69.0) / 12.0)
    return f"{note_name(pitch)} {cents:+d} c ({hz:.1f} Hz)"
