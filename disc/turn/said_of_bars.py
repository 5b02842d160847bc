"""What a person says of single bars ("a new tune from bar 17", "2/4 from bar 17") and notes, as a job stores it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from disc.errors import BadInput
from disc.frame import turn_for_onset_deg
from disc.job import Job
from disc.job.places_said import NOTES
from disc.records import Strike, Tune
from disc.tune.settings import LATER
from disc.turn.said_of_notes import FORGET, note_meant, parse_word, say_of_note
from disc.turn.turn_of_job import turn_of_pins

SILENT_BEATS = 1.5  # before an upbeat, against which a section's first bar line is no line; chosen by hand


def by_place(job: Job, given: dict[str, Any]) -> dict[str, Any]:
    """What was given, with what is said of one bar put as it is stored: a metre "2/4@17" beside the tune's own, and a
    section's bar as the turn at which it begins, which stays where the bars become others.
    """
    made = dict(given)
    metre, section = made.get("metre"), made.pop("section_at", None)
    if (note := made.pop("note", None)) is not None:
        made[NOTES] = notes_with(job, *note)
    if isinstance(metre, str) and "@" in metre:
        made["metre_at"] = made.pop("metre")
    elif metre == "auto":
        made["metre_at"] = "auto"
    if section is not None:  # what a design knew of its own sections holds for no others
        made[LATER] = FORGET
    if section == "none":
        made["section_deg"] = []
    elif section == "auto":
        made["section_deg"] = "auto"
    elif section is not None:
        made["section_deg"] = section_turns(job, str(section))
    return made


def notes_with(job: Job, note: str, word: str) -> list[str] | str:
    """The setting of single notes with this word said of a note ("41", or bar and beat as "8:3"); "auto": forget it."""
    if note == FORGET:
        return FORGET
    said = None if word == FORGET else parse_word(word)
    pins = job.pins()
    tune = turn_of_pins(job, pins, job.comb()).tune if ":" in note else None
    kept: list[str] = say_of_note(job.settings, note_meant(note, pins, tune), said).get(NOTES, [])
    return kept or FORGET


def section_turns(job: Job, bars: str) -> list[float]:
    """How far the disc has turned where these bars begin ("17", "17,33"), counted as the tune stands now.

    An upbeat that a silence parts from the bar before goes with the bar. Raises BadInput.
    """
    if not re.fullmatch(r"\s*\d{1,4}(\s*,\s*\d{1,4})*\s*", bars):
        raise BadInput(f"the sections {bars!r} cannot be read. Write the bars in which they begin: 17, or 17,33.")
    turn = turn_of_pins(job, job.pins(), job.comb())
    tune = turn.beat_tune
    if tune is None:
        raise BadInput(f"there are no bars to count yet: {turn.why}")
    last, _ = tune.bar_of(max(note.onset_quarter for note in tune.notes))
    found = []
    for bar in sorted({int(word) for word in bars.split(",")}):
        if not 2 <= bar <= last:
            raise BadInput(f"the tune has no bar {bar} for a section to begin in; its bars as played are 1 to {last}.")
        at_s = section_start_s(tune, turn.strikes, bar)
        found.append(round(float(turn_for_onset_deg(at_s, turn.plate.revolution_s)), 2))
    return found


def section_start_s(tune: Tune, strikes: Sequence[Strike], bar: int) -> float:
    """The moment before the first strike of a section that begins with this bar: just before its line, or before its
    upbeat, where the silence before that is the longest of the bar before and longer than a beat.
    """
    line_s, before_s = tune.onset_s(tune.line_of(bar)), tune.onset_s(tune.line_of(bar - 1))
    beat_s = (line_s - before_s) / max(1, tune.part_at(tune.line_of(bar - 1)).metre.beats)
    near = sorted(s.onset_s for s in strikes if before_s - beat_s / 2 <= s.onset_s)
    gaps = [(b - a, b) for a, b in pairwise(near) if b <= line_s + beat_s / 2]
    longest = max(gaps, default=(0.0, line_s))
    first_s = longest[1] if longest[0] > SILENT_BEATS * beat_s else line_s
    return first_s - min(beat_s / 4, longest[0] / 2 if first_s == longest[1] else beat_s / 4)
