"""Fitted trees: what they say is what scikit-learn, which grew them, says of the same rows."""

import json

import numpy as np
import pytest
from sklearn.ensemble import HistGradientBoostingClassifier

from disc.trees import fitted_trees
from tests.bench.fit.fitted_file import stored_trees


def test_stored_trees_say_what_the_model_says(tmp_path):
    rng = np.random.default_rng(4)
    rows = rng.normal(size=(400, 3))
    model = HistGradientBoostingClassifier(max_iter=12, max_leaf_nodes=6, min_samples_leaf=20)
    model.fit(rows, rows[:, 0] * rows[:, 1] + rows[:, 2] > 0)
    path = tmp_path / "fitted.json"
    path.write_text(json.dumps({"made": {}, "part": stored_trees(model)}), encoding="utf-8")
    trees = fitted_trees(path, "part")
    # Thresholds are stored with five digits and some stand on rows that were fitted to: others are asked.
    others = rng.normal(size=(200, 3))
    assert trees.odds(others) == pytest.approx(model.decision_function(others), abs=1e-3)
    assert [trees.odds_of_one(row) for row in others.tolist()] == pytest.approx(trees.odds(others).tolist())
