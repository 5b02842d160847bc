"""Whether a turn holds two tunes one after the other, and where the second begins.

Comes in: onsets and pitches. Goes out: the silence between the two, if that pays: the strikes on both sides keep step
each for themselves but not together, or keep to two keys, and the silence is long. What each of these weighs was fitted
on turns of one and of two tunes (tests/bench/fit/fit_parts.py); a person's --section-at goes before it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.frame import FloatArray
from disc.tune.read.key import SCALE
from disc.tune.read.linear import LinearModel
from disc.tune.read.time.straighten import APART_S

FEATURES = ("silence", "steps", "tempo", "keys", "constant")
GAPS_TRIED = 6  # widest silences in which a cut is looked for; chosen, not fitted
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
FEWEST, LEAST_SHARE = 24, 0.2  # strikes on each side of a cut
# Chance of a note of the scale, and of one outside it; choices, no source.
INSIDE, OUTSIDE = 0.95 / 7, 0.05 / 5


def find_cut(onset_s: FloatArray, pitch: FloatArray, steps: Sequence[float], model: LinearModel) -> float | None:
    """The moment between two tunes, s; None where the turn is one. onset_s in order, shape (n,); steps: see below."""
    gaps, table = cut_features(onset_s, pitch, steps)
    if not len(gaps):
        return None
    odds = model.shares(table).sum(1)
    best = int(odds.argmax())
    if odds[best] <= 0:
        return None
    return float(onset_s[gaps[best]] + onset_s[gaps[best] + 1]) / 2


def cut_features(onset_s: FloatArray, pitch: FloatArray, steps: Sequence[float]) -> tuple[list[int], FloatArray]:
    """(the strike before each silence tried, its features, shape (k, len(FEATURES))).

    steps: what the turn or its parts may go in, s (straighten.candidate_steps_by_part).
    """
    count = len(onset_s)
    gap_s = np.diff(onset_s)
    least = max(FEWEST, round(LEAST_SHARE * count))
    inside = np.arange(least - 1, count - least)
    inside = inside[gap_s[inside] > APART_S] if len(inside) else inside
    if not len(inside):
        return [], np.zeros((0, len(FEATURES)))
    gaps = sorted(inside[np.argsort(-gap_s[inside], kind="stable")][:GAPS_TRIED].tolist())
    usual_s = float(np.percentile(gap_s[gap_s > APART_S], 90))
    apart, tempo = _out_of_step(onset_s, gaps, steps)
    keys = _other_keys(pitch, gaps)
    silence = np.log(gap_s[gaps] / usual_s)
    return gaps, np.stack([silence, apart, tempo, keys, np.ones(len(gaps))], axis=1)


def _out_of_step(onset_s: FloatArray, gaps: Sequence[int], steps: Sequence[float]) -> tuple[FloatArray, FloatArray]:
    """Shares of the strikes that keep step only if the sides may be out of phase, and if they may differ in step."""
    together, phase, apart = 0.0, np.zeros(len(gaps)), np.zeros(len(gaps))
    sides = np.zeros((2, len(gaps)))
    for step_s in steps:
        tried = step_s * np.linspace(0.985, 1.015, 31)
        turns = np.cumsum(np.exp(2j * np.pi * onset_s[None, :] / tried[:, None]), axis=1)
        before, after = np.abs(turns[:, gaps]), np.abs(turns[:, -1:] - turns[:, gaps])
        together = max(together, float(np.abs(turns[:, -1]).max()))
        phase = np.maximum(phase, (before + after).max(0))
        sides = np.maximum(sides, np.stack([before.max(0), after.max(0)]))
    apart = sides.sum(0)
    count = len(onset_s)
    return (phase - together) / count, (apart - phase) / count


def _other_keys(pitch: FloatArray, gaps: Sequence[int]) -> FloatArray:
    """Nats by which two scales, one on each side, suit the notes better than one."""
    chance = np.full((12, 12), OUTSIDE)
    for tonic in range(12):
        chance[tonic, [(tonic + step) % 12 for step in SCALE]] = INSIDE
    each = np.log(chance)[:, np.round(pitch).astype(int) % 12]
    total = np.cumsum(each, axis=1)
    before, after = total[:, gaps], total[:, -1:] - total[:, gaps]
    return np.asarray(before.max(0) + after.max(0) - total[:, -1].max(), dtype=float)
