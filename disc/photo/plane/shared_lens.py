"""What photos of one disc have in common: the lens, and how high the pins stand. Each helps the others.

A pinhole's perspective follows from tilt and focal length, a pin's drawn length from tilt and height; one photo alone
tells focal length and height badly along the tilt, and with them the disc's centre. Two photos tell them better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.frame import FloatArray

# Two photos of one disc, taken one after the other, differ in focal length by refocusing, in the pins' height by how
# the two faces were pinned (common practice, no source).
FOCAL_APART, HEIGHT_APART_MM = 0.04, 0.02
FARTHEST_APART = 11.8  # chi square of two numbers at 3 sigma, exact: what lies farther apart was taken otherwise


@dataclass(frozen=True, slots=True)
class Shared:
    """What photos of one disc have in common, as one of them tells it without the others and without what is expected
    of any: value (2,): log of the lens's focal length in picture widths, pins' height in mm; weight (2, 2): the inverse
    of their covariance.
    """

    value: FloatArray
    weight: FloatArray


def of_others(mine: Shared, others: Sequence[Shared]) -> Shared | None:
    """What the other photos tell together, as far as it holds for this one; None where nothing fits."""
    apart = np.diag([FOCAL_APART**2, HEIGHT_APART_MM**2])
    weight, pull = np.zeros((2, 2)), np.zeros(2)
    for other in others:
        cov = np.linalg.inv(other.weight) + apart
        off = other.value - mine.value
        if off @ np.linalg.inv(cov + np.linalg.inv(mine.weight)) @ off > FARTHEST_APART:
            continue
        weight, pull = weight + np.linalg.inv(cov), pull + np.linalg.inv(cov) @ other.value
    return Shared(np.asarray(np.linalg.solve(weight, pull)), weight) if weight[0, 0] > 0 else None
