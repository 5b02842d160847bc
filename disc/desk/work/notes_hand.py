"""What a person says of single notes at the desk: held, an ornament, the melody, or no longer.

One step that can be undone, in the setting that the command line writes (turn/said_of_notes.py). What the tune cannot
bear is refused before anything is written.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from disc.desk.open_job.changes import setting_change
from disc.desk.open_job.notes_said import NOTE_WORDS
from disc.desk.open_job.session import Session
from disc.errors import BadInput, MissingPart
from disc.job import Job
from disc.job.places_said import NOTES, notes_said
from disc.records import Pin
from disc.tune.settings import OPPOSITE, NoteWord
from disc.turn.said_of_notes import parse_word, say_of_note, take_back, with_notes
from disc.turn.settings import merge_settings, turn_settings
from disc.turn.turn_of_job import turn_of_pins

OF_BUTTONS = (NoteWord.HELD, NoteWord.ORNAMENT, NoteWord.MELODY)


def say_of_notes(session: Session, asked: Mapping[str, Any]) -> dict[str, Any]:
    """Body: {"pins": [41], "word": held | ornament | melody, "is": true | false}, or {"forget": the text as stored}.

    "is": false takes back what was said before, or says the opposite of what the reader found. Runs in the writing
    thread. Raises BadInput for what cannot be.
    """
    job = session.job
    if job is None or session.comb is None:
        raise MissingPart("There are no notes yet: the tune has not been read.")
    if "design" in job.settings:
        raise BadInput("this disc's tune is the one that it was designed for; its notes are not read.")
    words, merged = _forgotten(job, asked["forget"]) if "forget" in asked else _said(session, job, asked)
    turn = turn_of_pins(job, session.pins, session.comb, turn_settings(merged))
    if turn.reading is None:
        raise BadInput(turn.why)
    return session.set_values(words, (setting_change(job, NOTES, merged.get(NOTES)),))


def _said(session: Session, job: Job, asked: Mapping[str, Any]) -> tuple[str, dict[str, Any]]:
    """What is said anew, in words, and the settings with it."""
    word, pins = parse_word(str(asked.get("word"))), _pins(session, asked.get("pins"))
    word = word if word in OF_BUTTONS else OPPOSITE[word]
    wanted, other = (word, OPPOSITE[word]) if asked.get("is", True) is True else (OPPOSITE[word], word)
    stored = merge_settings(job.settings, {})
    denied = [pin for pin in pins if any(one.word == other.value and one.is_at(pin) for one in notes_said(stored))]
    for pin in pins:
        stored = take_back(stored, pin, other) if pin in denied else say_of_note(stored, pin, wanted)
    told = f"no longer {NOTE_WORDS[other]}" if len(denied) == len(pins) else NOTE_WORDS[wanted]
    return f"{f'pin {pins[0].id}' if len(pins) == 1 else f'{len(pins)} pins'}: {told}", stored


def _pins(session: Session, asked: Any) -> list[Pin]:
    numbers = asked if isinstance(asked, list) else []
    by_id = {pin.id: pin for pin in session.pins}
    if not numbers or not all(isinstance(number, int) and number in by_id for number in numbers):
        raise BadInput("say of which pins: their numbers, as the list has them.")
    return [by_id[number] for number in dict.fromkeys(numbers)]


def _forgotten(job: Job, text: Any) -> tuple[str, dict[str, Any]]:
    """The settings without one thing that was said; what it was, in words."""
    stored = merge_settings(job.settings, {})
    said = notes_said(stored)
    found = next((one for one in said if one.text == text), None)
    if found is None:
        raise BadInput("that is no longer said of a note.")
    return f"no longer {NOTE_WORDS[parse_word(found.word)]}", with_notes(
        stored, [one for one in said if one is not found]
    )
