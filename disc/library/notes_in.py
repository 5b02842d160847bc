"""A melody typed at the prompt: note names, a line of ABC, or only how it rises and falls.

"G4 A4 B4 C5" are note names with their octaves; "G2 A B c d2" is a line of ABC, whose digits are lengths; "*uudr" is
Parsons code (Parsons, The Directory of Tunes and Musical Themes, 1975): up, down, repeat after the first note.
"""

from __future__ import annotations

import re

import numpy as np

from disc.errors import BadInput
from disc.library.search.asked.query import NORMAL_QUARTER_S, Query, make_query
from disc.pitch_names import LETTER_SEMITONES, SIGN_SEMITONES

NAMED = re.compile(r"([A-Ga-g])(##|bb|[#b♯♭]?)(-?\d)")
RISES = {"u": 1, "+": 1, "d": -1, "-": -1, "r": 0, "=": 0}  # signs of Parsons' code, and + - = for them; by definition
MOST_CHARACTERS = 20_000  # typed; far beyond any tune's beginning, so longer is a file by mistake (chosen)
NAME = "--notes"


def query_of_notes(text: str) -> Query:
    """What was typed as a query. Raises BadInput where it is none of the three, or too short."""
    if len(text) > MOST_CHARACTERS:
        raise BadInput(f"{NAME}: too long; a melody of some dozens of notes is enough.")
    words = text.split()
    contour = "".join(words).lower().removeprefix("*")
    if contour and set(contour) <= RISES.keys() and (text.lstrip().startswith("*") or not set("d") >= set(contour)):
        return _in_order(np.cumsum([60, *(RISES[sign] for sign in contour)]), contour=True)
    if words and all(NAMED.fullmatch(word) for word in words) and any(word[0].isupper() for word in words):
        return _in_order(np.array([_midi(word) for word in words]))
    return _from_abc(text)


def _midi(word: str) -> int:
    found = NAMED.fullmatch(word)
    assert found is not None
    return 12 * (int(found[3]) + 1) + LETTER_SEMITONES[found[1].upper()] + SIGN_SEMITONES[found[2]]


def _in_order(pitch: np.ndarray, contour: bool = False) -> Query:
    """Notes of which only the order is known, a note each half second in place of what is not known."""
    at = np.arange(pitch.size, dtype=np.float64) * NORMAL_QUARTER_S
    query = make_query(at, pitch.astype(np.float64), None, NAME)
    return Query(query.onset_s, query.pitch, None, timed=False, contour=contour)


def _from_abc(text: str) -> Query:
    from disc.tune.score.abc.read_abc import read_abc

    line = text.replace("\\n", "\n")
    whole = line if re.search(r"^K:", line, re.MULTILINE) else f"X:1\nL:1/8\nK:C\n{line}\n"
    tunes = read_abc(whole)
    if not tunes:
        raise BadInput(f'{NAME}: no notes in {text[:40]!r}. Give note names ("G4 A4 B4"), ABC ("G2 A B c") or "*uudr".')
    notes = tunes[0].score.notes
    onset = np.array([float(note.onset_quarter) for note in notes])
    pitch = np.array([note.pitch for note in notes])
    lengths = {note.duration_quarter for note in notes[:-1]}
    if len(lengths) < 2:  # all alike: no rhythm was given
        return _in_order(pitch)
    return make_query(onset * NORMAL_QUARTER_S, pitch.astype(np.float64), None, NAME)
