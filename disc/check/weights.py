"""What observations are worth: log-likelihood ratios by a logistic fit, kept in weights.json with how they were made.

Two tables: "hole" (an empty hole: missing against abandoned) and "gap" (a place without a hole: a pin gone against a
varied repeat). A value x is worth coefficient * (x - neutral) nats; prior is the probability where all are neutral.
Fitted by tests/bench/fit/check_fit.py on invented discs; the benchmark uses others.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from disc.fitted import fitted_part

WEIGHTS_FILE = Path(__file__).parent / "weights.json"


@dataclass(frozen=True, slots=True)
class Weights:
    """One fitted table, by name of the observation. prior_log_odds: ln odds where every observation is neutral."""

    prior_log_odds: float
    coefficient: dict[str, float]
    neutral: dict[str, float]

    def worth(self, name: str, value: float) -> float:
        """The log-likelihood ratio of one observation, nats."""
        return self.coefficient[name] * (value - self.neutral[name])


@cache
def load_weights(table: str) -> Weights:
    """The fitted table "hole" or "gap"."""
    content = fitted_part(WEIGHTS_FILE, table)
    return Weights(content["prior_log_odds"], content["coefficient"], content["neutral"])
