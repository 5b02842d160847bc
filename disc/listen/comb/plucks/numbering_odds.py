"""How sure a pluck's tooth is: every way through the attacks weighed, not the best alone.

Forwards and backwards over the same steps as the best path (the forward-backward algorithm of hidden Markov models:
Rabiner, Proceedings of the IEEE 77, 1989, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.comb.plucks.best_path import Ways
from disc.listen.sound.audio import FloatArray

# By which the scores of the steps, which lean on each other, are taken down, so that what is said is as sure as it was
# true: on 112 drawn combs, each as it is and with one tooth left out, tests/bench/measure/listen.py shows how often.
SHARPNESS = 0.5


def number_odds(ways: Ways, candidates: Sequence[int]) -> FloatArray:
    """Probability that each of these candidates is a pluck of tooth 1, 2, ...; shape (candidates, teeth). What a row
    lacks to one is the probability that it is no pluck."""
    forward, backward = SHARPNESS * ways.start, SHARPNESS * ways.end
    count, states = forward.shape
    steps = [
        [(near, first, step, SHARPNESS * gain) for near, first, step, gain in ways.onward(i)] for i in range(count)
    ]
    for i in range(count):
        for near, first, step, gain in steps[i]:
            sources = np.arange(first, states - step, ways.plucks)
            came = _summed(forward[np.ix_(near, sources)] + gain[:, None])
            forward[i, sources + step] = np.logaddexp(forward[i, sources + step], came)
    for i in range(count - 1, -1, -1):
        for near, first, step, gain in steps[i]:
            sources = np.arange(first, states - step, ways.plucks)
            goes = backward[i, sources + step][None, :] + gain[:, None]
            at = np.ix_(near, sources)
            backward[at] = np.logaddexp(backward[at], goes)
    # Every way ends with exactly one candidate.
    whole = _summed((forward + SHARPNESS * ways.end).reshape(-1, 1))
    chance = np.exp(forward[candidates] + backward[candidates] - whole)
    return chance.reshape(len(candidates), -1, ways.plucks).sum(axis=2)


def _summed(logs: FloatArray) -> FloatArray:
    """Logarithm of the sum down each column."""
    top = np.maximum(logs.max(axis=0), -1e300)
    return np.asarray(top + np.log(np.maximum(np.exp(logs - top).sum(axis=0), 1e-300)))
