"""What sounded without a pin to explain it, weighed against what leaks, trembles or whirrs.

An extra sound is about as loud as its tooth usually is, stands over what leaks from other strikes, goes on as a tone
does, and begins with an attack of its own. What comes shortly after a strike of the same pitch is its tremble.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.listen.turn_attacks import Attacks
from disc.listen.turn_heard import REACH_S, Heard
from disc.listen.turn_levels import Levels, ground
from disc.listen.turn_sounds import Beginning

# Logistic regression of "an extra strike" on what a beginning is like, with a ridge of 0.3, on 40,017 beginnings of 36
# turns (the benchmark's fourth, fifth and sixth sets), 132 of them extra strikes. Each tenth of the recordings
# judged by a fit to the rest: about 100 are over LIKELY_ODDS, and 31 others, before tones that are none are left out.
LEAST_SHARE = 0.1  # of the usual strength
SHARE_RANGE, OVER_RANGE, EXPLAINED_RANGE = (-2.3, 0.5), (0.0, 8.0), (-4.0, 0.5)
BY_SHARE, BY_OVER, BY_EXPLAINED = 1.92, 0.89, -0.54
UNSTEADY, LESS_STEADY = (0.5, -1.87), (0.8, -0.34)
BY_ATTACK, BY_SHARED_ATTACK = 3.52, -3.73
BY_LOUDER, BY_AFTER = -3.29, -4.37
OFFSET = -5.48
LIKELY_ODDS = float(np.log(0.25 / 0.75))
PARTIAL_SHARE = 1.3  # what is explained may be by so much more
SHARED_S = 0.05  # an attack so near is another strike's
LOUDER_S, LOUDER = 0.1, 1.15
AFTER_S = 0.3
FAR_S = 0.3  # 0.2 mm of lean at 5 mm from the arbor, in a turn of 50 s
# A beginning is a habit of another tooth if more than so many of its strikes have one so much later.
HABIT_S, HABIT_WITHIN_S, HABIT_SHARE, MOST = 0.15, 0.02, 0.5, 0.6


def find_extra(
    beginnings: Sequence[Beginning], used: set[int], heard: Sequence[Heard], levels: Levels, attacks: Attacks
) -> list[tuple[Beginning, float]]:
    """Beginnings that are strikes of their own, with their log-odds. used: indices of those expected strikes took."""
    odds = _odds(beginnings, used, heard, levels, attacks)
    odds = {j: o for j, o in odds.items() if not _is_anothers_habit(j, beginnings, used, heard)}
    found: list[tuple[Beginning, float]] = []
    for j in sorted(odds, key=lambda j: -beginnings[j].strength):
        b = beginnings[j]
        if not any(o.group == b.group and abs(o.time_s - b.time_s) < LOUDER_S for o, _ in found):
            found.append((b, odds[j]))
    return sorted(found, key=lambda item: item[0].time_s)


def parted(
    heard: list[Heard], used: set[int], beginnings: Sequence[Beginning], levels: Levels, attacks: Attacks
) -> tuple[list[Heard], set[int]]:
    """Strikes that share one beginning though each could have one of its own: an early or late one takes the other."""
    heard, used = list(heard), set(used)
    for j in _likely(beginnings, used, heard, levels, attacks):
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
    heard: Sequence[Heard], extra: Sequence[tuple[Beginning, float]]
) -> tuple[list[Heard], list[tuple[Beginning, float]]]:
    """A strike not heard where it was to be, and an extra sound of its pitch soon before or after: a pin that leans
    more, or less, than the pins say. The one is taken for the other."""
    heard, left = list(heard), []
    for b, odds in extra:
        free = [
            k for k, h in enumerate(heard)
            if h.beginning is None and h.expected.group == b.group and abs(h.path_s - b.time_s) < FAR_S
        ]  # fmt: skip
        if free:
            k = min(free, key=lambda k: abs(heard[k].path_s - b.time_s))
            heard[k] = replace(heard[k], beginning=b, odds=odds)
        else:
            left.append((b, odds))
    return heard, left


def _is_anothers_habit(j: int, beginnings: Sequence[Beginning], used: set[int], heard: Sequence[Heard]) -> bool:
    """Whether a beginning follows a strike of a lower tooth as one does most strikes of that tooth: a partial that
    speaks late, or a tooth that answers."""
    b = beginnings[j]
    alike = np.array([
        o.time_s for k, o in enumerate(beginnings)
        if k != j and k not in used and o.group == b.group and o.strength > HABIT_SHARE * b.strength
    ])  # fmt: skip
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


def _likely(
    beginnings: Sequence[Beginning], used: set[int], heard: Sequence[Heard], levels: Levels, attacks: Attacks
) -> list[int]:
    return sorted(_odds(beginnings, used, heard, levels, attacks))


def _odds(
    beginnings: Sequence[Beginning], used: set[int], heard: Sequence[Heard], levels: Levels, attacks: Attacks
) -> dict[int, float]:
    """Log-odds of the likely ones among the beginnings no expected strike took, by index."""
    taken = [h.beginning for h in heard if h.beginning is not None]
    times = np.array([b.time_s for b in taken])
    groups = np.array([b.group for b in taken])
    strengths = np.array([b.strength for b in taken])
    rising = attacks.rising(np.array([b.time_s for b in beginnings]))
    found = {}
    for j, b in enumerate(beginnings):
        if j in used or b.strength < LEAST_SHARE * levels.usual[b.group]:
            continue
        apart = b.time_s - times
        same = groups == b.group
        odds = _by_itself(b, levels)
        if rising[j]:
            odds += BY_ATTACK + (BY_SHARED_ATTACK if np.any(np.abs(apart) < SHARED_S) else 0.0)
        if np.any(same & (np.abs(apart) < LOUDER_S) & (strengths > LOUDER * b.strength)):
            odds += BY_LOUDER
        if np.any(same & (apart >= 0.0) & (apart < AFTER_S)):
            odds += BY_AFTER
        if odds > LIKELY_ODDS:
            found[j] = odds
    return found


def _by_itself(b: Beginning, levels: Levels) -> float:
    """Log-odds from a beginning's strength and steadiness alone."""
    strength, usual = max(b.strength, 1e-12), levels.usual[b.group]
    nothing, spread = ground(replace(b, explained=PARTIAL_SHARE * b.explained), levels)
    share = np.clip(np.log(strength / usual), *SHARE_RANGE)
    over = np.clip(np.log(strength / nothing) / spread, *OVER_RANGE)
    explained = np.clip(np.log(max(b.explained, 1e-9) / strength), *EXPLAINED_RANGE)
    steady = next((odds for least, odds in (UNSTEADY, LESS_STEADY) if b.steady < least), 0.0)
    return float(OFFSET + BY_SHARE * share + BY_OVER * over + BY_EXPLAINED * explained + steady)
