"""How sure the numbers of a plucked comb's teeth are, and of which teeth each is one where they are not.

A tooth that rings has its pluck's odds. One that does not is known by its neighbours alone: where their numbers may be
one off, so may its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from disc.listen.comb.plucks.find_plucks import Pluck

# From here on a number is said without doubt. On 112 drawn combs that were looked at, 1 of 2250 teeth is wrong and not
# said to be in doubt (a dead one of which another click was taken), and 4.6 in 100 right ones are doubted; of 24 drawn
# afterwards 2 of 504, in one comb that says that plucks are left over, and 4.8 in 100.
SURE = 0.8
STILL_SURE = (
    0.9  # beside a tooth in doubt; chosen: of two combs drawn later each had one wrong at the end of its doubtful row
)
OTHER_SHARE = 0.25  # of what its own number lacks, from which another one is named; chosen, not fitted

Numbering = tuple[float | None, tuple[int, ...]]  # (probability of its number; the teeth it is one of, if in doubt)


def numbering(found: Sequence[Pluck], count: int) -> dict[int, Numbering]:
    """Of each tooth 1 to count the probability that its number is right, and the numbers it may have, its own among
    them (alone, if what is heard may be no pluck); none where it is sure. The probability is None where nothing rings
    in the whole comb."""
    heard = {k: told for k in range(1, count + 1) if (told := _of_plucks(k, found)) is not None}
    heard = _without_sure(heard)
    return {k: heard.get(k) or _of_neighbours(k, heard, count) for k in range(1, count + 1)}


def _of_plucks(tooth: int, found: Sequence[Pluck]) -> Numbering | None:
    """By the least sure of a tooth's ringing plucks; None if none rings."""
    odds = [p.odds for p in found if p.tooth == tooth and p.candidate.tone is not None and p.odds]
    if not odds:
        return None
    row = min(odds, key=lambda row: row[tooth - 1])
    probability = row[tooth - 1]
    least = OTHER_SHARE * (1.0 - probability)
    others = {k for k, chance in enumerate(row, start=1) if k != tooth and chance > least}
    return probability, tuple(sorted({tooth, *others}))


def _without_sure(heard: dict[int, Numbering]) -> dict[int, Numbering]:
    """Only those in doubt keep what else they may be: those under SURE, and beside them those under STILL_SURE."""
    order = sorted(heard)
    doubted = {k for k in order if (heard[k][0] or 0.0) < SURE and heard[k][1]}
    for row in (order, order[::-1]):
        for before, k in pairwise(row):
            goes_on = before in doubted and len(heard[before][1]) > 1 and len(heard[k][1]) > 1
            if goes_on and (heard[k][0] or 0.0) < STILL_SURE:
                doubted.add(k)
    return {k: told if k in doubted else (told[0], ()) for k, told in heard.items()}


def _of_neighbours(tooth: int, heard: dict[int, Numbering], count: int) -> Numbering:
    beside = [max((k for k in heard if k < tooth), default=None), min((k for k in heard if k > tooth), default=None)]
    told = [(k, heard[k]) for k in beside if k is not None]
    if not told:
        return None, ()
    probability = min(chance for _, (chance, _) in told if chance is not None)
    shifts = {other - k for k, (_, some) in told for other in some}
    others = sorted({tooth} | {tooth + shift for shift in shifts if 1 <= tooth + shift <= count})
    return probability, tuple(others) if len(others) > 1 else ()
