"""What may be an extra sound, weighed by its own tone's step and by mechanics: is there a pin that could have made it?

A tip too wide, or a pin on a near track, takes the neighbour of the tooth it strikes along: together with that strike
or some thousandths of a second after. Such a sound has no attack of its own and lies where the other strike's partials
lie; only its own tone's step, solved for with what else stands in the band, tells it. Fitted to drawn turns of the
usual make (fitted.json), whole instruments left out for judging.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.listen.fitted import fitted
from disc.listen.turn.follow_disc import Followed
from disc.listen.turn.heard_strikes import Heard
from disc.listen.turn.silent_strikes import Features
from disc.listen.turn.single_sounds import Beginning
from disc.listen.turn.strike_steps import Step, steps_of

# After the strike that takes it along; before it the onset's own error counts.
TAKEN_ALONG_S = (-0.012, 0.035)
TOGETHER_S = 0.05
EXTRA_FROM = 0.5  # probability
NEAR_TEETH = 6


@dataclass(frozen=True)
class Candidate:
    """What may be an extra sound. odds: by matching alone. cause: index in heard of the strike of a neighbouring
    tooth that may have taken it along."""

    beginning: Beginning
    odds: float
    tooth: int
    step: Step
    usual: float
    cause: int | None
    together: bool


def candidates(followed: Followed, heard: Sequence[Heard]) -> list[Candidate]:
    """Everything that may be an extra sound, each under the tooth that its tone fits best. heard: judged."""
    struck = [(h.expected.tooth, h.beginning.time_s) for h in heard if h.beginning is not None]
    rows = [
        (b, odds, tooth) for b, odds in followed.told.matched.extra for tooth in followed.tones.teeth[b.group]
        if b.time_s > 0.0
    ]  # fmt: skip
    steps = steps_of(followed.whole, followed.voices, [(tooth, b.time_s) for b, _, tooth in rows], struck)
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
        found.append(Candidate(b, odds, tooth, step, level, _cause(heard, tooth, b), _is_together(struck, b)))
    return found


def _usual(followed: Followed, heard: Sequence[Heard]) -> dict[int, float]:
    levels: dict[int, list[float]] = {}
    for h, step in zip(heard, followed.steps, strict=True):
        if h.beginning is not None and step is not None:
            levels.setdefault(h.expected.tooth, []).append(step.level)
    return {tooth: float(np.median(v)) + 1e-12 for tooth, v in levels.items()}


def _beside(usual: dict[int, float], tooth: int) -> float:
    near = sorted(usual, key=lambda t: abs(t - tooth))[:NEAR_TEETH]
    return float(np.median([usual[t] for t in near])) if near else 1.0


def _cause(heard: Sequence[Heard], tooth: int, b: Beginning) -> int | None:
    """The strike of a neighbouring tooth at or just before a beginning; the nearest in time."""
    near = [
        (abs(b.time_s - h.beginning.time_s), k) for k, h in enumerate(heard)
        if h.beginning is not None and abs(h.expected.tooth - tooth) == 1
        and TAKEN_ALONG_S[0] <= b.time_s - h.beginning.time_s <= TAKEN_ALONG_S[1]
    ]  # fmt: skip
    return min(near)[1] if near else None


def _is_together(struck: Sequence[tuple[int, float]], b: Beginning) -> bool:
    return any(abs(t - b.time_s) < TOGETHER_S for _, t in struck)


def extra_features(found: Sequence[Candidate]) -> Features:
    """What speaks for or against each candidate, shape (n,) each."""
    share = np.clip([c.step.gain for c in found], 1e-3, 0.999)
    gain = np.clip(np.log(share / (1 - share)), -5.0, 4.0)
    level = np.clip(np.log([max(c.step.level / c.usual, 1e-3) for c in found]), -4.0, 1.5)
    sigma = np.clip(np.log([max(c.step.sigma / c.usual, 1e-3) for c in found]), -5.0, 1.0)
    explained = np.log([max(c.beginning.explained, 1e-9) / max(c.beginning.strength, 1e-12) for c in found])
    cause = np.array([float(c.cause is not None) for c in found])
    together = np.array([float(c.together) for c in found])
    return {
        "odds": np.array([c.odds for c in found]), "odds together": together * np.array([c.odds for c in found]),
        "gain": gain, "clear gain": np.maximum(gain, 0.0), "level": np.minimum(level, 0.0),
        "too loud": np.maximum(level - 0.5, 0.0), "over sigma": np.clip(level - sigma, 0.0, 4.0),
        "explained": np.clip(explained, -4.0, 0.5), "cause": cause, "together": together,
        "cause and level": cause * np.clip(level, -2.5, 0.0), "cause and gain": cause * np.clip(gain, -2.0, 2.0),
        "off": np.array([abs(c.step.off_s) / 0.01 for c in found]),
    }  # fmt: skip


def extra_probability(found: Sequence[Candidate]) -> np.ndarray:
    """Probability that each candidate is a strike that no pin was to make, shape (n,)."""
    if not found:
        return np.zeros(0)
    return np.asarray(1.0 / (1.0 + np.exp(-fitted("extra").log_odds(extra_features(found)))))
