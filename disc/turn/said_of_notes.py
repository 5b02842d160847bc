"""What a person says of single notes ("held", "an ornament", "the melody"), as it is stored in a job and found again.

A note is stored by the place of its pin (job/places_said.py), since a new reading numbers the pins anew.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from disc.errors import BadInput
from disc.job.places_said import NOTES, PlaceSaid, notes_said
from disc.records import About, Doubt, Pin, Tune
from disc.tune.settings import OPPOSITE, NoteWord

FORGET = "auto"
WORDS = ", ".join(NoteWord)


def with_notes(stored: Mapping[str, Any], said: Sequence[PlaceSaid]) -> dict[str, Any]:
    """The settings with this said of single notes, and nothing else."""
    rest = {name: value for name, value in stored.items() if name != NOTES}
    return rest | ({NOTES: [one.text for one in said]} if said else {})


def say_of_note(stored: Mapping[str, Any], pin: Pin, word: NoteWord | None) -> dict[str, Any]:
    """The settings with a word said of a pin's note, in the place of its opposite; None: all that was said is gone."""
    kept = [
        one
        for one in notes_said(stored)
        if not one.is_at(pin) or (word is not None and one.word not in (word.value, OPPOSITE[word].value))
    ]
    made = [] if word is None else [PlaceSaid(word.value, pin.side, pin.r_mm, pin.theta_deg)]
    return with_notes(stored, [*kept, *made])


def take_back(stored: Mapping[str, Any], pin: Pin, word: NoteWord) -> dict[str, Any]:
    """The settings without one word that was said of a pin's note."""
    return with_notes(stored, [one for one in notes_said(stored) if not (one.word == word.value and one.is_at(pin))])


def by_pin(said: Iterable[PlaceSaid], pins: Sequence[Pin]) -> dict[PlaceSaid, int | None]:
    """The pin that each was said of: the nearest within reach; None where no pin stands there any more."""
    found = {}
    for one in said:
        near = [pin for pin in pins if one.is_at(pin)]
        found[one] = min(near, key=lambda pin: one.apart_mm(pin)).id if near else None
    return found


def lost_doubt(found: Mapping[PlaceSaid, int | None]) -> Doubt | None:
    """What is said where a note lost its pin."""
    lost = sum(pin is None for pin in found.values())
    if not lost:
        return None
    return Doubt(
        About.ASSUMED,
        f"of what was said of single notes {lost} no longer fits any pin and is left out.",
        "See at the desk what is said of notes, and take it back or say it of another pin.",
    )


def note_meant(words: str, pins: Sequence[Pin], tune: Tune | None) -> Pin:
    """The pin of "41" or, as bar and beat, of "8:3": its melody's note, else the highest there. Raises BadInput."""
    if re.fullmatch(r"\s*\d{1,6}\s*", words):
        wanted = int(words)
    elif match := re.fullmatch(r"\s*(\d{1,4})\s*:\s*(\d{1,2}(?:\.\d{1,3}|/[1-9]\d?)?|\d{1,2}\s+\d/\d)\s*", words):
        wanted = _pin_at(int(match[1]), sum(map(Fraction, match[2].split()), Fraction(0)), tune)
    else:
        raise BadInput(f"the note {words!r} cannot be read. Give its pin, 41, or its bar and beat, 8:3 or 8:2.5.")
    found = next((pin for pin in pins if pin.id == wanted), None)
    if found is None:
        raise BadInput(f"there is no pin {wanted}. Give one of pins.csv, or bar and beat as 8:3.")
    return found


def _pin_at(bar: int, beat: Fraction, tune: Tune | None) -> int:
    from disc.turn.bars import counted_beat

    if tune is None:
        raise BadInput("there are no bars to count yet: name the note by its pin.")
    here = [
        note
        for note in tune.notes
        if note.pins
        and not note.grace
        and tune.bar_of(note.onset_quarter)[0] == bar
        and 1 + tune.bar_of(note.onset_quarter)[1] / counted_beat(tune.part_at(note.onset_quarter).metre) == beat
    ]
    if not here:
        raise BadInput(f"no note begins at bar {bar}, beat {beat}. Name the note by its pin.")
    return max(here, key=lambda note: (note.voice.value == "melody", note.pitch)).pins[0]


def parse_word(word: str) -> NoteWord:
    """What is said of a note. Raises BadInput."""
    try:
        return NoteWord(word)
    except ValueError:
        raise BadInput(f"{word!r} cannot be said of a note. Say one of: {WORDS}, or {FORGET}.") from None
