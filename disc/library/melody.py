"""How likely each strike of a disc belongs to the melody: the higher among its neighbours, the likelier."""

from __future__ import annotations

import numpy as np

from disc.library.records import FloatArray

# Logistic weights for the shares of higher strikes within 0.3, 0.8 and 2 s and in the whole turn, a higher strike at
# the same time, a lower one at the same time, and the constant. Fitted on 600 practice discs (58,090 strikes, medium
# damage, seed 1): 89 % of strikes judged rightly; scores of a single share alone 83 to 84 %.
REACHES_S = (0.3, 0.8, 2.0, 1e9)
WEIGHTS = (-0.13, -1.30, -1.42, -3.11, -4.50, 0.60)
CONSTANT = 3.72
TOGETHER_S = 0.06


def melody_probability(onset_s: FloatArray, pitch: FloatArray) -> FloatArray:
    """Probability of each strike, shape (n,), to be of the melody. pitch may be a rank: only its order counts."""
    apart = np.abs(onset_s[:, None] - onset_s[None])
    higher, lower = pitch[None] > pitch[:, None], pitch[None] < pitch[:, None]
    total = np.full(onset_s.size, CONSTANT)
    for reach, weight in zip(REACHES_S, WEIGHTS, strict=False):
        near = apart < reach
        total += weight * ((near & higher).sum(1) + 0.5) / ((near & (higher | lower)).sum(1) + 1.0)
    together = apart < TOGETHER_S
    total += WEIGHTS[4] * (together & higher).any(1) + WEIGHTS[5] * (together & lower).any(1)
    return np.asarray(1.0 / (1.0 + np.exp(-total)))
