"""What may be an extra sound, weighed by its own tone's step and by mechanics: is there a pin that could have made it?

A tip too wide, or a pin on a near track, takes the neighbour of the tooth it strikes along: together with that strike
or some thousandths of a second after. Such a sound has no attack of its own and lies where the other strike's partials
lie; only its own tone's step, solved for with what else stands in the band, tells it. Fitted to drawn turns of the
usual make (fitted.json), whole instruments left out for judging.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.listen.fitted import fitted
from disc.listen.sound.audio import FloatArray
from disc.listen.turn.followed import Followed
from disc.listen.turn.hear.heard_strikes import HeardStrike
from disc.listen.turn.hear.leaks import begun_at, leaks_at
from disc.listen.turn.hear.single_sounds import Beginning, peak_near
from disc.listen.turn.hear.strike_steps import ToneStep, steps_of
from disc.listen.turn.judge.silent_strikes import Features

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# After the strike that takes it along; before it the onset's own error counts.
TAKEN_ALONG_S = (-0.012, 0.035)
TOGETHER_S = 0.05  # of a strike or another find, within which it is none of its own; chosen by hand
# A neighbour is looked for at every strike, about so much later, where no strike of its own pitch is so near; what
# grows by less of its usual is none.
LOOKED_FOR_S, OWN_S, LEAST_LEVEL, LEAST_GAIN = 0.008, 0.12, 0.15, 0.12
MADE_UP_ODDS = -6.5  # matching saw nothing there that could be one
OF_HABIT = 0.03  # of the usual: below, a step is noise
EXTRA_FROM = 0.32  # probability: precision .85, recall .795 where whole sources are left out (34 of them)
# Of a turn: the same place in another one, as far as the motion is known; what that says counts so far, in nats.
SAME_PLACE_TURNS, MOST_OF_A_TURN = 0.0015, 4.0
NEAR_TEETH = 6  # beside, whose usual stands for an unheard tooth's; chosen by hand


@dataclass(frozen=True)
class ExtraCandidate:
    """What may be an extra sound. odds: by matching alone. cause: index in heard of the strike of a neighbouring
    tooth that may have taken it along. habit: by how much of its usual this tooth's tone grows at the other strikes of
    the one that may take it along: a partial does so at each. leak: what else sounds there usually leaves in its band,
    of its usual; nan if that is unknown. turn: where the disc stood. comes_round: whether the recording holds that
    place in another turn."""

    beginning: Beginning
    odds: float
    tooth: int
    step: ToneStep
    usual: float
    cause: int | None
    together: bool
    habit: float = 0.0
    leak: float = 0.0
    turn: float = 0.0
    comes_round: bool = False


def candidates(followed: Followed, heard: Sequence[HeardStrike]) -> list[ExtraCandidate]:
    """Everything that may be an extra sound, each under the tooth that its tone fits best. heard: judged."""
    struck = [(h.expected.tooth, h.beginning.time_s) for h in heard if h.beginning is not None]
    rows = [
        (b, odds, tooth) for b, odds in followed.told.matched.extra for tooth in followed.tones.teeth[b.group]
        if b.time_s > 0.0
    ]  # fmt: skip
    steps = steps_of(followed.whole, followed.tuned, [(tooth, b.time_s) for b, _, tooth in rows], struck)
    best: dict[int, tuple[float, int]] = {}
    for k, ((b, _, _), step) in enumerate(zip(rows, steps, strict=True)):
        if step is not None and (id(b) not in best or step.gain > best[id(b)][0]):
            best[id(b)] = (step.gain, k)
    usual = _usual(followed, heard)
    found = []
    for _, k in best.values():
        b, odds, tooth = rows[k]
        step = steps[k]
        assert step is not None
        level = usual.get(tooth) or _beside(usual, tooth)
        found.append(ExtraCandidate(b, odds, tooth, step, level, _cause(heard, tooth, b), _is_together(struck, b)))
    return _placed(followed, heard, _neighbours(followed, heard, usual, found))


def _placed(followed: Followed, heard: Sequence[HeardStrike], found: Sequence[ExtraCandidate]) -> list[ExtraCandidate]:
    """The candidates with what leaks into their bands and where the disc stood."""
    struck = begun_at(heard, followed.steps, followed.places_s)
    sounding = [h.beginning is not None for h in heard]
    sought = [(c.tooth, c.beginning.time_s) for c in found]
    leaked = leaks_at(followed.whole, followed.tuned, sought, struck, sounding)
    turns = followed.motion.position(np.array([at for _, at in sought]))
    first, last = (some(h.expected.turn for h in heard) for some in (min, max))
    return [
        replace(
            c, leak=float(leak) / c.usual, turn=float(turn),
            comes_round=any(first <= turn + lap <= last for lap in (-1, 1)),
        )
        for c, leak, turn in zip(found, leaked, turns, strict=True)
    ]  # fmt: skip


def _neighbours(
    followed: Followed, heard: Sequence[HeardStrike], usual: dict[int, float], seen: Sequence[ExtraCandidate]
) -> list[ExtraCandidate]:
    """Neighbours of what was struck that may have been taken along, where matching saw nothing of the kind."""
    struck = [(h.expected.tooth, h.beginning.time_s) for h in heard if h.beginning is not None]
    expected = [(h.expected.group, float(t)) for h, t in zip(heard, followed.places_s, strict=True)]
    sought: list[tuple[int, float, int]] = []
    for k, h in enumerate(heard):
        for tooth in (h.expected.tooth - 1, h.expected.tooth + 1):
            if h.beginning is None or tooth not in followed.voices:
                continue
            group, at = followed.tones.group_of(tooth), h.beginning.time_s
            if group != h.expected.group and not any(g == group and abs(t - at) < OWN_S for g, t in expected):
                sought.append((tooth, at + LOOKED_FOR_S, k))
    steps = steps_of(followed.whole, followed.tuned, [(tooth, at) for tooth, at, _ in sought], struck)
    shares = [
        0.0 if step is None else step.level / (usual.get(tooth) or _beside(usual, tooth))
        for (tooth, _, _), step in zip(sought, steps, strict=True)
    ]
    habits = _habits(sought, shares, heard)
    kept = [
        replace(c, habit=habits.get((c.tooth, heard[c.cause].expected.tooth, heard[c.cause].expected.index), 0.0))
        if c.cause is not None else c
        for c in seen
    ]  # fmt: skip
    made: list[ExtraCandidate] = []
    fullest = sorted(zip(sought, steps, shares, strict=True), key=lambda item: -item[2])
    for (tooth, at, k), step, share in fullest:
        if step is None or share < LEAST_LEVEL or step.gain < LEAST_GAIN:
            continue
        group, at = followed.tones.group_of(tooth), at + step.off_s
        if any(c.beginning.group == group and abs(c.beginning.time_s - at) < TOGETHER_S for c in (*seen, *made)):
            continue
        b = Beginning(group, max(0.0, at), peak_near(followed.tones, group, at, 0.03) + 1e-9, 0.0, 1.0, at)
        level = usual.get(tooth) or _beside(usual, tooth)
        habit = habits.get((tooth, heard[k].expected.tooth, heard[k].expected.index), 0.0)
        made.append(ExtraCandidate(b, MADE_UP_ODDS, tooth, step, level, k, True, habit))
    return kept + made


def _habits(
    sought: Sequence[tuple[int, float, int]], shares: Sequence[float], heard: Sequence[HeardStrike]
) -> dict[tuple[int, int, int], float]:
    """(neighbour, tooth struck, strike) -> the usual share of the neighbour's tone at that tooth's other strikes."""
    pairs: dict[tuple[int, int], list[tuple[int, float]]] = {}
    for (tooth, _, k), share in zip(sought, shares, strict=True):
        pairs.setdefault((tooth, heard[k].expected.tooth), []).append((heard[k].expected.index, share))
    found = {}
    for (tooth, struck), rows in pairs.items():
        for index, _ in rows:
            others = [share for other, share in rows if other != index]
            found[tooth, struck, index] = float(np.median(others)) if others else 0.0
    return found


def _usual(followed: Followed, heard: Sequence[HeardStrike]) -> dict[int, float]:
    levels: dict[int, list[float]] = {}
    for h, step in zip(heard, followed.steps, strict=True):
        if h.beginning is not None and step is not None:
            levels.setdefault(h.expected.tooth, []).append(step.level)
    return {tooth: float(np.median(v)) + 1e-12 for tooth, v in levels.items()}


def _beside(usual: dict[int, float], tooth: int) -> float:
    near = sorted(usual, key=lambda t: abs(t - tooth))[:NEAR_TEETH]
    return float(np.median([usual[t] for t in near])) if near else 1.0


def _cause(heard: Sequence[HeardStrike], tooth: int, b: Beginning) -> int | None:
    """The strike of a neighbouring tooth at or just before a beginning; the nearest in time."""
    near = [
        (abs(b.time_s - h.beginning.time_s), k) for k, h in enumerate(heard)
        if h.beginning is not None and abs(h.expected.tooth - tooth) == 1
        and TAKEN_ALONG_S[0] <= b.time_s - h.beginning.time_s <= TAKEN_ALONG_S[1]
    ]  # fmt: skip
    return min(near)[1] if near else None


def _is_together(struck: Sequence[tuple[int, float]], b: Beginning) -> bool:
    return any(abs(t - b.time_s) < TOGETHER_S for _, t in struck)


def extra_features(found: Sequence[ExtraCandidate]) -> Features:
    """What speaks for or against each candidate, shape (n,) each."""
    share = np.clip([c.step.gain for c in found], 1e-3, 0.999)
    gain = np.clip(np.log(share / (1 - share)), -5.0, 4.0)
    level = np.clip(np.log([max(c.step.level / c.usual, 1e-3) for c in found]), -4.0, 1.5)
    sigma = np.clip(np.log([max(c.step.sigma / c.usual, 1e-3) for c in found]), -5.0, 1.0)
    explained = np.log([max(c.beginning.explained, 1e-9) / max(c.beginning.strength, 1e-12) for c in found])
    cause = np.array([float(c.cause is not None) for c in found])
    together = np.array([float(c.together) for c in found])
    made_up = np.array([float(c.odds == MADE_UP_ODDS) for c in found])
    habit = np.log([max(c.step.level / c.usual, 1e-3) / (c.habit + OF_HABIT) for c in found])
    share_of_usual, leak = np.array([c.step.level / c.usual for c in found]), np.array([c.leak for c in found])
    beyond = np.sqrt(np.maximum(share_of_usual**2 - np.nan_to_num(leak) ** 2, 0.0))
    return {
        "odds": np.array([c.odds for c in found]), "odds together": together * np.array([c.odds for c in found]),
        "gain": gain, "clear gain": np.maximum(gain, 0.0), "level": np.minimum(level, 0.0),
        "too loud": np.maximum(level - 0.5, 0.0), "over sigma": np.clip(level - sigma, 0.0, 4.0),
        "explained": np.where(made_up > 0.0, -1.0, np.clip(explained, -4.0, 0.5)), "cause": cause, "together": together,
        "cause and level": cause * np.clip(level, -2.5, 0.0), "cause and gain": cause * np.clip(gain, -2.0, 2.0),
        "made up": made_up, "made up and gain": made_up * gain,
        "made up and level": made_up * np.clip(level, -2.5, 0.5),
        "beyond habit": cause * np.clip(habit, -1.0, 3.0),
        "off": np.array([abs(c.step.off_s) / 0.01 for c in found]),
        "beyond leak": np.clip(np.log(beyond + OF_HABIT), -3.5, 0.0),
        "leaked": np.clip(np.log((np.nan_to_num(leak) + OF_HABIT) / (share_of_usual + OF_HABIT)), -3.0, 0.5),
        "leak unknown": np.array([float(np.isnan(c.leak)) for c in found]),
    }  # fmt: skip


def with_other_turns(features: Features, first: FloatArray, found: Sequence[ExtraCandidate]) -> Features:
    """The same, and what the recording's other turns say: a pin strikes in each. first: log-odds by each alone."""
    again, absent = np.zeros(len(found)), np.zeros(len(found))
    for k, c in enumerate(found):
        if not c.comes_round:
            continue
        others = [
            float(first[j]) for j, o in enumerate(found)
            if o.tooth == c.tooth and abs(abs(o.turn - c.turn) - 1.0) < SAME_PLACE_TURNS
        ]  # fmt: skip
        again[k] = float(np.clip(max(others), -MOST_OF_A_TURN, MOST_OF_A_TURN)) if others else 0.0
        absent[k] = float(not others)
    return features | {"again": again, "absent": absent}


def extra_probability(found: Sequence[ExtraCandidate]) -> np.ndarray:
    """Probability that each candidate is a strike that no pin was to make, shape (n,)."""
    if not found:
        return np.zeros(0)
    features = extra_features(found)
    every = with_other_turns(features, fitted("extra, first").log_odds(features), found)
    return np.asarray(1.0 / (1.0 + np.exp(-fitted("extra").log_odds(every))))
