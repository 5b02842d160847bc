"""The comb by the same three ways as on the command line, each entered in the history so that it can be undone.

A table, a recording in which every tooth is plucked, or a draft from the pins. The rooms store the comb in their own
step; here that step is noted down in the desk's history as what it changed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from disc.desk.work.changes import comb_change
from disc.desk.work.history import Change
from disc.desk.work.session import Session
from disc.errors import BadInput
from disc.job import COMB_FILE, Job, open_for_writing
from disc.words import Advance

MOST_TEETH_TOLD = 3  # doubtful teeth named after a plucked recording; the table shows all


def draft(session: Session) -> str:
    """A draft comb from the tracks of the pins. Returns what to say."""
    from disc.comb.comb_job import draft_from_pins

    teeth = _taken(session, "made a draft comb", draft_from_pins)
    return f"A draft comb of {teeth} teeth, from the tracks of the pins; its pitches are not known."


def from_table(session: Session, table: Path) -> str:
    """A table brought to the page. Raises BadInput if it cannot be read, naming the line."""
    from disc.comb.comb_job import take_table

    try:
        teeth = _taken(session, "took the comb from a table", lambda job: take_table(job, table))
    except BadInput as error:
        raise BadInput(str(error).replace(str(table), table.name)) from None
    return f"{table.name}: a comb of {teeth} teeth."


def from_recording(session: Session, recording: Path, body: Mapping[str, Any], advance: Advance) -> str:
    """Pitches and conditions from a recording of all teeth, plucked in turn. body: {"plucks": how often each}."""
    from disc.listen.comb.plucked_job import comb_from_plucked

    heard: list[Any] = []

    def take(job: Job) -> None:
        heard.append(comb_from_plucked(job, recording, None, _plucks(body.get("plucks", 2)), advance))

    try:
        _taken(session, "took the pitches from a recording", take)
    except BadInput as error:
        raise BadInput(str(error).replace(str(recording), recording.name)) from None
    return _told(recording.name, heard[0])


def _taken(session: Session, words: str, take: Callable[[Job], object]) -> int:
    """Run a room's step and note down what it did to the comb; returns the number of teeth, 0 without a table."""
    with open_for_writing(session.folder) as job:
        before = comb_change(job, None, False)
        take(job)
        has_comb = job.has(COMB_FILE)
        after = comb_change(job, None, False)
        teeth = len(job.comb().teeth) if has_comb else 0
    changes = tuple(Change(b.where, b.name, b.old, a.old) for b, a in zip(before, after, strict=True))
    if any(change.old != change.new for change in changes):
        session.load()  # the room's step is the state that this one starts from
        session.set_values(words, changes)
    return teeth


def _told(name: str, heard: Any) -> str:
    comb = heard.comb
    words = f"{name}: {len(comb.teeth)} teeth are heard."
    if not heard.in_table:
        words += " The comb's table was left as it is; the pitches are kept and used for listening."
    doubtful = [tooth for tooth in comb.teeth if tooth.words]
    words += "".join(f" Tooth {tooth.tooth}: {tooth.words}." for tooth in doubtful[:MOST_TEETH_TOLD])
    if len(doubtful) > MOST_TEETH_TOLD:
        words += f" {len(doubtful) - MOST_TEETH_TOLD} more want a look: see plucked.svg under Save."
    return " ".join([words, *(f"{remark}." for remark in comb.remarks)])


def _plucks(value: Any) -> int:
    try:
        return int(value)
    except (TypeError, ValueError):
        raise BadInput(f"the number of plucks {value!r} is not a whole number.") from None
