"""What sounded without a pin to explain it, weighed against what leaks, trembles or whirrs.

An extra sound is about as loud and goes on as steadily as its tooth usually does, stands over what leaks from other
strikes, begins with an attack of its own, and comes again at the next turn. What comes shortly after a strike of the
same pitch is its tremble; what begins together with a likelier extra sound may be its partial.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.hear.heard_strikes import REACH_S, HeardStrike
from disc.listen.turn.hear.levels import StrikeLevels, usual_steadiness
from disc.listen.turn.hear.single_sounds import Beginning, explain
from disc.listen.turn.hear.strike_attacks import Attacks

# Logistic regression of "an extra strike" on what a beginning is like, with a ridge of 0.3, on 94,163 beginnings of
# 84 turns (twelve instruments each of seven draws), 309 of them extra strikes. Judged by fits that leave out whole
# instruments, 82 in a hundred are found at a precision of 0.8, before tones that are none are left out. The script
# of this fit was not kept; what it lets through is weighed again by fitted.json's "extra", whose script is.
LEAST_SHARE = 0.1  # of the usual strength; fewer are not weighed
BY_OVER, OVER_RANGE = 1.0, (0.0, 5.0)  # logarithm of the strength against what stands there without a strike; fitted
BY_EXPLAINED, EXPLAINED_RANGE = -0.86, (-4.0, 0.5)  # logarithm of the share of it that other strikes explain; fitted
BY_WEAKER, MOST_WEAKER = -1.96, 2.3  # than the tooth's usual, logarithm; fitted
# Than the tooth's usual by more than STRONGER, logarithm; fitted.
BY_STRONGER, STRONGER, MOST_STRONGER = -1.81, 0.35, 2.0
# Less steady than the tooth's own strikes: by how much, at most so much, and more than so much. Fitted.
BY_LESS_STEADY, MOST_LESS_STEADY, FAR_LESS_STEADY, BY_FAR_LESS_STEADY = -1.01, 0.4, 0.15, -1.95
UNSTEADY, BY_UNSTEADY = 0.4, -0.92  # under this steadiness at all; its weight is fitted
# As loud and as steady as the tooth's own strikes, within these spreads, and not explained by others. Fitted.
BY_LIKENESS, LIKE_STRENGTH, LIKE_STEADINESS, UNEXPLAINED = 3.07, 0.35, 0.06, 0.3
# Begins with an attack of its own, or with one that another strike has too; fitted.
BY_ATTACK, BY_SHARED_ATTACK = 0.45, -2.23
# With a louder one of its pitch, or soon after one (LOUDER_S, AFTER_S below); fitted.
BY_LOUDER, BY_AFTER = -0.54, -2.34
BY_NOT_AGAIN = -1.93  # the next turn, or the one before, has another there; fitted
OFFSET = -6.9  # of the regression; fitted
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# What is at least so likely is weighed again with its own tone's step (single_extra.py); a strike not heard where it
# was to be takes only what is likelier.
CANDIDATE_ODDS, LIKELY_ODDS = -5.5, -1.8
SHARED_S = 0.05  # an attack so near is another strike's
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Seconds, and factor of strength: so near a so much louder one of its pitch is no strike of its own.
LOUDER_S, LOUDER = 0.1, 1.15
AFTER_S = 0.3  # so soon after a strike of its pitch it may be that one's tremble
# At the next turn, or the one before, the same sound comes within so much; what differs in strength by more than
# NOT_AGAIN (natural logarithm) is another.
AGAIN_S, NOT_AGAIN = 0.03, 1.0
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
    struck = _struck(heard)
    steady, _ = usual_steadiness(struck, len(levels.usual))
    found: list[tuple[Beginning, float]] = []
    for j in sorted(odds, key=lambda j: -odds[j]):
        b = beginnings[j]
        if any(o.group == b.group and abs(o.time_s - b.time_s) < LOUDER_S for o, _ in found):
            continue
        again = explain([b], shares, [*struck, *(o for o, likely in found if likely > LIKELY_ODDS)])[0]
        usual = float(steady[b.group])
        left = odds[j] + _by_others(again, levels, usual) - _by_others(b, levels, usual)
        if left > CANDIDATE_ODDS:
            found.append((b, left))
    return sorted(found, key=lambda item: item[0].time_s)


def _struck(heard: Sequence[HeardStrike]) -> list[Beginning]:
    """What expected strikes took, each once."""
    return list({id(h.beginning): h.beginning for h in heard if h.beginning is not None}.values())


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
    taken = _struck(heard)
    times = np.array([b.time_s for b in taken])
    groups = np.array([b.group for b in taken])
    strengths = np.array([b.strength for b in taken])
    steady, _ = usual_steadiness(taken, len(levels.usual))
    rates = attacks.rates(np.array([h.path_s for h in heard]), np.array([h.odds for h in heard]))
    cue = attacks.says(np.array([b.time_s for b in beginnings]), rates)
    rest = [j for j, b in enumerate(beginnings) if j not in used and b.strength > LEAST_SHARE * levels.usual[b.group]]
    again = _again([beginnings[j] for j in rest], beginnings, heard)
    found = {}
    for j, comes in zip(rest, again, strict=True):
        b = beginnings[j]
        apart = b.time_s - times
        same = groups == b.group
        usual = float(steady[b.group])
        odds = _by_itself(b, levels, usual) + _by_others(b, levels, usual) + comes
        odds += BY_SHARED_ATTACK if np.any(np.abs(apart) < SHARED_S) else BY_ATTACK * float(cue[j])
        if np.any(same & (np.abs(apart) < LOUDER_S) & (strengths > LOUDER * b.strength)):
            odds += BY_LOUDER
        if np.any(same & (apart >= 0.0) & (apart < AFTER_S)):
            odds += BY_AFTER
        if odds > least:
            found[j] = odds
    return found


def _by_itself(b: Beginning, levels: StrikeLevels, usual_steady: float) -> float:
    """Log-odds from a beginning's strength and steadiness, but for what others explain of it."""
    strength = max(b.strength, 1e-12)
    louder = math.log(strength / levels.usual[b.group])
    over = math.log(strength / levels.ambient[b.group])
    less_steady = usual_steady - b.steady
    odds = OFFSET + BY_OVER * _within(over, *OVER_RANGE)
    odds += BY_WEAKER * _within(-louder, 0.0, MOST_WEAKER)
    odds += BY_STRONGER * _within(louder - STRONGER, 0.0, MOST_STRONGER)
    odds += BY_LESS_STEADY * _within(less_steady, 0.0, MOST_LESS_STEADY)
    odds += BY_FAR_LESS_STEADY if less_steady > FAR_LESS_STEADY else 0.0
    return odds + (BY_UNSTEADY if b.steady < UNSTEADY else 0.0)


def _by_others(b: Beginning, levels: StrikeLevels, usual_steady: float) -> float:
    """Log-odds from what others explain of it: something that nothing explains, and that is like the tooth's own
    strikes, is one."""
    share = max(b.explained, 1e-9) / max(b.strength, 1e-12)
    odds = BY_EXPLAINED * _within(math.log(share), *EXPLAINED_RANGE)
    if share >= UNEXPLAINED:
        return odds
    louder = math.log(max(b.strength, 1e-12) / levels.usual[b.group]) / LIKE_STRENGTH
    steadier = (b.steady - usual_steady) / LIKE_STEADINESS
    return odds + BY_LIKENESS * math.exp(-0.5 * (louder**2 + steadier**2))


def _within(value: float, low: float, high: float) -> float:
    """The value, held to the range; plain numbers, since arrays are slow one place at a time."""
    return min(max(value, low), high)


def _again(some: Sequence[Beginning], beginnings: Sequence[Beginning], heard: Sequence[HeardStrike]) -> FloatArray:
    """What it says of each of some that the same sound does not come at the next turn or the one before, where the
    recording holds that; shape (n,)."""
    path = sorted({(h.expected.turn, h.path_s) for h in heard})
    turns, places = np.array([u for u, _ in path]), np.array([t for _, t in path])
    times = np.array([b.time_s for b in beginnings])
    groups = np.array([b.group for b in beginnings])
    strengths = np.array([b.strength for b in beginnings])
    says = np.zeros(len(some))
    for k, b in enumerate(some):
        turn = float(np.interp(b.time_s, places, turns))
        laps = [turn + lap for lap in (-1.0, 1.0) if turns[0] <= turn + lap <= turns[-1]]
        unlike = [_unlike(b, float(np.interp(u, turns, places)), times, groups, strengths) for u in laps]
        if unlike:
            says[k] = BY_NOT_AGAIN if min(unlike) > NOT_AGAIN else 0.0
    return says


def _unlike(b: Beginning, at_s: float, times: FloatArray, groups: npt.NDArray[np.int_], strengths: FloatArray) -> float:
    """By how much the strength of what begins of the same pitch at at_s differs (natural logarithm)."""
    first, last = np.searchsorted(times, (at_s - AGAIN_S, at_s + AGAIN_S))
    same = strengths[first:last][groups[first:last] == b.group]
    return float(np.abs(np.log(same / b.strength)).min()) if len(same) else float("inf")
