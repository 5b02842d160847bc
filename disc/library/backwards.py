"""Which way the disc turns, by the library: a printed tune that lies on the disc only when it is played backwards.

Turned the other way a disc plays its strikes in exactly the reverse order. A tune of some length that is found so, and
hardly at all as the disc is said to turn, tells the direction better than any other sign.
"""

from __future__ import annotations

import numpy as np

from disc.doubts import doubts_to_json
from disc.job import Job
from disc.library.index.tune_index import Index
from disc.library.records import IntArray, Match
from disc.library.search.asked.query import Query, make_query
from disc.library.search.find_tunes import find_tunes
from disc.records import About, Doubt, Turns
from disc.results import DirectionResult

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
FOUND = 0.5  # from here on the tune is taken for found as the disc is said to turn, and nothing else is tried
CLEAR = 0.9  # from here on, backwards; the library's figure is calibrated to about 0.05


def reversed_query(query: Query) -> Query:
    """The same strikes in reverse order."""
    pitch = None if query.pitch is None else query.pitch[::-1]
    rank = None if query.rank is None else query.rank[::-1]
    return make_query(query.onset_s[-1] - query.onset_s[::-1], pitch, rank, "the disc backwards")


def keep_direction(job: Job, doubts: list[Doubt]) -> None:
    """Leave them with the job's search, for every command to say as long as the disc is said to turn the same way."""
    with job.step("identify direction"):
        job.content.keep(DirectionResult(turns=job.plate.turns, doubts=doubts_to_json(doubts)))


def direction_doubts(
    job: Job, index: Index, query: Query, matches: list[Match], allowed: IntArray | None
) -> list[Doubt]:
    """The other direction, where the tune is found in it alone; empty where it was found already or in neither."""
    if not query.timed or (matches and matches[0].probability >= FOUND):
        return []
    found = find_tunes(index, reversed_query(query), 1, allowed)
    if not found or found[0].probability < CLEAR or not np.isfinite(found[0].probability):
        return []
    way = Turns.COUNTERCLOCKWISE if job.plate.turns is Turns.CLOCKWISE else Turns.CLOCKWISE
    say = f"{found[0].title!r} lies on the disc if it turns {way.value}, and no tune does as it is said to turn."
    return [Doubt(About.DIRECTION, say, f"disc set {job.folder} --turns {way.value}", probability=found[0].probability)]
