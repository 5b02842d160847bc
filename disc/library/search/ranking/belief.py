"""How likely it is that the best match is right: curves fitted on practice discs, many of them with the tune left out.

The signs are how much the disc's melody and the print share, how far that stands above the best tune that is no version
of it, and how much melody there is to tell by. "Not in the library" and "too little to tell" are answers: the
probability is then low. belief.json is made by tests/bench/fit/belief_fit.py, which says on what and how it was judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from disc.fitted import fitted_part
from disc.library.records import FloatArray
from disc.library.search.chains.chain import PLAIN

MODEL_FILE = Path(__file__).with_name("belief.json")
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
# Below this many teeth a rhythm is all there is, and any tune with that rhythm fits.
FEWEST_TEETH = 4


@dataclass(frozen=True, slots=True)
class Signs:
    """score, rival: of the best match, and of the best that is no version of it. chain: of the best match, nats.

    notes: of the disc's melody. kind: what was known of the strikes ("pitch", "order" or "notes": pitches without
    times). teeth: how many different ones are struck.
    """

    score: float
    rival: float
    chain: float
    notes: float
    kind: str
    teeth: int = 99


def features(signs: Signs) -> tuple[float, ...]:
    """The signs as the curve takes them."""
    score, notes = max(signs.score, 1e-3), max(signs.notes, 1.0)
    lead = max(score - max(signs.rival, 0.0), 0.0)
    usual = 1.0, signs.chain / notes, float(np.log(score)), lead / score, float(np.log1p(lead)), float(np.log(notes))
    if signs.kind != "notes":
        return usual
    # Of notes in their order all are laid or some are not: how many are not says more than what is laid.
    return *usual, max(notes - 1.0 - signs.chain / PLAIN.same, 0.0)


def probability(signs: Signs) -> float:
    """Probability, 0 to 1, that the disc plays the best match or a version of it."""
    if signs.teeth < FEWEST_TEETH:
        return 0.0
    total = float(weights_of(signs.kind) @ np.array(features(signs)))
    return float(1.0 / (1.0 + np.exp(-np.clip(total, -30.0, 30.0))))


@cache
def weights_of(kind: str) -> FloatArray:
    """The fitted weights of the features."""
    return np.array(fitted_part(MODEL_FILE, kind), dtype=np.float64)
