"""What a design knows of single notes and a reading of its pins alone would not find: ornaments, and whose note it is.

It is said as a person says it (`disc transcribe --note`), so that the planned disc's own score is that of its tune.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from disc.design.plan import Design
from disc.errors import BadInput
from disc.job.places_said import PlaceSaid
from disc.records import Voice
from disc.tune.read.read_turn import read_turn
from disc.tune.score.records import Rank
from disc.tune.settings import NoteWord
from disc.turn.settings import turn_settings

VOICE_OF = {NoteWord.MELODY: Voice.MELODY, NoteWord.ACCOMPANIMENT: Voice.ACCOMPANIMENT}


def known_notes(parts: Sequence[Design], known: Mapping[str, Any]) -> list[PlaceSaid]:
    """The words to keep in the job's settings. known: what else the design tells, as `disc transcribe` is told."""
    words = {
        pin: word
        for part in parts
        for i, pin in part.pin_of_note.items()
        if (word := _word(part, i)) is NoteWord.ORNAMENT or _has_melody(part)
    }
    small = tuple((pin, word) for pin, word in words.items() if word is NoteWord.ORNAMENT)
    voices = _voices_read(parts, known, small)
    said = dict(small) | {
        pin: word
        for pin, word in words.items()
        if word is not NoteWord.ORNAMENT and pin in voices and voices[pin] is not VOICE_OF[word]
    }
    pins = [pin for part in parts for pin in part.pins if pin.id in said]
    return [PlaceSaid(said[pin.id].value, pin.side, pin.r_mm, pin.theta_deg) for pin in pins]


def _has_melody(part: Design) -> bool:
    """Whether the part of the tune plays in these bars: in a prelude it rests, and its staff would stay empty."""
    return sum(note.rank is Rank.MELODY for note in part.score.notes) >= len(part.score.bars)


def _word(part: Design, number: int) -> NoteWord:
    rank = part.score.notes[number].rank
    if rank is Rank.ORNAMENT:
        return NoteWord.ORNAMENT
    return NoteWord.MELODY if rank is Rank.MELODY else NoteWord.ACCOMPANIMENT


def _voices_read(
    parts: Sequence[Design], known: Mapping[str, Any], small: tuple[tuple[int, NoteWord], ...]
) -> dict[int, Voice]:
    """The voice of each pin's note as the turn is read; none where it cannot be."""
    strikes = sorted((strike for part in parts for strike in part.strikes), key=lambda strike: strike.turn_deg)
    settings = replace(turn_settings(known).tune, notes=small)
    try:
        tune = read_turn(tuple(strikes), parts[0].plate, settings).tune
    except BadInput:  # a few notes are no tune; they stand as they are then
        return {}
    return {pin: note.voice for note in tune.notes for pin in note.pins}
