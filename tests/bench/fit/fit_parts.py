"""Fits how two tunes in one turn are told from one (disc/tune/read/sections/two_tunes.py), into model.json.

    python -m tests.bench.fit.fit_parts [--out FILE]

Turns of one and of two tunes, from the tuning melodies and pieces (works of which none is in the bench), with errors of
15 ms and bends on half of the single ones. Logistic regression with a little ridge; printed: what it gets right on the
quarter left out. The price of a wrong cut is higher than of a missed one, so single turns count twice.
"""

from __future__ import annotations

import argparse

import numpy as np
from scipy.optimize import minimize

from disc.fitted import Made
from disc.tune.read.model import MODEL_FILE
from disc.tune.read.sections.two_tunes import FEATURES, cut_features
from disc.tune.read.time.step_grid import find_grids
from disc.tune.read.time.straighten import candidate_steps_by_part
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.truth.music_pieces import load_tuning_pieces
from tests.bench.truth.music_turns import KINDS, Case, bend, case_of, cases_of_melodies, two_tunes

SINGLE_WEIGHT, RIDGE = 2.0, 0.02


def main() -> None:
    """Fit, print and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_out(parser, MODEL_FILE)
    given = parser.parse_args()
    cases = [case_of(piece, n, seed=200) for n, piece in enumerate(load_tuning_pieces()[::3])]
    cases += cases_of_melodies(80, part="tuning")
    order = np.random.default_rng(9).permutation(len(cases))
    cases = [cases[i] for i in order]
    rows = [single_row(case, number) for number, case in enumerate(cases)]
    rows += [pair_row(one, other, n) for n, (one, other) in enumerate(zip(cases[::2], cases[1::2], strict=False))]
    rows = [row for row in rows if len(row[0])]
    folds = np.arange(len(rows)) % 4
    weights = fit([row for row, fold in zip(rows, folds, strict=True) if fold])
    score = f"a quarter left out: {report([row for row, fold in zip(rows, folds, strict=True) if not fold], weights)}"
    print(score)
    weights = fit(rows)
    print(dict(zip(FEATURES, np.round(weights, 3).tolist(), strict=True)), report(rows, weights))
    part = {
        name: {"mean": 0.0, "spread": 1.0, "weight": float(f"{weight:.5g}")}
        for name, weight in zip(FEATURES, weights, strict=True)
    }
    if given.out:
        data = f"{len(rows)} turns of one and of two tunes of the tuning melodies and pieces"
        write_parts(given.out, {"parts": part}, {"parts": Made("tests.bench.fit.fit_parts", "", 9, data, score)})


Row = tuple[np.ndarray, int | None]  # features of each gap, and the one that is between two tunes


def single_row(case: Case, number: int) -> Row:
    """A turn of one tune, every other one bent."""
    rng = np.random.default_rng([number, 1])
    kind = KINDS[number % 5] if number % 2 else "steady"
    return _features(bend(case, kind, rng)(case.onset_s), case.pitch, rng)[1], None


def pair_row(one: Case, other: Case, number: int) -> Row:
    """A turn of two."""
    rng = np.random.default_rng([number, 2])
    first, second, _ = two_tunes(one, other, rng)
    onset_s, pitch = np.r_[first.onset_s, second.onset_s], np.r_[first.pitch, second.pitch]
    gaps, table = _features(onset_s, pitch, rng)
    last = len(first.onset_s) - 1
    return (table, gaps.index(last)) if last in gaps else (np.zeros((0, len(FEATURES))), None)


def _features(onset_s: np.ndarray, pitch: np.ndarray, rng: np.random.Generator) -> tuple[list[int], np.ndarray]:
    struck = onset_s + rng.normal(0, 0.015, len(onset_s))
    order = np.argsort(struck, kind="stable")
    struck = struck[order]
    steps = candidate_steps_by_part(struck, find_grids(struck))
    return cut_features(struck, pitch[order].astype(float), steps)


def fit(rows: list[Row]) -> np.ndarray:
    """Weights: the odds that there is a cut, at the right gap, against none."""

    def loss(b: np.ndarray) -> float:
        value = RIDGE * float((b[:-1] ** 2).sum())
        for table, true in rows:
            score = np.r_[table @ b, 0.0]
            top = score.max()
            total = top + np.log(np.exp(score - top).sum())
            value += (total - score[-1]) * SINGLE_WEIGHT if true is None else total - score[true]
        return value / len(rows)

    return np.asarray(minimize(loss, np.zeros(len(FEATURES)), method="L-BFGS-B").x)


def report(rows: list[Row], weights: np.ndarray) -> str:
    """Shares right."""
    single: list[bool] = []
    pairs: list[bool] = []
    for table, true in rows:
        odds = table @ weights
        said = int(odds.argmax()) if odds.max() > 0 else None
        (single if true is None else pairs).append(said == true)
    return (
        f"one tune left whole {np.mean(single):.3f} of {len(single)}, two parted {np.mean(pairs):.3f} of {len(pairs)}"
    )


if __name__ == "__main__":
    main()
