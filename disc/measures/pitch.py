"""Pitches in words to MIDI numbers: "C#5", "Cis5", "do#5", "si bémol 4", "C#5-14", "554,4 Hz", "73", "cis''".

Octaves are counted as in ISO 16's A4 = La4 = 440 Hz, the C below it being C4, in every language; the older French
count, in which this is la3, cannot be told from it, so the command says the range in hertz. Primes are Helmholtz's:
a' is A4. In English B is a semitone below C; in German that is H, and B is B flat: see Names.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from enum import StrEnum

from disc.errors import BadInput
from disc.measures.number import number_from, shown, tidy
from disc.pitch_names import LETTER_SEMITONES

A4_HZ, A4_MIDI = 440.0, 69.0  # ISO 16; MIDI 1.0 numbers the A above middle C 69
# Unless said otherwise: chosen by hand, not measured.
HIGHEST_MIDI = 140.0  # 26.6 kHz: beyond hearing and beyond every comb


class Names(StrEnum):
    """Whose note names: they differ in what a bare B means."""

    ENGLISH = "english"
    GERMAN = "german"
    FRENCH = "french"


# Semitones above C of the letters, H being the German B, and of the syllables; theory of music, no measurement.
_STEPS = {letter.lower(): step for letter, step in LETTER_SEMITONES.items()} | {"h": 11}
_SOLFA = {"do": 0, "ut": 0, "ré": 2, "re": 2, "mi": 4, "fa": 5, "sol": 7, "la": 9, "si": 11}  # theory of music
# As in the trade's German: Es and As drop a letter; B stands for Hes. Theory of music.
_GERMAN = {f"{note}is": step + 1 for note, step in _STEPS.items() if note != "b"}
_GERMAN |= {f"{note}es": step - 1 for note, step in _STEPS.items() if note not in "eab"}
_GERMAN |= {"es": 3, "as": 8, "ases": 7, "eses": 2}
_GERMAN |= {f"{note}isis": step + 2 for note, step in _STEPS.items() if note != "b"}
_SHARP = r"##|x|♯♯|#|♯|sharp|dièse|diese|kreuz"
_FLAT = r"bb|♭♭|b|♭|flat|bémol|bemol"
# Semitones by the signs and words above; theory of music, no measurement.
_ACCIDENTALS = {"##": 2, "x": 2, "♯♯": 2, "bb": -2, "♭♭": -2} | dict.fromkeys(
    ("#", "♯", "sharp", "dièse", "diese", "kreuz"), 1
)
_ACCIDENTALS |= dict.fromkeys(("b", "♭", "flat", "bémol", "bemol"), -1)
_ACCIDENTALS |= {"♮": 0, "": 0}

# c² is c''; Helmholtz's strokes, by definition.
_STROKES = str.maketrans({"¹": "'", "²": "''", "³": "'" * 3, "⁴": "'" * 4, "⁵": "'" * 5})  # c² is c''

_CENTS = r"(?P<cents>[+-]\s*\d+([.,]\d+)?)\s*(cents?|ct|c|¢)?"
_NAME = re.compile(
    rf"(?P<note>{'|'.join(sorted((*_GERMAN, *_SOLFA), key=len, reverse=True))}|[a-h])"
    rf"\s*(?P<accidental>{_SHARP}|{_FLAT}|♮)?\s*((?P<octave>-?\d{{1,2}})|(?P<primes>[,]{{1,3}}|['’′]{{1,6}}))\s*({_CENTS})?",
    re.IGNORECASE,
)
_HERTZ = re.compile(r"(?P<value>[\d.,]+)\s*(?P<kilo>k?)hz", re.IGNORECASE)
HOW = "Write a name with its octave (C#5, Cis5, do#5; cents as C#5-14), hertz (554.4 Hz), or a MIDI number (73)."


def pitch_from(text: str, what: str = "the pitch", names: Names | None = None) -> float:
    """The pitch as a MIDI number with a fraction. Raises BadInput, one line that names `what`.

    names: whose note names; left out, a bare B is English, unless the name itself is German (H, Cis) or French.
    """
    words = tidy(text).translate(_STROKES)
    if len(words) > 40:
        raise BadInput(f"{what}: {shown(text)} is not a pitch. {HOW}")
    if found := _HERTZ.fullmatch(words):
        hz = number_from(found["value"], what, fractions=False) * (1000.0 if found["kilo"] else 1.0)
        return midi_from_hz(hz, text, what)
    if found := _NAME.fullmatch(words):
        return _in_range(_named(found, names, text, what), text, what)
    if re.fullmatch(r"[+-]?[\d.,]+", words):
        value = number_from(words, what, fractions=False)
        if value > HIGHEST_MIDI:
            raise BadInput(f"{what}: {shown(text)} is no MIDI number (0 to 140). If it is in hertz, write {words} Hz.")
        return _in_range(value, text, what)
    if re.fullmatch(r"(?i)[a-h](is|es|s|#|b|♯|♭)?|do|re|ré|mi|fa|sol|la|si", words):
        raise BadInput(f"{what}: {shown(text)} lacks its octave. A4 is the A of 440 Hz: write {words}5 or the like.")
    raise BadInput(f"{what}: {shown(text)} is not a pitch. {HOW}")


def midi_from_hz(hz: float, text: str, what: str) -> float:
    """A frequency as a MIDI number. Raises BadInput for one that no tooth has."""
    if not 8.0 <= hz <= 27_000.0:
        raise BadInput(f"{what}: {shown(text)} is no pitch of a tooth; hearing goes from about 20 Hz to 20 kHz.")
    return A4_MIDI + 12.0 * math.log2(hz / A4_HZ)


def _named(found: re.Match[str], names: Names | None, text: str, what: str) -> float:
    note, written = found["note"].lower(), found["note"]
    accidental = (found["accidental"] or "").lower()
    alter = _ACCIDENTALS[accidental]
    if note in _SOLFA:
        step = _SOLFA[note]
    elif note in _GERMAN:
        step = _GERMAN[note]
        if alter:
            raise BadInput(
                f"{what}: {shown(text)} has its accidental twice. Write {written}, or the letter and the sign."
            )
    else:
        step = _STEPS[note]
        if note == "b" and names is Names.GERMAN and not alter:
            step = 10
    cents = number_from(found["cents"].replace(" ", ""), what) if found["cents"] else 0.0
    if abs(cents) > 100.0:
        raise BadInput(f"{what}: {shown(text)} is more than a semitone off the note it names. Name the nearer note.")
    return 12.0 * (_octave(found, written, text, what) + 1) + step + alter + cents / 100.0


def _octave(found: re.Match[str], written: str, text: str, what: str) -> int:
    """The octave's number; by primes: c' is C4, c is C3, C is C2, C, is C1 (Helmholtz)."""
    if found["octave"] is not None:
        return int(found["octave"])
    primes = found["primes"]
    if primes.startswith(","):
        if written[0].islower():
            raise BadInput(f"{what}: {shown(text)}: commas go with a capital letter, strokes with a small one. {HOW}")
        return 2 - len(primes)
    if written[0].isupper():
        raise BadInput(f"{what}: {shown(text)}: strokes go with a small letter, as in cis''. {HOW}")
    return 3 + len(primes)


def _in_range(value: float, text: str, what: str) -> float:
    if not 0.0 <= value <= HIGHEST_MIDI:
        raise BadInput(f"{what}: {shown(text)} lies outside of what a tooth can sound (C-1 to 27 kHz). Correct it.")
    return value


def names_used(texts: Iterable[str]) -> Names | None:
    """Whose names a column of pitches is written in: one H or Cis makes every bare B a German one; None: no sign."""
    words = [tidy(text).lower() for text in texts]
    if any(re.match(r"(h|[a-g]is|[cdfgh]es|es|as)\s*[\d',’′]", word) for word in words):
        return Names.GERMAN
    if any(re.match(r"(do|ut|ré|re|mi|fa|sol|la|si)\b|(do|ut|ré|re|mi|fa|sol|la|si)[#♯♭b\d]", word) for word in words):
        return Names.FRENCH
    return None
