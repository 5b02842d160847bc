"""How likely a tooth buzzes: noise, harmonics, noise in step with its tone, and a ring cut short, weighed together.

A tooth that touches its damper, or is cracked, loses its energy sooner and sounds once in each of its periods as it
touches. None of the four signs is sure: sampled strings have harmonics of their own, ticks leave noise, teeth ring
unalike. How far each sign strays among the clean teeth of one recording is read from that recording.
"""

from __future__ import annotations

import numpy as np

from disc.listen.audio import FloatArray

# Least spreads of the signs among a recording's teeth: dB, dB, dB, natural logarithm of the ring time.
LEAST_SPREADS = np.array([1.5, 1.5, 1.5, 0.05])
LOWEST, HIGHEST = np.array([0.0, 0.0, 0.0, -2.0]), np.array([8.0, 8.0, 8.0, 6.0])
# Logistic regression of "buzzing" on the four signs in spreads, with a ridge of 0.3, over 163 buzzing and 1,683 other
# teeth of 77 combs (the benchmark's tuning half). Each tenth of the combs judged by a fit to the rest: 140 or 141 of
# the 163 are over LIKELY, and 12 or 13 of the others.
WEIGHTS = np.array([0.405, 0.853, 0.659, 1.152])
OFFSET = -5.953
LIKELY = 0.4


def buzz_probability(excess: FloatArray) -> FloatArray:
    """Probability that each tooth buzzes, shape (teeth,). excess: shape (teeth, 4), from buzz_excess()."""
    middle = np.median(excess, axis=0)
    spread = np.maximum(1.4826 * np.median(np.abs(excess - middle), axis=0), LEAST_SPREADS)
    signs = np.clip((excess - middle) / spread, LOWEST, HIGHEST)
    return np.asarray(1.0 / (1.0 + np.exp(-(signs @ WEIGHTS + OFFSET))))
