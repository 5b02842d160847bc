"""Fits how sure the reader may say it is of metre and key (disc/tune/read/certainty.py), into model.json.

    python -m tests.bench.fit.fit_certainty [--melodies 480] [--pieces 600] [--only key] [--out FILE]

Turns of the tuning half of the corpus draw, none, 5 or 15 in a hundred of their strikes lost; and of the tuning pieces,
several of a piece in other inner voices and tempi, read by weights that were fitted without the piece's quarter of the
works (fit_tune.py --folds). Each kind has a curve of its own. Right: bars as printed (class of the metre, length
of the bar, bar lines), and the key's signature. A logistic curve over the reading's own log-odds, for each, and for the
key one over what lies off its scale; printed: the calibration error as it is and with a curve fitted on the other parts
(a fifth of the melodies, a quarter of the works).
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from disc.fitted import Made, fitted_part
from disc.tune.read import read_tune as read_tune_module
from disc.tune.read.beat import metre
from disc.tune.read.certainty import FURTHEST, Certainty
from disc.tune.read.model import MODEL_FILE, Model, load_model
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
KNOWN_OFF = ("key",)  # what is less sure the more lies off the scale; of pieces the curve alone is true
KEEPS_SCALE = 0.03  # plain melodies have so little off it, arranged pieces more
INNER = (0.4, 0.2, 0.7)  # shares of a piece's inner voices that are on the disc, in turn
METRE_FOLDS = Path(__file__).with_name("metre_folds.json")  # the metre's weights without each quarter of the works
# What the reading gives, the share off the scale, whether it is so, and the part that is left out as a whole.
Said = tuple[float, float, bool, int]


@contextmanager
def heard_without(fold: int, metre_too: bool = False) -> Iterator[None]:
    """The reader with the network that never saw a quarter of the tuning tunes; the shipped one saw all of them.

    metre_too: with the metre's weights that never saw a quarter of the tuning works, either.
    """
    shipped, metre.load_net = metre.load_net, lambda: net_without(fold)  # type: ignore[assignment]
    model, read_tune_module.load_model = read_tune_module.load_model, lambda: model_without(fold, metre_too)  # type: ignore[assignment]
    try:
        yield
    finally:
        metre.load_net, read_tune_module.load_model = shipped, model


@cache
def model_without(fold: int, metre_too: bool) -> Model:
    """The shipped model; metre_too: with the metre's weights fitted without a quarter of the works."""
    model = load_model()
    if not metre_too:
        return model
    weight = json.loads(METRE_FOLDS.read_text(encoding="utf-8"))[fold]
    return replace(model, metre=replace(model.metre, weight=np.array([weight[name] for name in model.metre.names])))


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
    fold = number % FOLDS
    bar_right = bar_scores(turn, reading.tune)["bar"]
    return (reading.metre_share, 0.0, bar_right, fold), (reading.key_share, reading.off_share, key_right, fold)


def said_of_pieces(count: int) -> list[tuple[Said, Said | None]]:
    """The same of turns of the tuning pieces: each piece as often as it takes to make so many. Where the signature at
    the movement's head is not the excerpt's own (key_is_known), nothing of its key.
    """
    pieces = load_tuning_pieces()
    works = works_of(pieces)
    order = np.random.default_rng(SEED).permutation(len(pieces)).tolist()
    turns = [(number, pieces[number], variant) for variant in range(-(-count // len(pieces))) for number in order]
    return side_by_side(
        _said_of_piece,
        [(number, piece, fold_of_piece(piece, works), variant) for number, piece, variant in turns[:count]],
    )


def _said_of_piece(number: int, piece: Piece, fold: int, variant: int) -> tuple[Said, Said | None]:
    case = case_of(piece, number, seed=SEED + variant, inner=INNER[variant % len(INNER)])
    with heard_without(fold, metre_too=True):
        reading, bent, _ = read_case(case, "steady", SEED + number + 1000 * variant)
    bar_s = float(reading.tune.metre.bar_quarter) * reading.tune.quarter_s
    right = lines_right(case, reading, bent) and abs(bar_s / case.bar_s - 1.0) < 0.01
    key_right = reading.tune.key.fifths % 12 == case.fifths % 12
    key = (reading.key_share, reading.off_share, key_right, fold) if case.key_known else None
    return (reading.metre_share, 0.0, right, fold), key


def fit(said: list[Said], by_scale: bool = False) -> Certainty:
    """The logistic curve of most likelihood, and the success of the surest cases.

    by_scale: the curve is that of the cases that keep to their scale, a second one over what lies off it that of all.
    """
    kept = [one for one in said if one[1] < KEEPS_SCALE] if by_scale else said
    p = np.clip([one[0] for one in kept], FURTHEST, 1.0 - FURTHEST)
    slope, constant = _curve(np.log(p / (1.0 - p)), [one[2] for one in kept], RIDGE, 0.0)  # never less sure for more
    off, on = _curve(np.sqrt([one[1] for one in said]), [one[2] for one in said], 0.0)
    curve = Certainty(slope, constant, 1.0, on, off) if by_scale else Certainty(slope, constant, 1.0)
    order = np.argsort([-curve.of(one[0], one[1]) for one in said], kind="stable")
    surest = np.array([one[2] for one in said], float)[order[: max(10, round(SUREST * len(said)))]]
    # Laplace's rule: all right of ten is not always right.
    return replace(curve, highest=float(f"{(surest.sum() + 1.0) / (len(surest) + 2.0):.5g}"))


def _curve(x: np.ndarray, right: list[bool], ridge: float, least: float | None = None) -> tuple[float, float]:
    so = np.array(right, float)

    def loss(w: np.ndarray) -> float:
        logit = w[0] * x + w[1]
        return float(np.sum(np.logaddexp(0.0, logit) - so * logit) + ridge * (w[0] - 1.0) ** 2)

    slope, constant = minimize(loss, np.array([1.0, 0.0]), bounds=[(least, None), (None, None)]).x
    return float(f"{slope:.5g}"), float(f"{constant:.5g}")


def left_out(said: list[Said], by_scale: bool) -> float:
    """Calibration error where the curve was fitted on the other folds."""
    told = []
    for k in sorted({one[3] for one in said}):
        curve = fit([one for one in said if one[3] != k], by_scale)
        told += [(curve.of(one[0], one[1]), one[2]) for one in said if one[3] == k]
    return ece(told)


def main() -> None:
    """Fit, print and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--melodies", type=int, default=480)
    parser.add_argument("--pieces", type=int, default=600)
    parser.add_argument("--only", choices=("", "metre", "key"), default="", help="the other's curves stay")
    add_out(parser, MODEL_FILE)
    given = parser.parse_args()
    part, scores = dict(fitted_part(MODEL_FILE, "certainty")), []
    for kind, rows in (("", said_of_melodies(given.melodies)), (" of pieces", said_of_pieces(given.pieces))):
        for k, name in enumerate(("metre", "key")):
            said = [one for row in rows if (one := row[k]) is not None]
            by_scale = name + kind in KNOWN_OFF
            if given.only in ("", name) and said:
                part[name + kind] = asdict(fit(said, by_scale))
                told, right = [(one[0], one[2]) for one in said], np.mean([one[2] for one in said])
                before, after = ece(told), left_out(said, by_scale)
                scores.append(f"{name}{kind}: right {right:.3f}, calibration error {before:.3f}, left out {after:.3f}")
                print(scores[-1], part[name + kind], flush=True)
    if given.out:
        data = f"{given.melodies} turns of tuning melodies and {given.pieces} of tuning pieces"
        arguments = f"--melodies {given.melodies} --pieces {given.pieces}" + (
            f" --only {given.only}" * bool(given.only)
        )
        made = Made("tests.bench.fit.fit_certainty", arguments, SEED, data, "; ".join(scores))
        write_parts(given.out, {"certainty": part}, {"certainty": made})


if __name__ == "__main__":
    main()
