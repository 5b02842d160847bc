"""The plucks of a comb plucked in turn, each with its tooth's place in the order of plucking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.listen.comb.plucks.best_path import best_path, ways_through
from disc.listen.comb.plucks.judge_starts import judge
from disc.listen.comb.plucks.numbering_odds import number_odds
from disc.listen.comb.plucks.pace import pace_of
from disc.listen.comb.plucks.pluck_start import PluckStart
from disc.listen.comb.plucks.renewed import is_fresh, renewed
from disc.listen.comb.plucks.rings_after_all import with_those_that_ring
from disc.listen.sound.appearing import tones_that_appear, with_quiet
from disc.listen.sound.attacks import find_attacks
from disc.listen.sound.audio import Recording
from disc.listen.sound.beginnings import for_fundamentals, new_tones
from disc.listen.sound.steady_tones import without_steady

# A fundamental may be the tenth strongest peak, under hum and a sounding board's thump; chosen by hand, not fitted.
PEAKS = 12


@dataclass(frozen=True)
class Pluck:
    """One pluck of tooth (1, 2, ... in order of plucking). odds: probability that it is one of tooth 1, 2, ...; what
    they lack to one, that it is no pluck."""

    tooth: int
    turn: int
    candidate: PluckStart
    odds: tuple[float, ...] = ()


def find_plucks(recording: Recording, teeth: int | None, plucks: int) -> list[Pluck]:
    """The plucks in time order, each with the tooth's place in the order of plucking. teeth: how many, if known."""
    return plucks_and_rest(recording, teeth, plucks)[0]


def plucks_and_rest(recording: Recording, teeth: int | None, plucks: int) -> tuple[list[Pluck], list[PluckStart]]:
    """The plucks as find_plucks gives them, and what begins that is none."""
    attacks = find_attacks(recording)
    low = for_fundamentals(recording)
    attacks = with_quiet(attacks, tones_that_appear(low))
    heard = without_steady(low, [new_tones(low, attack.time_s, PEAKS) for attack in attacks])
    candidates = judge(attacks, heard)
    # A tooth plucked again while it rings may set off no rise of the level: look for the tones already known.
    quiet = renewed(recording, candidates)
    if quiet:
        again = list(zip(quiet, without_steady(low, [new_tones(low, a.time_s, PEAKS) for a in quiet]), strict=True))
        both = [*zip(attacks, heard, strict=True), *((a, tones) for a, tones in again if is_fresh(tones))]
        both.sort(key=lambda pair: pair[0].time_s)
        candidates = judge([a for a, _ in both], [tones for _, tones in both])
    if not any(c.tone for c in candidates):
        return [], candidates
    one_by_one, pace = pace_of(candidates, plucks)
    if one_by_one:
        ways = ways_through(candidates, teeth, plucks, pace)
        path = best_path(ways)
        odds = number_odds(ways, [i for i, _, _ in path])
        found = [Pluck(k, j, candidates[i], tuple(row)) for (i, k, j), row in zip(path, odds, strict=True)]
        return _with_those_that_ring(found), _rest(candidates, path)
    # The whole comb was plucked, then once more: every pluck is a place of its own, folded by the number of teeth.
    ways = ways_through(candidates, teeth * plucks if teeth else None, 1, pace)
    path = best_path(ways)
    count = teeth or int(np.ceil(max(k for _, k, _ in path) / plucks))
    odds = number_odds(ways, [i for i, _, _ in path])
    folded = [[float(row[k::count].sum()) for k in range(count)] for row in odds]
    found = [
        Pluck((k - 1) % count + 1, (k - 1) // count + 1, candidates[i], tuple(row))
        for (i, k, _), row in zip(path, folded, strict=True)
    ]
    return _with_those_that_ring(found), _rest(candidates, path)


def _with_those_that_ring(found: list[Pluck]) -> list[Pluck]:
    """The same plucks, those of a tooth that rings though no tone of it was taken with their tone."""
    numbers = sorted({p.tooth for p in found})
    rows = with_those_that_ring([[p.candidate for p in found if p.tooth == number] for number in numbers])
    left = {number: iter(row) for number, row in zip(numbers, rows, strict=True)}
    return [replace(p, candidate=next(left[p.tooth])) for p in found]


def _rest(candidates: Sequence[PluckStart], path: Sequence[tuple[int, int, int]]) -> list[PluckStart]:
    taken = {i for i, _, _ in path}
    return [c for i, c in enumerate(candidates) if i not in taken]
