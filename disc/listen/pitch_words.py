"""A pitch with its frequency, as listening tells it."""

from __future__ import annotations

from disc.pitch_names import note_name


def pitch_words(pitch: float) -> str:
    """Note and octave of a MIDI number, with cents and frequency: "A4 -14 c (436.5 Hz)". 69.0 is A4 at 440 Hz."""
    whole = round(pitch)
    cents = round((pitch - whole) * 100)
    hz = 440.0 * 2.0 ** ((pitch - 69.0) / 12.0)
    return f"{note_name(pitch)} {cents:+d} c ({hz:.1f} Hz)"
