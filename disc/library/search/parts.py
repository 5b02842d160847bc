"""Two tunes on one disc: the turn is parted where one answer explains its part and another one the rest.

The best match's strikes tell which stretch of the turn it explains. What lies before and after, where it is long
enough, is asked by itself; a part counts only where its answer is likely by itself and is no version of the first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.library.index.tune_index import Index
from disc.library.records import IntArray, Match
from disc.library.search.asked.query import Query
from disc.library.search.find_tunes import find_tunes

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
LEAST_STRIKES = 16  # of a part by itself; shorter ones are upbeats, codas and damage
LEAST_PROBABILITY = 0.5  # of a part's answer, by itself
EDGE = 0.03  # of the explained strikes at either end, which may be chance


@dataclass(frozen=True, slots=True)
class TunePart:
    """One tune of a disc with several. from_turn, to_turn: shares of the time from the first strike to the last."""

    from_turn: float
    to_turn: float
    matches: tuple[Match, ...]


def parts_of(
    index: Index, query: Query, matches: list[Match], top: int = 10, allowed: np.ndarray | None = None
) -> list[TunePart]:
    """The parts of a disc that plays several tunes, in order of time; empty where one tune, or none, explains it."""
    if not matches or matches[0].alignment is None or not query.timed or query.contour:
        return []
    explained = np.sort([pairing.strike for pairing in matches[0].alignment.agree])
    if explained.size < LEAST_STRIKES // 2:
        return []
    cut = int(EDGE * explained.size)
    first, last = int(explained[cut]), int(explained[explained.size - 1 - cut])
    found = []
    for strikes in (np.arange(0, first), np.arange(last + 1, query.onset_s.size)):
        answer = _asked_alone(index, query, strikes, matches[0], top, allowed)
        if answer:
            found.append(_part(query, int(strikes[0]), int(strikes[-1]), answer))
    if not found:
        return []
    alone = _asked(index, query.part(np.arange(first, last + 1)), top, allowed) or matches
    return sorted([_part(query, first, last, alone), *found], key=lambda part: part.from_turn)


def _asked_alone(
    index: Index, query: Query, strikes: IntArray, best: Match, top: int, allowed: np.ndarray | None
) -> list[Match]:
    """What a stretch is by itself; nothing where it is too short, unlikely, or more of the same tune."""
    if strikes.size < LEAST_STRIKES:
        return []
    answer = _asked(index, query.part(strikes), top, allowed)
    own = answer and answer[0].probability >= LEAST_PROBABILITY and answer[0].group != best.group
    return answer if own and answer[0].key != best.key else []


def _asked(index: Index, query: Query, top: int, allowed: np.ndarray | None) -> list[Match]:
    if query.onset_s.size < LEAST_STRIKES or float(np.ptp(query.onset_s)) < 1.0:
        return []
    return find_tunes(index, query, top, allowed)


def _part(query: Query, first: int, last: int, matches: list[Match]) -> TunePart:
    span = max(float(query.onset_s[-1] - query.onset_s[0]), 1e-9)
    begin, end = (float((query.onset_s[i] - query.onset_s[0]) / span) for i in (first, last))
    return TunePart(round(begin, 4), round(end, 4), tuple(matches))
