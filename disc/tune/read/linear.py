"""A weighted sum of named features, so that a choice can be explained by the features that made it."""

from __future__ import annotations

from dataclasses import dataclass

from disc.frame import FloatArray


@dataclass(frozen=True, slots=True)
class LinearModel:
    """Weights of named features, after taking off the mean and dividing by the spread. Shape (f,) each."""

    names: tuple[str, ...]
    mean: FloatArray
    spread: FloatArray
    weight: FloatArray

    def shares(self, table: FloatArray) -> FloatArray:
        """What each feature adds to the score, shape of table (..., f)."""
        return (table - self.mean) / self.spread * self.weight
