"""The K: field of ABC: tonic, mode and explicit accidentals as what each letter sounds.

Source: The ABC Music Standard 2.1, section 3.1.14 (modes, global accidentals, Highland pipes).
"""

from __future__ import annotations

import re

SHARPS = "FCGDAEB"  # the order in which sharps are added; flats in the reverse
# Of the major key on each letter; theory of music.
MAJOR_FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
# Fifths of a mode against the major key on the same tonic; theory of music.
MODE_FIFTHS = {
    "": 0, "maj": 0, "ion": 0, "mix": -1, "dor": -2, "m": -3, "min": -3, "aeo": -3, "phr": -4, "loc": -5, "lyd": 1,
}  # fmt: skip
# "Es" and the like are German names of keys that stand in some collections.
KEY = re.compile(r"^\s*([A-Ga-g])(#|b|s(?![a-z]))?\s*([A-Za-z]*)")
GLOBAL = re.compile(r"(\^\^|\^|__|_|=)([A-Ga-g])\b")
ACCIDENTAL = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}  # semitones; the ABC standard named above


def key_fifths(text: str) -> int:
    """Sharps (positive) or flats (negative) of the key; 0 where none is named or it is not understood."""
    if re.match(r"^\s*(HP|Hp)", text):
        return 2
    found = KEY.match(text)
    if not found or text.strip().lower().startswith(("none", "clef")):
        return 0
    fifths = MAJOR_FIFTHS[found[1].upper()] + {"#": 7, "b": -7, "s": -7}.get(found[2] or "", 0)
    return fifths + _mode_fifths(found[3])


def _mode_fifths(word: str) -> int:
    lower = word.lower()
    if lower in ("m", "") or lower[:3] in MODE_FIFTHS:
        return MODE_FIFTHS[lower if lower in ("m", "") else lower[:3]]
    return 0


def key_accidentals(text: str) -> dict[str, int]:
    """Semitones by letter, e.g. {"F": 1} in G major; letters that stay natural are left out."""
    fifths = max(-7, min(7, key_fifths(text)))
    if fifths >= 0:
        result = dict.fromkeys(SHARPS[:fifths], 1)
    else:
        result = dict.fromkeys(SHARPS[fifths:], -1)
    for sign, letter in GLOBAL.findall(text):
        result[letter.upper()] = ACCIDENTAL[sign]
    return result


# The mode's three letters -> the program's word for it; Mixolydian and the others stand as in tune/settings.py.
MODES = {
    "": "major", "maj": "major", "ion": "major", "mix": "mixolydian", "dor": "dorian", "m": "minor", "min": "minor",
    "aeo": "minor", "phr": "phrygian", "loc": "locrian", "lyd": "lydian",
}  # fmt: skip


def key_mode(text: str) -> str | None:
    """The mode of the key in the program's words; None where no key is named."""
    if re.match(r"^\s*(HP|Hp)", text):
        return "mixolydian"  # the Highland bagpipe's scale on A with two sharps
    found = KEY.match(text)
    if not found or text.strip().lower().startswith(("none", "clef")):
        return None
    word = found[3].lower()  # capitals say nothing in a mode: "EM" is E minor
    return MODES.get(word[:3], "major")
