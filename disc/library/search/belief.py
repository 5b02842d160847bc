"""How likely it is that the best match is right: a curve fitted on practice discs, half of them with the tune left out.

The signs are the best score, how far it stands above the best tune of another group, and how much melody there is.
"Not in the library" is an answer: the probability is then low.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Signs:
    """score: of the best match. rival: of the best match of another group.

    melody: how many strikes are likely of the melody (their probabilities added up). ranks: pitches unknown. teeth: how
    many different ones are struck.
    """

    score: float
    rival: float
    melody: float
    ranks: bool
    teeth: int = 99


# Logistic weights: constant, score a strike of the melody, logarithm of the score, lead over the rival relative to
# the score, and logarithm of the lead in nats. By all strikes instead of the melody's, of which an accompaniment has
# many, 0.91 of mild discs were accepted where 0.95 are (seed 133).
# Fitted by bench/measure/identify.py --fit (seed 100, 60 discs a level, each with and without its tune); it prints how
# the half not used was judged.
BY_PITCH_WEIGHTS = (2.167, 1.462, -2.863, 15.274, 0.319)
BY_RANK_WEIGHTS = (-4.536, 7.395, -1.349, 1.409, 1.049)


# Below this many teeth a rhythm is all there is, and any tune with that rhythm fits.
FEWEST_TEETH = 4


def features(signs: Signs) -> tuple[float, ...]:
    """The signs as the curve takes them."""
    score = max(signs.score, 1e-3)
    lead = max(score - max(signs.rival, 0.0), 0.0)
    return 1.0, score / max(signs.melody, 1.0), float(np.log(score)), lead / score, float(np.log1p(lead))


def probability(signs: Signs) -> float:
    """Probability, 0 to 1, that the disc plays the best match or a version of it."""
    weights = BY_RANK_WEIGHTS if signs.ranks else BY_PITCH_WEIGHTS
    if signs.teeth < FEWEST_TEETH:
        return 0.0
    total = sum(w * x for w, x in zip(weights, features(signs), strict=True))
    return float(1.0 / (1.0 + np.exp(-total)))
