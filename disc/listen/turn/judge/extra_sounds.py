"""What sounded without a pin to explain it, weighed against what leaks, trembles or whirrs.

An extra sound is about as loud and goes on as steadily as its tooth usually does, stands over what leaks from other
strikes, begins with an attack of its own, and comes again at the next turn (`beginning_signs.py`). What comes shortly
after a strike of the same pitch is its tremble; what begins together with a likelier extra sound may be its partial.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from disc.listen.fitted import fitted
from disc.listen.sound.audio import FloatArray
from disc.listen.turn.hear.heard_strikes import REACH_S, HeardStrike
from disc.listen.turn.hear.levels import StrikeLevels, usual_steadiness
from disc.listen.turn.hear.single_sounds import Beginning, explain
from disc.listen.turn.hear.strike_attacks import Attacks
from disc.listen.turn.judge.beginning_signs import (
    LOUDER_S,
    Begun,
    beginning_signs,
    signs_of_others,
    struck_of,
)

LEAST_SHARE = 0.1  # of the usual strength; fewer are not weighed. Chosen by hand
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# What is at least so likely is weighed again with its own tone's step (single_extra.py); a strike not heard where it
# was to be takes only what is likelier.
CANDIDATE_ODDS, LIKELY_ODDS = -5.5, -1.8
FAR_S = 0.3  # 0.2 mm of lean at 5 mm from the arbor, in a turn of 50 s
# A beginning is a habit of another tooth if more than so many of its strikes have one so much later.
HABIT_S, HABIT_WITHIN_S, HABIT_SHARE, MOST = 0.15, 0.02, 0.5, 0.6


def find_extra(
    beginnings: Sequence[Beginning], used: set[int], heard: Sequence[HeardStrike], levels: StrikeLevels,
    attacks: Attacks, shares: FloatArray,
) -> list[tuple[Beginning, float]]:  # fmt: skip
    """Beginnings that are strikes of their own, with their log-odds. used: indices of those expected strikes took.
    shares: of a strike in other pitches, as shares_of gives them."""
    odds = _odds(beginnings, used, heard, levels, attacks, CANDIDATE_ODDS)
    free = np.array([k for k in range(len(beginnings)) if k not in used], dtype=int)
    alone = _Begun(
        free, np.array([beginnings[k].time_s for k in free]), np.array([beginnings[k].group for k in free]),
        np.array([beginnings[k].strength for k in free]),
    )  # fmt: skip
    odds = {j: o for j, o in odds.items() if not _is_anothers_habit(j, beginnings[j], alone, heard)}
    struck = struck_of(heard)
    steady, _ = usual_steadiness(struck, len(levels.usual))
    found: list[tuple[Beginning, float]] = []
    for j in sorted(odds, key=lambda j: -odds[j]):
        b = beginnings[j]
        if any(o.group == b.group and abs(o.time_s - b.time_s) < LOUDER_S for o, _ in found):
            continue
        again = explain([b], shares, [*struck, *(o for o, likely in found if likely > LIKELY_ODDS)])[0]
        now, before = _by_others([again, b], levels, steady)
        left = odds[j] + float(now - before)
        if left > CANDIDATE_ODDS:
            found.append((b, left))
    return sorted(found, key=lambda item: item[0].time_s)


def parted(
    heard: list[HeardStrike], used: set[int], beginnings: Sequence[Beginning], levels: StrikeLevels, attacks: Attacks
) -> tuple[list[HeardStrike], set[int]]:
    """Strikes that share one beginning though each could have one of its own: an early or late one takes the other."""
    heard, used = list(heard), set(used)
    for j in sorted(_odds(beginnings, used, heard, levels, attacks, LIKELY_ODDS)):
        b = beginnings[j]
        near = [k for k, h in enumerate(heard) if h.expected.group == b.group and abs(h.path_s - b.time_s) < REACH_S]
        users = {k: sum(heard[k].beginning is heard[i].beginning for i in near) for k in near if heard[k].beginning}
        sharing = [k for k, count in users.items() if count > 1]
        if sharing:
            # In order of time: what comes before the shared beginning is the first of them, what comes after the last.
            first = b.time_s < min(h.time_s for k in sharing if (h := heard[k].beginning) is not None)
            k = (min if first else max)(sharing, key=lambda k: heard[k].path_s)
            heard[k] = replace(heard[k], beginning=b)
            used.add(j)
    return heard, used


def displaced(
    heard: Sequence[HeardStrike], extra: Sequence[tuple[Beginning, float]]
) -> tuple[list[HeardStrike], list[tuple[Beginning, float]]]:
    """A strike not heard where it was to be, and an extra sound of its pitch soon before or after: a pin that leans
    more, or less, than the pins say. The one is taken for the other."""
    heard, left = list(heard), []
    for b, odds in extra:
        free = [
            k for k, h in enumerate(heard)
            if odds > LIKELY_ODDS and h.beginning is None
            and h.expected.group == b.group and abs(h.path_s - b.time_s) < FAR_S
        ]  # fmt: skip
        if free:
            k = min(free, key=lambda k: abs(heard[k].path_s - b.time_s))
            heard[k] = replace(heard[k], beginning=b, odds=odds)
        else:
            left.append((b, odds))
    return heard, left


@dataclass(frozen=True)
class _Begun:
    """The beginnings that no expected strike took, as arrays of shape (n,)."""

    index: npt.NDArray[np.int_]
    times_s: FloatArray
    groups: npt.NDArray[np.int_]
    strengths: FloatArray


def _is_anothers_habit(j: int, b: Beginning, free: _Begun, heard: Sequence[HeardStrike]) -> bool:
    """Whether a beginning, the j-th, follows a strike of a lower tooth as one does most strikes of that tooth: a
    partial that speaks late, or a tooth that answers."""
    same = (free.groups == b.group) & (free.strengths > HABIT_SHARE * b.strength) & (free.index != j)
    alike = free.times_s[same]
    for h in heard:
        if h.beginning is None or h.expected.group >= b.group or not 0.0 <= b.time_s - h.beginning.time_s < HABIT_S:
            continue
        lag = b.time_s - h.beginning.time_s
        others = [
            o.beginning.time_s + lag for o in heard
            if o.expected.tooth == h.expected.tooth and o.expected.index != h.expected.index and o.beginning is not None
        ]  # fmt: skip
        follows = [len(alike) > 0 and bool(np.abs(alike - t).min() < HABIT_WITHIN_S) for t in others]
        if follows and np.mean(follows) > MOST:
            return True
    return False


def _odds(
    beginnings: Sequence[Beginning], used: set[int], heard: Sequence[HeardStrike], levels: StrikeLevels,
    attacks: Attacks, least: float,
) -> dict[int, float]:  # fmt: skip
    """Log-odds, over least, of the likely ones among the beginnings no expected strike took, by index."""
    rest = [j for j, b in enumerate(beginnings) if j not in used and b.strength > LEAST_SHARE * levels.usual[b.group]]
    signs = beginning_signs([beginnings[j] for j in rest], beginnings, heard, levels, attacks)
    odds = fitted("beginning").log_odds(signs)
    return {j: float(o) for j, o in zip(rest, odds, strict=True) if o > least}


def _by_others(some: Sequence[Beginning], levels: StrikeLevels, steady: FloatArray) -> FloatArray:
    """What others' explaining says of each, in nats, shape (n,). steady: usual of each pitch."""
    weights = fitted("beginning").weights
    signs = signs_of_others(Begun.of(some), levels, steady)
    return np.asarray(sum((weights[name] * sign for name, sign in signs.items()), start=np.zeros(len(some))))
