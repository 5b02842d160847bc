"""What a beginning tells of its tooth: which of the teeth of one pitch it was, or that it was none of them.

Every tooth has its habits: its exact pitch, how fast it dies away. They are read from its own strikes. A partial of
another tooth, a knock or the answer of a sympathetic tooth stands some cents off or dies away at another pace.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.listen.sound.bands import Whole
from disc.listen.turn.hear.heard_strikes import HeardStrike, Matched
from disc.listen.turn.hear.single_sounds import Beginning
from disc.listen.turn.learn.tooth_voices import Trait, strand
from disc.listen.turn.place.tones import Tones

# Spreads where a tooth has too few strikes of its own to show them, and the least believed: cents, and natural
# logarithm of the fall. On the development recordings teeth of bars repeat within 0.2 cents and 0.05, in noise 1
# and 0.2.
UNKNOWN_CENTS, UNKNOWN_FALL = 4.0, 0.4
LEAST_CENTS, LEAST_FALL = 1.0, 0.15  # spreads that a tooth's habits are never taken for less than; chosen by hand
FEWEST = 3  # strikes for a habit, and teeth with one; chosen by hand
LEAST_FALL_DB_S = 2.0  # a slower fall cannot be told from none; chosen by hand
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Squared distances in spreads. An extra sound farther than NOT_ITS from every tooth of its pitch is none of theirs; two
# teeth are told apart if one is nearer by APART (odds of about 90 to 1).
NOT_ITS, APART = 36.0, 9.0
# An expected strike is doubted only on stronger grounds: off in pitch and in its fall alike.
OFF_CENTS, OFF_FALL = 8.0, 0.35


@dataclass(frozen=True)
class Habit:
    """How a tooth usually sounds; spreads are standard deviations. count: of its strikes."""

    cents: float
    fall_log: float
    cents_spread: float
    fall_spread: float
    count: int

    def distance(self, trait: Trait) -> float:
        """Squared distance of a beginning from this habit, in spreads."""
        cents = (trait.cents - self.cents) / self.cents_spread
        fall = (_log(trait) - self.fall_log) / self.fall_spread
        return float(cents**2 + fall**2)


@dataclass(frozen=True)
class Told:
    """What was told: the match as it stands now, and for extra beginnings (by identity) the tooth it was."""

    matched: Matched
    tooth_of: dict[int, int]


def tell(whole: Whole, tones: Tones, matched: Matched) -> Told:
    """The match without extra sounds and strikes that were none of their teeth; extra ones with their tooth."""
    traits = _traits(whole, tones, matched)
    habits = _habits(matched.heard, traits)
    tooth_of: dict[int, int] = {}
    extra = []
    for b, odds in matched.extra:
        trait = traits.get(id(b))
        known = [(habits[t].distance(trait), t) for t in tones.teeth[b.group] if t in habits] if trait else []
        all_known = len(known) == len(tones.teeth[b.group])
        if known and all_known and min(known)[0] > NOT_ITS:
            continue
        if known and all_known and (len(known) == 1 or sorted(known)[1][0] - sorted(known)[0][0] > APART):
            tooth_of[id(b)] = min(known)[1]
        extra.append((b, odds))
    heard = tuple(_doubted(h, habits, traits) for h in matched.heard)
    return Told(replace(matched, heard=heard, extra=tuple(extra)), tooth_of)


def _traits(whole: Whole, tones: Tones, matched: Matched) -> dict[int, Trait]:
    """By identity of the beginning; those of which nothing can be told are left out."""
    beginnings = {
        id(b): b for b in [*(h.beginning for h in matched.heard if h.beginning), *(b for b, _ in matched.extra)]
    }
    found: dict[int, Trait] = {}
    for group in {b.group for b in beginnings.values()}:
        line = strand(whole, tones.hz, float(tones.hz[group]))
        mine = sorted((b for b in beginnings.values() if b.group == group), key=lambda b: b.time_s)
        ends = [*(b.time_s for b in mine[1:]), np.inf][: len(mine)]
        for b, end in zip(mine, ends, strict=True):
            trait = line.trait(b.time_s, end)
            if trait is not None:
                found[id(b)] = trait
    return found


def _habits(heard: Sequence[HeardStrike], traits: dict[int, Trait]) -> dict[int, Habit]:
    """By tooth, from the strikes that only it can have sounded."""
    users: dict[int, set[int]] = {}
    for h in heard:
        if h.beginning is not None:
            users.setdefault(id(h.beginning), set()).add(h.expected.tooth)
    by_tooth: dict[int, list[Trait]] = {}
    for h in heard:
        b: Beginning | None = h.beginning
        if b is not None and id(b) in traits and len(users[id(b)]) == 1:
            by_tooth.setdefault(h.expected.tooth, []).append(traits[id(b)])
    habits = {tooth: _habit(rows) for tooth, rows in by_tooth.items()}
    sure = [h for h in habits.values() if h.count >= FEWEST]
    if len(sure) < FEWEST:
        return habits
    # A tooth struck too seldom to show its spread is taken to repeat half as well as the others do.
    cents, fall = (2.0 * float(np.median([getattr(h, k) for h in sure])) for k in ("cents_spread", "fall_spread"))
    return {
        tooth: h if h.count >= FEWEST else replace(h, cents_spread=cents, fall_spread=fall)
        for tooth, h in habits.items()
    }


def _habit(rows: Sequence[Trait]) -> Habit:
    cents, falls = np.array([t.cents for t in rows]), np.array([_log(t) for t in rows])
    few = len(rows) < FEWEST
    return Habit(
        float(np.median(cents)), float(np.median(falls)),
        UNKNOWN_CENTS if few else max(LEAST_CENTS, _spread(cents)),
        UNKNOWN_FALL if few else max(LEAST_FALL, _spread(falls)), len(rows),
    )  # fmt: skip


def _spread(values: np.ndarray) -> float:
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def _log(trait: Trait) -> float:
    return float(np.log(max(trait.fall_db_s, LEAST_FALL_DB_S)))


def _doubted(h: HeardStrike, habits: dict[int, Habit], traits: dict[int, Trait]) -> HeardStrike:
    """The strike; silent if what was taken for it is clearly not its tooth."""
    habit = habits.get(h.expected.tooth)
    if h.beginning is None or habit is None or habit.count < FEWEST or id(h.beginning) not in traits:
        return h
    trait = traits[id(h.beginning)]
    off_cents = max(OFF_CENTS, 5.0 * habit.cents_spread)
    off_fall = max(OFF_FALL, 2.5 * habit.fall_spread)
    if abs(trait.cents - habit.cents) > off_cents and _log(trait) - habit.fall_log > off_fall:
        return replace(h, beginning=None, odds=-1.0)
    return h
