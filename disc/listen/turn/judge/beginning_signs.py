"""What a beginning that no expected strike took is like: the signs by which it is weighed as an extra sound.

One table of signs for all of them at once; their weights are fitted.json's "beginning" (listen_turn_fit.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.hear.heard_strikes import HeardStrike
from disc.listen.turn.hear.levels import StrikeLevels, usual_steadiness
from disc.listen.turn.hear.single_sounds import Beginning
from disc.listen.turn.hear.strike_attacks import Attacks

# How far each sign counts, and where it turns: chosen by hand on development recordings, the weights are fitted.
# Natural logarithms of strengths, unless said otherwise; chosen.
OVER_RANGE = (0.0, 5.0)  # strength against what stands there without a strike
EXPLAINED_RANGE = (-4.0, 0.5)  # share of it that other strikes explain; chosen
MOST_WEAKER = 2.3  # than the tooth's usual; chosen
STRONGER, MOST_STRONGER = 0.35, 2.0  # than the tooth's usual by more than the one, at most by the other; chosen
# Steadiness, 0 to 1: less than the tooth's own by at most so much, by more than so much; so little at all. Chosen.
MOST_LESS_STEADY, FAR_LESS_STEADY, UNSTEADY = 0.4, 0.15, 0.4
# As loud and as steady as the tooth's own strikes, within these spreads, and with so small a share explained. Chosen.
LIKE_STRENGTH, LIKE_STEADINESS, UNEXPLAINED = 0.35, 0.06, 0.3
SHARED_S = 0.05  # an attack so near is another strike's; chosen
# Seconds, and factor of strength: so near a so much louder one of its pitch is no strike of its own. Chosen.
LOUDER_S, LOUDER = 0.1, 1.15
AFTER_S = 0.3  # so soon after a strike of its pitch it may be that one's tremble; chosen
# At the next turn, or the one before, the same sound comes within so much; what differs in strength by more than
# NOT_AGAIN (natural logarithm) is another. Chosen.
AGAIN_S, NOT_AGAIN = 0.03, 1.0
LEAST = 1e-12  # of a strength: keeps logarithms finite; chosen
LEAST_EXPLAINED = 1e-9  # of what is explained: the same; EXPLAINED_RANGE ends far above; chosen

Signs = dict[str, FloatArray]


@dataclass(frozen=True)
class Begun:
    """Beginnings as arrays of shape (n,)."""

    times_s: FloatArray
    groups: npt.NDArray[np.int_]
    strengths: FloatArray
    explained: FloatArray
    steady: FloatArray

    @classmethod
    def of(cls, some: Sequence[Beginning]) -> Begun:
        """These."""
        times, strengths, explained, steady = (
            np.array([getattr(b, name) for b in some], dtype=np.float64)
            for name in ("time_s", "strength", "explained", "steady")
        )
        return cls(times, np.array([b.group for b in some], dtype=int), strengths, explained, steady)


def struck_of(heard: Sequence[HeardStrike]) -> list[Beginning]:
    """What expected strikes took, each once."""
    return list({id(h.beginning): h.beginning for h in heard if h.beginning is not None}.values())


def beginning_signs(
    some: Sequence[Beginning], beginnings: Sequence[Beginning], heard: Sequence[HeardStrike], levels: StrikeLevels,
    attacks: Attacks,
) -> Signs:  # fmt: skip
    """The signs of some of the beginnings, shape (n,) each. beginnings: all of them, in order of time."""
    taken = struck_of(heard)
    steady, _ = usual_steadiness(taken, len(levels.usual))
    mine = Begun.of(some)
    rates = attacks.rates(np.array([h.path_s for h in heard]), np.array([h.odds for h in heard]))
    return (
        _by_itself(mine, levels, steady)
        | signs_of_others(mine, levels, steady)
        | _beside(mine, Begun.of(taken), attacks.says(mine.times_s, rates))
        | {"not again": _not_again(some, Begun.of(beginnings), heard)}
    )


def signs_of_others(mine: Begun, levels: StrikeLevels, steady: FloatArray) -> Signs:
    """What others explain of each: something that nothing explains, and that is like the tooth's own strikes, is one.
    steady: usual of each pitch."""
    share = np.maximum(mine.explained, LEAST_EXPLAINED) / np.maximum(mine.strengths, LEAST)
    louder = _louder(mine, levels) / LIKE_STRENGTH
    steadier = (mine.steady - steady[mine.groups]) / LIKE_STEADINESS
    alike = np.where(share < UNEXPLAINED, np.exp(-0.5 * (louder**2 + steadier**2)), 0.0)
    return {"explained": np.clip(np.log(share), *EXPLAINED_RANGE), "alike": alike}


def _by_itself(mine: Begun, levels: StrikeLevels, steady: FloatArray) -> Signs:
    louder = _louder(mine, levels)
    over = np.log(np.maximum(mine.strengths, LEAST) / levels.ambient[mine.groups])
    less_steady = steady[mine.groups] - mine.steady
    return {
        "over": np.clip(over, *OVER_RANGE), "weaker": np.clip(-louder, 0.0, MOST_WEAKER),
        "stronger": np.clip(louder - STRONGER, 0.0, MOST_STRONGER),
        "less steady": np.clip(less_steady, 0.0, MOST_LESS_STEADY),
        "far less steady": (less_steady > FAR_LESS_STEADY).astype(float),
        "unsteady": (mine.steady < UNSTEADY).astype(float),
    }  # fmt: skip


def _louder(mine: Begun, levels: StrikeLevels) -> FloatArray:
    return np.asarray(np.log(np.maximum(mine.strengths, LEAST) / levels.usual[mine.groups]))


def _beside(mine: Begun, taken: Begun, cue: FloatArray) -> Signs:
    """What stands beside each, and its attack. cue: log-odds of an attack there."""
    apart = mine.times_s[:, None] - taken.times_s[None, :]
    same = mine.groups[:, None] == taken.groups[None, :]
    near = np.abs(apart)
    shared = np.any(near < SHARED_S, axis=1)
    above = taken.strengths[None, :] > LOUDER * mine.strengths[:, None]
    return {
        "attack": np.where(shared, 0.0, cue), "shared attack": shared.astype(float),
        "louder": np.any(same & (near < LOUDER_S) & above, axis=1).astype(float),
        "after": np.any(same & (apart >= 0.0) & (apart < AFTER_S), axis=1).astype(float),
    }  # fmt: skip


def _not_again(some: Sequence[Beginning], every: Begun, heard: Sequence[HeardStrike]) -> FloatArray:
    """1 for each of some of which the next turn, or the one before, has not the same, where the recording holds
    that; shape (n,)."""
    path = sorted({(h.expected.turn, h.path_s) for h in heard})
    turns, places = np.array([u for u, _ in path]), np.array([t for _, t in path])
    says = np.zeros(len(some))
    for k, b in enumerate(some):
        turn = float(np.interp(b.time_s, places, turns))
        laps = [turn + lap for lap in (-1.0, 1.0) if turns[0] <= turn + lap <= turns[-1]]
        unlike = [_unlike(b, float(np.interp(u, turns, places)), every) for u in laps]
        says[k] = float(bool(unlike) and min(unlike) > NOT_AGAIN)
    return says


def _unlike(b: Beginning, at_s: float, every: Begun) -> float:
    """By how much the strength of what begins of the same pitch at at_s differs (natural logarithm)."""
    first, last = np.searchsorted(every.times_s, (at_s - AGAIN_S, at_s + AGAIN_S))
    same = every.strengths[first:last][every.groups[first:last] == b.group]
    return float(np.abs(np.log(same / b.strength)).min()) if len(same) else float("inf")
