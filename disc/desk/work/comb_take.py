"""The comb from a table or as a draft from the pins, as on the command line, entered in the history to be undone.

The rooms store the comb in their own step; here that step is noted down in the desk's history as what it changed.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from disc.desk.open_job.changes import comb_change
from disc.desk.open_job.history import ValueChange
from disc.desk.open_job.session import Session
from disc.errors import BadInput
from disc.job import COMB_FILE, Job, open_for_writing


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


def _taken(session: Session, words: str, take: Callable[[Job], object]) -> int:
    """Run a room's step and note down what it did to the comb; returns the number of teeth, 0 without a table."""
    with open_for_writing(session.folder) as job:
        before = comb_change(job, None, False)
        take(job)
        has_comb = job.has(COMB_FILE)
        after = comb_change(job, None, False)
        teeth = len(job.comb().teeth) if has_comb else 0
    changes = tuple(ValueChange(b.where, b.name, b.old, a.old) for b, a in zip(before, after, strict=True))
    if any(change.old != change.new for change in changes):
        session.load()  # the room's step is the state that this one starts from
        session.set_values(words, changes)
    return teeth
