"""Three answers to each expected strike: it sounded, it was silent, or that cannot be told; each with its probability.

What speaks: what matching made of it (match_strikes), how far its tooth's own tone steps up there (strike_steps), and
what the tooth's other strikes do: a dead tooth is silent at all of them. Laps are taken together, since a pin that is
gone is gone in each. The weights are fitted to drawn turns of the usual make, whole instruments left out for judging
(fitted.json).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from disc.listen.fitted import fitted
from disc.listen.sound.audio import FloatArray
from disc.listen.turn.hear.heard_strikes import SILENT_FROM, SOUNDED_TO, HeardStrike
from disc.listen.turn.hear.single_sounds import Beginning, peak_near
from disc.listen.turn.hear.strike_steps import ToneStep, ToothVoice, near_levels, own_levels
from disc.listen.turn.place.disc_path import Expected
from disc.listen.turn.place.tones import Tones

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
LEAST_USUAL = 0.25  # of what teeth beside it do: a tooth that seems weaker is a dead one's noise, or weak itself
MOST_OF_ONE, MOST_OF_A_LAP = 4.0, 5.0  # nats
PRIOR = float(np.log(0.05 / 0.95))  # one strike in twenty is silent (common practice, no source)
# One tooth in thirty is dead (common practice, no source); one pin alone cannot tell the tooth from itself.
DEAD_PRIOR, FEWEST_TOGETHER = float(np.log(0.03 / 0.97)), 2
TWIN_SEMITONES, TOGETHER_S = 0.15, 0.045  # not told apart within a strike's length, and at once; chosen by hand
# strikes beyond are told by themselves, and their tooth's others are not asked; chosen, its weight is fitted
OPEN_NATS = 3.0
# of the path, about the spread of onsets on it: a strike heard farther off is measured where heard (chosen)
NEAR_S = 0.02
FLOOR_S = 0.05  # about a strike, in which its strength is looked up; chosen: one chord's scatter
FAINT = 0.03  # of the usual: what leaks, or is added, below is noise
UNKNOWN_LEAK = -1.5  # companions never struck without it: halfway between nothing and all
# A strike that explains so much of its band, and so much of its tooth's usual, is clearly heard; what comes at the same
# moment as the last one was played with it.
CLEAR_GAIN, CLEAR_SHARE, AFTER_LAST_S = 0.3, 0.5, 0.03
# A usual strike's half that lies within two spreads of what was added is not ruled out: such a strike is left open, at
# most so likely silent, unless its tooth is silent at all of its strikes, so many at least. Of 14 claims on 37 turns
# that it takes back 3 were true (chosen there).
NOT_RULED_OUT, SPREADS, MOST_IN_DOUBT, FEWEST_OF_DEAD = 0.5, 2.0, 0.45, 3
Features = dict[str, FloatArray]
BoolArray = npt.NDArray[np.bool_]


def places_of(heard: Sequence[HeardStrike], path_s: FloatArray) -> FloatArray:
    """Where to look for each strike's step, shape (n,): on the disc's path, or where it was heard far from that."""
    return np.array([
        h.beginning.time_s if h.beginning is not None and abs(h.beginning.time_s - t) > NEAR_S else t
        for h, t in zip(heard, path_s, strict=True)
    ])  # fmt: skip


def with_twins(heard: Sequence[HeardStrike], voices: Mapping[int, ToothVoice], places_s: FloatArray) -> BoolArray:
    """Whether another tooth that sounds the very same pitch is struck together with each strike, shape (n,): what rises
    there may be either's."""
    pitches = np.array([12.0 * np.log2(voices[h.expected.tooth].hz) for h in heard])
    teeth = np.array([h.expected.tooth for h in heard])
    return np.array([
        bool(np.any((np.abs(places_s - t) < TOGETHER_S) & (np.abs(pitches - p) < TWIN_SEMITONES) & (teeth != tooth)))
        for t, p, tooth in zip(places_s, pitches, teeth, strict=True)
    ], dtype=bool)  # fmt: skip


def strike_features(heard: Sequence[HeardStrike], steps: Sequence[ToneStep | None], leaks: FloatArray) -> Features:
    """What speaks for or against each strike by itself, shape (n,) each. leaks: as leaks() gives them."""
    expected = [h.expected for h in heard]
    own, near = own_levels(steps, expected), near_levels(steps, expected)
    usual = np.fmax(own, LEAST_USUAL * near)
    odds = np.array([h.odds for h in heard])
    level, sigma, before = (
        np.array([0.0 if s is None else getattr(s, name) for s in steps]) / usual
        for name in ("level", "sigma", "before")
    )
    share = np.clip([0.0 if s is None else s.gain for s in steps], 1e-3, 0.999)
    gain = np.clip(np.log(share / (1 - share)), -5.0, 4.0)
    loud = np.clip(np.log(np.maximum(level, 1e-3)), -4.0, 0.5)
    unsure = np.clip(np.log(np.maximum(sigma, 1e-3)), -5.0, 1.0)
    leaked = np.clip(np.log((leaks / usual + FAINT) / (level + FAINT)), -3.0, 0.5)
    leaked = np.where(np.isfinite(leaked), leaked, UNKNOWN_LEAK)
    beyond = np.sqrt(np.maximum(level**2 - np.nan_to_num(leaks / usual) ** 2, 0.0))
    own_tone = np.clip(np.log(beyond + FAINT), -3.5, 0.5)
    clear = np.minimum(np.log(np.maximum(level / np.maximum(sigma, 1e-6), 1e-2) / 3.0), loud - np.log(0.05))
    return {
        "odds": np.clip(odds, -10.0, 8.0), "odds against": np.clip(odds, -10.0, 0.0),
        "gain": gain, "clear gain": np.maximum(gain, -1.0), "level": loud, "clear level": np.maximum(loud, -1.5),
        "gain and level": np.minimum(gain, 2.0 * (loud + 1.8)), "sigma": unsure,
        "before": np.clip(np.log(before + 0.01), -4.0, 2.0),
        "off": np.array([0.0 if s is None else abs(s.off_s) / 0.01 for s in steps]),
        "over sigma": np.maximum(0.0, loud - unsure), "clear step": np.clip(clear, -1.0, 1.5),
        "leaked": leaked, "all leaked": np.maximum(leaked + 1.0, 0.0),
        "beyond leak": own_tone, "beyond leak, clear": np.maximum(own_tone, -1.5),
        "leak unknown": (~np.isfinite(leaks)).astype(float),
    }  # fmt: skip


def with_others(features: Features, first: FloatArray, expected: Sequence[Expected], played: BoolArray) -> Features:
    """The same, and what the tooth's other strikes say. first: log-odds of silence by each strike alone. played: of
    which the disc still turned."""
    of_tooth: dict[int, list[int]] = {}
    for k, e in enumerate(expected):
        of_tooth.setdefault(e.tooth, []).append(k)
    others = np.zeros(len(expected))
    for mine in of_tooth.values():
        for k in mine:
            rest = [j for j in mine if expected[j].index != expected[k].index and played[j]]
            others[k] = np.clip(first[rest], -MOST_OF_ONE, MOST_OF_ONE).sum() / (len(rest) + 1) if rest else 0.0
    return features | {"others": others, "others where open": np.where(np.abs(first) < OPEN_NATS, others, 0.0)}


def dead_probability(first: FloatArray, expected: Sequence[Expected], known: BoolArray) -> FloatArray:
    """Probability that the tooth of each strike gives no tone at all, shape (n,), by what all of its strikes that are
    known say together. first: log-odds of silence by each strike alone. A dead tooth is silent at each of them; of
    another each may be, by PRIOR. So one strike that clearly sounded outweighs two others; one that more likely sounded
    than not never speaks for a dead tooth: a twin's tone left many such (a third of the false ones, none of the true).
    """
    pins: dict[int, dict[int, float]] = {}
    for e, odds, is_known in zip(expected, first, known, strict=True):
        if is_known:
            mine = pins.setdefault(e.tooth, {})
            nats = float(np.clip(odds - PRIOR, -MOST_OF_A_LAP, MOST_OF_A_LAP))
            mine[e.index] = mine.get(e.index, 0.0) + (nats if odds > 0.0 else min(nats, 0.0))
    chance = 1.0 / (1.0 + np.exp(-PRIOR))
    dead = {
        tooth: DEAD_PRIOR
        + sum(nats - np.logaddexp(np.log(1.0 - chance), np.log(chance) + nats) for nats in mine.values())
        for tooth, mine in pins.items() if len(mine) >= FEWEST_TOGETHER
    }  # fmt: skip
    odds_of = np.array([dead.get(e.tooth, -np.inf) for e in expected])
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(odds_of, -50.0, 50.0))))


def over_laps(odds: FloatArray, expected: Sequence[Expected], known: BoolArray) -> FloatArray:
    """The log-odds of silence, shape (n,), all laps of a strike that are known taken together."""
    laps: dict[int, list[int]] = {}
    for k, e in enumerate(expected):
        laps.setdefault(e.index, []).append(k)
    result = odds.copy()
    for mine in laps.values():
        says = [float(np.clip(odds[k] - PRIOR, -MOST_OF_A_LAP, MOST_OF_A_LAP)) for k in mine if known[k]]
        if len(says) > 1:
            result[mine] = sum(says) + PRIOR
    return result


def still_playing(heard: Sequence[HeardStrike], steps: Sequence[ToneStep | None], path_s: FloatArray) -> BoolArray:
    """Whether the disc still turned at each strike, shape (n,): after the last that is clearly heard it may have
    stopped, and a strike that an earlier lap tells of is then not asked for again."""
    own = own_levels(steps, [h.expected for h in heard])
    last = max(
        (
            t for h, step, usual, t in zip(heard, steps, own, path_s, strict=True)
            if h.beginning is not None and step is not None and step.gain > CLEAR_GAIN
            and step.level > CLEAR_SHARE * usual
        ),
        default=np.inf,
    )  # fmt: skip
    first: dict[int, float] = {}
    for h, t in zip(heard, path_s, strict=True):
        if t > 0.0:
            first[h.expected.index] = min(float(t), first.get(h.expected.index, np.inf))
    return np.array([
        t <= last + AFTER_LAST_S or t <= first.get(h.expected.index, np.inf) for h, t in zip(heard, path_s, strict=True)
    ])  # fmt: skip


def not_ruled_out(
    probability: FloatArray, features: Features, expected: Sequence[Expected], known: BoolArray
) -> FloatArray:
    """The probability of silence, shape (n,), of what cannot be told held below a claim: half of the tooth's usual step
    may well have been added, in every lap that is known. features: as strike_features gives them."""
    within = np.exp(features["level"]) + SPREADS * np.exp(features["sigma"]) > NOT_RULED_OUT
    strikes: dict[int, list[int]] = {}
    of_tooth: dict[int, dict[int, list[bool]]] = {}
    for k, e in enumerate(expected):
        if known[k]:
            strikes.setdefault(e.index, []).append(k)
            of_tooth.setdefault(e.tooth, {}).setdefault(e.index, []).append(probability[k] >= SILENT_FROM)
    dead = {
        tooth for tooth, mine in of_tooth.items() if len(mine) >= FEWEST_OF_DEAD and all(map(all, mine.values()))
    }  # fmt: skip
    result = probability.copy()
    for mine in strikes.values():
        if all(within[k] for k in mine) and expected[mine[0]].tooth not in dead:
            result[mine] = np.minimum(result[mine], MOST_IN_DOUBT)
    return result


def silent_probability(
    heard: Sequence[HeardStrike], steps: Sequence[ToneStep | None], leaks: FloatArray, sure: BoolArray,
    played: BoolArray,
) -> FloatArray:  # fmt: skip
    """Probability that each strike was silent, shape (n,). sure: whether it certainly lies within what was played;
    played: as still_playing says."""
    expected = [h.expected for h in heard]
    features = strike_features(heard, steps, leaks)
    first = fitted("silent, first").log_odds(features)
    odds = fitted("silent, second").log_odds(with_others(features, first, expected, played))
    odds = over_laps(odds, expected, sure & played)
    known = sure & played & np.array([s is not None for s in steps])
    alone = not_ruled_out(np.asarray(1.0 / (1.0 + np.exp(-odds))), features, expected, known)
    dead = dead_probability(first, expected, known)
    return dead + (1.0 - dead) * alone


def judged(
    heard: Sequence[HeardStrike],
    steps: Sequence[ToneStep | None],
    places_s: FloatArray,
    tones: Tones,
    probability: FloatArray,
    played: BoolArray,
) -> tuple[HeardStrike, ...]:
    """The strikes with their answers: what sounded has a beginning, what was silent or cannot be told has none."""
    result = []
    for h, step, place, p, turned in zip(heard, steps, places_s, probability, played, strict=True):
        beginning = h.beginning
        if step is not None and p >= SOUNDED_TO:
            beginning = None
        elif step is not None and beginning is None:
            beginning = _from_step(tones, h, float(place) + step.off_s)
        beyond = beginning is None and not turned
        result.append(replace(h, beginning=beginning, silent=None if step is None else float(p), beyond=beyond))
    return tuple(result)


def _from_step(tones: Tones, h: HeardStrike, at_s: float) -> Beginning:
    """What only the step shows to have begun."""
    at_s = max(0.0, at_s)
    strength = max(peak_near(tones, h.expected.group, at_s, FLOOR_S), 1e-9)
    return Beginning(h.expected.group, at_s, strength, 0.0, 1.0, at_s)
