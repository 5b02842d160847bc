"""Fits how sure the reader may say it is of metre and key (disc/tune/read/certainty.py), into model.json.

    python -m tests.bench.fit.fit_certainty [--melodies 240] [--pieces 60] [--out FILE]

Turns of the tuning half of the corpus draw, none, 5 or 15 in a hundred of their strikes lost, and of the tuning pieces.
Right: bars as printed (class of the metre, length of the bar, bar lines), and the key's signature. A logistic curve
over the reading's own log-odds, for each; printed: the calibration error as it is and with a curve fitted on the other
four fifths (a melody or a piece is in one fifth only).
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from scipy.optimize import minimize

from disc.fitted import Made
from disc.tune.read.beat import metre
from disc.tune.read.certainty import FURTHEST, Certainty
from disc.tune.read.model import MODEL_FILE
from disc.tune.read.read_tune import read_tune
from tests.bench.fit.fit_tune import fold_of_melody, fold_of_piece, net_without, side_by_side, works_of
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.measure.calibration import ece
from tests.bench.measure.music import lines_right, read_case
from tests.bench.measure.score import bar_scores
from tests.bench.truth.music_pieces import Piece, load_tuning_pieces
from tests.bench.truth.music_turns import case_of
from tests.bench.truth.tune_corpus import Melody, load_melodies
from tests.bench.truth.tune_strikes import make_turn

LOST = (0.0, 0.05, 0.15)
FOLDS = 5
RIDGE = 0.5  # pulls the slope to 1 as half a case would
SUREST = 0.1  # the share of the cases whose own success is the most that is said
SEED = 31
Said = tuple[float, bool]


@contextmanager
def heard_without(fold: int) -> Iterator[None]:
    """The reader with the network that never saw a quarter of the tuning tunes; the shipped one saw all of them."""
    shipped, metre.load_net = metre.load_net, lambda: net_without(fold)  # type: ignore[assignment]
    try:
        yield
    finally:
        metre.load_net = shipped


def said_of_melodies(count: int) -> list[tuple[Said, Said]]:
    """(metre, key) of each melody, as the reader says and whether it is so."""
    melodies = [m for m in load_melodies(count=1000) if m.part == "tuning"]
    picked = np.random.default_rng(SEED).permutation(len(melodies))[:count].tolist()
    return side_by_side(_said_of_melody, [(number, melodies[number]) for number in picked])


def _said_of_melody(number: int, melody: Melody) -> tuple[Said, Said]:
    turn = make_turn(melody, np.random.default_rng([SEED, number]), LOST[number % len(LOST)])
    with heard_without(fold_of_melody(number)):
        reading = read_tune(turn.strikes, turn.plate)
    key_right = reading.tune.key.fifths % 12 == turn.fifths % 12
    return (reading.metre_share, bar_scores(turn, reading.tune)["bar"]), (reading.key_share, key_right)


def said_of_pieces(count: int) -> list[tuple[Said, Said]]:
    """The same of the tuning pieces."""
    pieces = load_tuning_pieces()
    works = works_of(pieces)
    picked = np.random.default_rng(SEED).permutation(len(pieces))[:count].tolist()
    return side_by_side(
        _said_of_piece, [(number, pieces[number], fold_of_piece(pieces[number], works)) for number in picked]
    )


def _said_of_piece(number: int, piece: Piece, fold: int) -> tuple[Said, Said]:
    case = case_of(piece, number, seed=SEED)
    with heard_without(fold):
        reading, bent, _ = read_case(case, "steady", SEED + number)
    bar_s = float(reading.tune.metre.bar_quarter) * reading.tune.quarter_s
    right = lines_right(case, reading, bent) and abs(bar_s / case.bar_s - 1.0) < 0.01
    return (reading.metre_share, right), (reading.key_share, reading.tune.key.fifths % 12 == case.fifths % 12)


def fit(said: list[Said]) -> Certainty:
    """The logistic curve of most likelihood, and the success of the surest cases."""
    p = np.clip([one[0] for one in said], FURTHEST, 1.0 - FURTHEST)
    x, so = np.log(p / (1.0 - p)), np.array([one[1] for one in said], float)

    def loss(w: np.ndarray) -> float:
        logit = w[0] * x + w[1]
        return float(np.sum(np.logaddexp(0.0, logit) - so * logit) + RIDGE * (w[0] - 1.0) ** 2)

    slope, constant = minimize(loss, np.array([1.0, 0.0])).x
    surest = so[np.argsort(-x)[: max(10, round(SUREST * len(said)))]]
    highest = (surest.sum() + 1.0) / (len(surest) + 2.0)  # Laplace's rule: all right of ten is not always right
    return Certainty(float(f"{slope:.5g}"), float(f"{constant:.5g}"), float(f"{highest:.5g}"))


def left_out(said: list[Said]) -> float:
    """Calibration error where the curve was fitted on the other folds."""
    fold = np.random.default_rng(SEED).integers(0, FOLDS, len(said))
    told = []
    for k in range(FOLDS):
        curve = fit([one for one, f in zip(said, fold, strict=True) if f != k])
        told += [(curve.of(one[0]), one[1]) for one, f in zip(said, fold, strict=True) if f == k]
    return ece(told)


def main() -> None:
    """Fit, print and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--melodies", type=int, default=240)
    parser.add_argument("--pieces", type=int, default=60)
    add_out(parser, MODEL_FILE)
    given = parser.parse_args()
    rows = said_of_melodies(given.melodies) + said_of_pieces(given.pieces)
    part, scores = {}, []
    for k, name in enumerate(("metre", "key")):
        said = [row[k] for row in rows]
        curve = fit(said)
        part[name] = {"slope": curve.slope, "constant": curve.constant, "highest": curve.highest}
        scores.append(f"{name}: calibration error {ece(said):.3f} as it is, {left_out(said):.3f} left out")
    print(part, *scores, sep="\n")
    if given.out:
        data = f"{given.melodies} turns of tuning melodies and {given.pieces} of tuning pieces"
        arguments = f"--melodies {given.melodies} --pieces {given.pieces}"
        made = Made("tests.bench.fit.fit_certainty", arguments, SEED, data, "; ".join(scores))
        write_parts(given.out, {"certainty": part}, {"certainty": made})


if __name__ == "__main__":
    main()
