"""The fitted numbers of this room, kept in fitted.json with how they were made: logistic regressions by feature."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from disc.fitted import fitted_part
from disc.listen.sound.audio import FloatArray

FITTED_FILE = Path(__file__).parent / "fitted.json"


@dataclass(frozen=True, slots=True)
class Logistic:
    """A fitted logistic regression. weights: by name of the feature, in nats a unit."""

    weights: dict[str, float]
    offset: float

    def log_odds(self, features: dict[str, FloatArray]) -> FloatArray:
        """Log-odds, shape (n,). features: by name, shape (n,) each; every weight's feature must be there."""
        total = sum((w * features[name] for name, w in self.weights.items()), start=np.zeros(1))
        return np.asarray(total + self.offset)


@cache
def fitted(name: str) -> Logistic:
    """One of the regressions: "silent, first", "silent, second", "extra, first", "extra", "beginning"."""
    content = fitted_part(FITTED_FILE, name)
    return Logistic(content["weights"], content["offset"])
