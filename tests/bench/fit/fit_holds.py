"""Fits what a held note must show (disc/tune/read/time/hold_odds.py), into model.json:

    python -m tests.bench.fit.fit_holds gather ROWS [--melodies 400 --first 0]
    python -m tests.bench.fit.fit_holds fit ROWS ... [--out FILE]

gather: tuning melodies as turns, steady and bent in every way of music_turns.py; of each, what the likeliest holds
show and what is gained without any. The bar lines' network is the one that never saw the melody. fit: the odds of
the true hold against the others and none (a conditional logit), whole collections left out by turns; what no hold gains
keeps its nats.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
from scipy.optimize import minimize

from disc.fitted import Made
from disc.tune.read.beat import metre
from disc.tune.read.find_figures import find_figures
from disc.tune.read.find_pace import steady_or_drifting, weighed_turn
from disc.tune.read.model import MODEL_FILE, load_model
from disc.tune.read.time import holds
from disc.tune.read.time.hold_odds import FEATURES
from disc.tune.read.time.straighten import STEADY, Hold
from disc.tune.settings import TuneSettings
from tests.bench.fit.fit_tune import fold_of_melody, net_without
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.measure.music import strikes_of
from tests.bench.truth.known import known
from tests.bench.truth.music_turns import KINDS, Case, bend, case_of_melody
from tests.bench.truth.tune_corpus import Melody, load_melodies

RIDGE = 1e-5
BEGIN = np.array([1.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, -9.0])  # grid and metre count as they are, for a price
NEAR_S, EXTRA_S = 0.08, 0.04  # how near a hold is to the true one, and how near its length


def true_hold(case: Case, kind: str, seed: int) -> tuple[float, float, float] | None:
    """(from, to, how much longer than written) of the turn that read_case makes, s; None if nothing is held."""
    if kind != "fermata":
        return None
    bent = bend(case, kind, np.random.default_rng([seed, KINDS.index(kind), len(case.onset_s)]))
    moments = np.unique(np.round(case.onset_s, 6))
    late = bent(moments) - moments
    at = int(np.argmax(np.diff(late)))
    return float(moments[at] + late[at]), float(moments[at + 1] + late[at + 1]), float(late[-1])


def rows_of(melody: Melody, number: int) -> list[dict[str, Any]]:
    """One row a kind of bending: the likeliest holds with their features, and what no hold gains."""
    case = case_of_melody(melody, np.random.default_rng([12, number]))
    model, rows = load_model(), []
    with patch.object(metre, "load_net", lambda: net_without(fold_of_melody(number))):
        for kind in KINDS:
            heard = strikes_of(case, kind, 5 + number)[0]
            onset_s = np.array([s.onset_s for s in heard])
            pitch = np.array([float(known(s.pitch, "a strike's pitch")) for s in heard])
            figures = find_figures(onset_s, pitch, model, None)
            turn = weighed_turn(onset_s, pitch, figures, model, TuneSettings())
            before = turn.worth(STEADY)
            tried = holds.try_places(turn, turn.onset_s, holds.places_of(turn, turn.onset_s), before)
            none = max([0.0, *(turn.worth(pace) - before for pace in steady_or_drifting(turn) if not pace.is_steady)])
            truth = true_hold(case, kind, 5 + number)
            right = [truth is not None and is_true(one.hold, truth) for one in tried]
            row = {"group": melody.collection, "kind": kind, "none": none, "right": right}
            rows.append(row | {"holds": [one.features for one in tried]})
    return rows


def is_true(hold: Hold, truth: tuple[float, float, float]) -> bool:
    """Whether it is the gap that was held, and its length is right."""
    near = abs(hold.from_s - truth[0]) < NEAR_S and abs(hold.to_s - truth[1]) < NEAR_S
    return near and abs(hold.extra_s - truth[2]) < EXTRA_S


def gather(file: Path, count: int, first: int = 0) -> None:
    """Rows of so many tuning melodies, into a file."""
    melodies = [m for m in load_melodies(count=1000) if m.part == "tuning"]
    chosen = [(melodies[number], number) for number in range(first, min(first + count, len(melodies)))]
    with multiprocessing.Pool(os.cpu_count()) as pool:
        rows = [row for rows in pool.starmap(rows_of, chosen, chunksize=1) for row in rows]
    file.write_text(json.dumps(rows), encoding="utf-8")


def fit(rows: Sequence[dict[str, Any]]) -> np.ndarray:
    """Weights of FEATURES, in nats of what no hold gains; the grid's own keeps its nats."""
    # a turn whose held note is not among the places tried tells nothing of how to choose
    able = [row for row in rows if row["kind"] != "fermata" or any(row["right"])]
    none = np.zeros((1, len(FEATURES)))
    table = np.vstack([np.vstack([np.array(row["holds"], float).reshape(-1, len(FEATURES)), none]) for row in able])
    sizes = np.array([len(row["holds"]) + 1 for row in able])
    start = np.r_[0, np.cumsum(sizes)[:-1]]
    fixed = table @ np.r_[1.0, np.zeros(len(FEATURES) - 1)]
    fixed[start + sizes - 1] = [row["none"] for row in able]
    right = np.concatenate([np.r_[row["right"], row["kind"] != "fermata"] for row in able]).astype(bool)

    def loss(b: np.ndarray) -> tuple[float, np.ndarray]:
        score = fixed + table[:, 1:] @ b[:-1]
        scaled = score * np.exp(b[-1])
        lift = np.exp(scaled - np.repeat(np.maximum.reduceat(scaled, start), sizes))
        total, good = np.add.reduceat(lift, start), np.add.reduceat(lift * right, start) + 1e-300
        slope = lift / np.repeat(total, sizes) - lift * right / np.repeat(good, sizes)
        ridge = RIDGE * np.r_[b[:-2], 0.0, 0.0]  # neither the constant nor the scale
        value = float((np.log(total) - np.log(good)).sum()) / len(able) + float(ridge @ b)
        gradient = np.r_[table[:, 1:].T @ slope * np.exp(b[-1]), slope @ scaled] / len(able)
        return value, gradient + 2.0 * ridge

    found = minimize(loss, np.r_[BEGIN[1:], 0.0], jac=True, method="L-BFGS-B", options={"maxiter": 500}).x
    return np.r_[1.0, found[:-1]]


def right_by_kind(rows: Sequence[dict[str, Any]], weights: np.ndarray) -> dict[str, list[bool]]:
    """Whether the true hold, or none, is chosen, by kind of bending."""
    made: dict[str, list[bool]] = {kind: [] for kind in KINDS}
    for row in rows:
        score = np.r_[np.array(row["holds"], float).reshape(-1, len(FEATURES)) @ weights, row["none"]]
        chosen = int(score.argmax())
        made[row["kind"]].append(row["right"][chosen] if chosen < len(row["right"]) else row["kind"] != "fermata")
    return made


def judge(rows: Sequence[dict[str, Any]]) -> str:
    """Shares right with each collection left out by turns, and by the weights the fit begins with."""
    groups = sorted({row["group"] for row in rows})
    made: dict[str, list[bool]] = {kind: [] for kind in KINDS}
    for group in groups:
        weights = fit([row for row in rows if row["group"] != group])
        for kind, right in right_by_kind([row for row in rows if row["group"] == group], weights).items():
            made[kind] += right
    shares = ", ".join(f"{kind} {np.mean(right):.3f}" for kind, right in made.items())
    plain = ", ".join(f"{kind} {np.mean(right):.3f}" for kind, right in right_by_kind(rows, BEGIN).items())
    print(f"with {dict(zip(FEATURES, BEGIN.tolist(), strict=True))}: {plain}")
    return f"the true hold or none chosen, collections left out by turns: {shares}"


def main() -> None:
    """Gather or fit."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("gather", "fit"))
    parser.add_argument("rows", nargs="+", type=Path)
    parser.add_argument("--melodies", type=int, default=400)
    parser.add_argument("--first", type=int, default=0)
    add_out(parser, MODEL_FILE)
    given = parser.parse_args()
    if given.what == "gather":
        gather(given.rows[0], given.melodies, given.first)
        return
    rows = [row for file in given.rows for row in json.loads(file.read_text(encoding="utf-8"))]
    score = judge(rows)
    weights = fit(rows)
    print(score, dict(zip(FEATURES, np.round(weights, 3).tolist(), strict=True)), sep="\n")
    if given.out:
        part = {
            n: {"mean": 0.0, "spread": 1.0, "weight": float(f"{w:.5g}")} for n, w in zip(FEATURES, weights, strict=True)
        }
        data = f"{len(rows)} turns of tuning melodies, steady and bent"
        made = Made("tests.bench.fit.fit_holds", "fit ROWS", None, data, score, "ROWS: see gather")
        write_parts(given.out, {"holds": part}, {"holds": made})


if __name__ == "__main__":
    main()
