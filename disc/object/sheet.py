"""The object's sheet as rows for a paper: label, words, and the unit of information they stand for."""

from __future__ import annotations

from disc.job import Job
from disc.locale.catalogue import Reader, mark
from disc.object.fields import BY_KEY
from disc.object.store import load_object

SOURCE = mark("Fields after the units of information of Spectrum 5.1, object entry and condition checking.")
LEFT_OUT = mark("Copy for publication: names, addresses and notes on ownership are left out.")


def sheet_rows(job: Job, t: Reader, for_publication: bool = False) -> list[tuple[str, str]]:
    """(label, words) of the fields filled in. for_publication: without those about persons."""
    rows = []
    for key, words in load_object(job).items():
        field = BY_KEY[key]
        if not (for_publication and field.private):
            rows.append((t(field.label), t.date(words) if field.is_date else words))
    return rows
