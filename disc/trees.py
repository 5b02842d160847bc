"""Fitted trees that add up to log-odds, read from a fitted file (disc/fitted.py) and asked without scikit-learn.

Each tree stands as lists by node: what is asked (`feature` is at most `at`?), where to go on (`left`: yes, `right`:
no), whether it ends here (`leaf`) and what it then adds (`value`). Children come after their parents.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from disc.fitted import fitted_part
from disc.frame import FloatArray


@dataclass(frozen=True, slots=True)
class Trees:
    """base: log-odds before any tree. trees: by node, as the file has them."""

    base: float
    trees: tuple[dict[str, Any], ...]

    def odds(self, rows: FloatArray) -> FloatArray:
        """Log-odds of rows (n, features), (n,): the rows of a node go on together."""
        total = np.full(len(rows), self.base)
        features = np.ascontiguousarray(np.transpose(rows))
        for tree in self.trees:
            at = {0: np.arange(len(rows))}
            asked, bound, left, right, value = (tree[name] for name in ("feature", "at", "left", "right", "value"))
            for node, leaf in enumerate(tree["leaf"]):
                mine = at.pop(node)
                if leaf:
                    total[mine] += value[node]
                    continue
                low = features[asked[node]].take(mine) <= bound[node]
                at[left[node]], at[right[node]] = mine[low], mine[~low]
        return total

    def odds_of_one(self, row: Sequence[float]) -> float:
        """Log-odds of a single row: much quicker than many rows' way."""
        total = self.base
        for tree in self.trees:
            node = 0
            while not tree["leaf"][node]:
                low = row[tree["feature"][node]] <= tree["at"][node]
                node = tree["left"][node] if low else tree["right"][node]
            total += tree["value"][node]
        return total


@cache
def fitted_trees(file: Path, part: str) -> Trees:
    """The trees of one part of a fitted file."""
    fitted = fitted_part(file, part)
    return Trees(float(fitted["base"]), tuple(fitted["trees"]))
