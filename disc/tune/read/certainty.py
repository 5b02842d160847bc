"""How sure the reader may say it is of metre and key.

The readings' own probabilities come from weights that were fitted to find the right reading, not to say how often it is
right. They are put straight by a logistic curve fitted on turns with errors and lost strikes that the weights were not
chosen by (Platt, "Probabilistic outputs for support vector machines", 1999); nothing surer is said than was found true
of the surest cases tried. Plain tunes and pieces with parts of their own each have a curve, mixed as their
weights are. Of the key it is less sure the more of what sounds lies off its scale: arranged pieces leave their key for
a while, and which one is printed at their head is then a guess.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

# Probabilities nearer to 0 and 1 are taken as so far from them: their logarithm is still a number (chosen).
FURTHEST = 1e-6


@dataclass(frozen=True, slots=True)
class Certainty:
    """slope, constant: of the logistic curve over the logit of what a reading gives. highest: the most that is said.

    on_scale, off_scale: log-odds where all strikes lie on the scale of the key, and for the square root of the share
    that does not; of these and the curve the less sure one is said. None: not asked.
    """

    slope: float
    constant: float
    highest: float
    on_scale: float | None = None
    off_scale: float = 0.0

    def of(self, probability: float, off_share: float = 0.0) -> float:
        """How often a best reading of this probability is right. off_share: of the strikes, off the key's scale."""
        inside = min(1.0 - FURTHEST, max(FURTHEST, probability))
        logit = self.constant + self.slope * math.log(inside / (1.0 - inside))
        if self.on_scale is not None:
            logit = min(logit, self.on_scale + self.off_scale * math.sqrt(off_share))
        return min(self.highest, 1.0 / (1.0 + math.exp(-logit)))


@dataclass(frozen=True, slots=True)
class MixedCertainty:
    """A curve for plain tunes and one for pieces, and how much of a piece a turn is, 0 to 1."""

    plain: Certainty
    piece: Certainty
    share: float

    def of(self, probability: float, off_share: float = 0.0) -> float:
        """As Certainty.of."""
        plain, piece = self.plain.of(probability, off_share), self.piece.of(probability, off_share)
        return (1.0 - self.share) * plain + self.share * piece


def straightened(
    probabilities: Sequence[float], certainty: Certainty | MixedCertainty, off_share: float = 0.0
) -> list[float]:
    """Probabilities of readings, best first: the best one's put straight, the others sharing what is left as before."""
    if not probabilities:
        return []
    best = certainty.of(probabilities[0], off_share)
    left = 1.0 - probabilities[0]
    share = (1.0 - best) / left if left > 0 else 0.0
    return [best, *(share * other for other in probabilities[1:])]
