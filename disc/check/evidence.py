"""Evidence of different kinds put together: log-likelihood ratios add up, and a probability comes out.

A weight is ln( P(what was observed | it is so) / P(what was observed | it is not so) ), in nats. Evidence of different
kinds is taken as independent, which is a simplification; each single weight is therefore limited, so that no one
observation can outvote everything else.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from disc.records import Evidence

SEEN, HEARD, KNOWN, MECHANICAL = "seen", "heard", "known", "mechanical"
EVIDENCE_KINDS = (SEEN, HEARD, KNOWN, MECHANICAL)

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# No single observation counts for more than about 3000 to 1: a wrong model of it should not make certainty.
LARGEST_WEIGHT = 8.0


def limited(weight: float) -> float:
    """A weight within +-LARGEST_WEIGHT."""
    return max(-LARGEST_WEIGHT, min(LARGEST_WEIGHT, weight))


def log_odds(probability: float) -> float:
    """ln(p / (1 - p)); p is kept away from 0 and 1."""
    p = min(max(probability, 1e-12), 1.0 - 1e-12)
    return math.log(p) - math.log1p(-p)


def probability_of(odds: float) -> float:
    """The inverse of log_odds."""
    if odds >= 0:
        return 1.0 / (1.0 + math.exp(-odds))
    grown = math.exp(odds)
    return grown / (1.0 + grown)


def combine(prior: float, evidence: Iterable[Evidence]) -> float:
    """Probability after all the evidence. prior: probability before any of it, 0 < prior < 1."""
    return probability_of(log_odds(prior) + sum(limited(item.weight) for item in evidence))


def without_music(probability: float, evidence: Iterable[Evidence]) -> float:
    """A probability without what the music or a known tune adds to it; what they take from it stays taken."""
    for_it = sum(max(limited(item.weight), 0.0) for item in evidence if item.kind in (HEARD, KNOWN))
    return probability_of(log_odds(probability) - for_it) if for_it else probability


def normal_log_density(x: float, sigma: float) -> float:
    """ln of the normal density with mean 0 at x, in 1 / unit of x."""
    return -0.5 * (x / sigma) ** 2 - math.log(sigma * math.sqrt(2.0 * math.pi))
