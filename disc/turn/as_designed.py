"""The score of a planned disc: that of its tune, as long as its pins are those that were planned.

A reading of the pins alone finds the same notes, but not always the plan's values: a triplet of 32nds is struck within
fifty milliseconds. Where pins, comb or settings were changed the turn is read, as any other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from disc.errors import BadInput
from disc.job import Job
from disc.records import Note, Strike, Tune, Voice
from disc.tune.read.sections.strains import find_repeats
from disc.tune.store import load_tune
from disc.tune.write.written import with_lengths_of_parts

# Finest parts of a quarter that are written, 64ths and 32nds of triplets; what is finer, a trill in an odd number of
# notes, is better read. Chosen.
WRITTEN = (16, 12)
WITHIN_S = 0.002  # of a strike from its note's place: the table of pins keeps angles to less than that; chosen


def tune_as_designed(job: Job, strikes: Sequence[Strike], given: Mapping[str, Any], title: str) -> Tune | None:
    """The tune of a planned disc, written as a reading is; None where the turn has to be read.

    given: settings asked for now; any but a title asks for a reading. A plan that has stored no upbeat, and whose tune
    does not say where lines were moved, is of bars that do not keep to the metre: where they lie is read too.
    """
    asked = any(value is not None for name, value in given.items() if name != "title")
    if "design" not in job.settings or asked:
        return None
    try:
        tune = load_tune(job)
    except BadInput:  # damaged: it is made anew
        return None
    if tune is None or not ("upbeat" in job.settings or tune.sections):
        return None
    if not _has_melody(tune) or not _is_written_plainly(tune):
        return None
    notes = _struck(tune, strikes)
    if notes is None:
        return None
    written = with_lengths_of_parts(replace(tune, notes=notes, title=title or tune.title))
    return replace(written, repeats=find_repeats(written))


def _has_melody(tune: Tune) -> bool:
    """Whether the tune's part plays: in a prelude it rests, and its staff would stay empty."""
    melody = [note for note in tune.notes if note.voice is Voice.MELODY and not note.grace]
    last = max((note.onset_quarter for note in tune.notes), default=0)
    return len(melody) * tune.metre.bar_quarter >= last


def _is_written_plainly(tune: Tune) -> bool:
    onsets = {note.onset_quarter.denominator for note in tune.notes if not note.grace}
    return all(any(finest % part == 0 for finest in WRITTEN) for part in onsets)


def _struck(tune: Tune, strikes: Sequence[Strike]) -> tuple[Note, ...] | None:
    """The notes with what is known of their strikes; None where they are not each other's. Where one pin plays a note
    of the melody and one of another part, it is the melody's.
    """
    struck = {strike.pin_id: strike for strike in strikes}
    of_pin: dict[tuple[int, ...], Note] = {}
    for note in tune.notes:
        if note.pins not in of_pin or note.voice is Voice.MELODY:
            of_pin[note.pins] = note
    made = []
    for note in (note for note in tune.notes if of_pin[note.pins] is note):
        strike = struck.pop(note.pins[0], None) if len(note.pins) == 1 else None
        if strike is None or strike.pitch is None or round(strike.pitch) != note.pitch:
            return None
        at_s = tune.onset_s(note.onset_quarter) if note.onset_s is None else note.onset_s
        if abs(at_s - strike.onset_s) > WITHIN_S:
            return None
        told = replace(note, doubtful=strike.doubtful, silent=strike.silent, swing=strike.swing)
        made.append(replace(told, onset_s=strike.onset_s, tooth=strike.tooth))
    return None if struck else tuple(made)
