"""What was said of single notes of a job, in the page's words: shown beside what was said of bars, and taken back.

Out also, by pin, how its note is read now, whoever said so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import Any

from disc.desk.open_job.bars_said import SaidOfBar
from disc.errors import BadInput
from disc.job.places_said import NOTES, notes_said
from disc.records import Pin, Tune, Voice
from disc.tune.settings import NoteWord
from disc.turn.said_of_notes import by_pin

NOTE_WORDS = {
    NoteWord.HELD: "held note (fermata)",
    NoteWord.NOT_HELD: "not a held note",
    NoteWord.ORNAMENT: "ornament",
    NoteWord.WRITTEN: "no ornament",
    NoteWord.MELODY: "melody",
    NoteWord.ACCOMPANIMENT: "accompaniment",
}


def said_of_notes(settings: Mapping[str, Any], pins: Sequence[Pin], tune: Tune | None) -> tuple[SaidOfBar, ...]:
    """All that was said of single notes, in its order. bar None: no pin plays it now. What cannot be read is left out:
    the reading of the tune says so.
    """
    shown = []
    with suppress(BadInput, ValueError):
        for said, pin in by_pin(notes_said(settings), pins).items():
            words = NOTE_WORDS[NoteWord(said.word)]
            told = "a note whose pin is gone" if pin is None else f"pin {pin}"
            shown.append(SaidOfBar(_bar_of(tune, pin), f"{told}: {words}", NOTES, said.text))
    return tuple(shown)


def _bar_of(tune: Tune | None, pin: int | None) -> int | None:
    if tune is None or pin is None:
        return None
    return next((tune.bar_of(note.onset_quarter)[0] for note in tune.notes if pin in note.pins), None)


def notes_as_read(tune: Tune | None) -> dict[int, tuple[NoteWord, ...]]:
    """By pin, what its note is in the tune as read: of held, ornament and melody those that hold."""
    if tune is None:
        return {}
    read: dict[int, tuple[NoteWord, ...]] = {}
    for note in tune.notes:
        words = [NoteWord.MELODY] if note.voice is Voice.MELODY else []
        if note.grace:
            words.append(NoteWord.ORNAMENT)
        elif note.onset_quarter in tune.held:
            words.append(NoteWord.HELD)
        read |= dict.fromkeys(note.pins, tuple(words))
    return read
