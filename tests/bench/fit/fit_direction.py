"""What the signs of direction.py are worth on a disc (disc/turn/fit/forwards.json, part "ways").

    python -m tests.bench.fit.fit_direction gather ROWS [--discs 80] [--draw 101] [--leave-out FOLDER]
    python -m tests.bench.fit.fit_direction fit ROWS [--out shipped]
    python -m tests.bench.fit.fit_direction judge ROWS

gather: invented discs (accompanied, damaged, read with errors) of the printed tunes of one quarter of the titles, read
both ways; their steps are judged by weights fitted to the other three quarters (fit_forwards.py). A row is the
difference of the two ways in each of SIGNS. fit: logistic regression without a constant; printed with a fifth of the
discs left out. judge: by the shipped weights. ROWS is kept after every tenth disc and gone on with.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from sklearn.linear_model import LogisticRegression

from disc.comb.pin_spread import give_teeth
from disc.comb.strikes import strikes_from_pins
from disc.errors import BadInput
from disc.fitted import Made
from disc.tune.read.read_tune import TuneReading, read_tune
from disc.tune.read.read_turn import read_turn
from disc.turn.fit import direction, forwards
from disc.turn.fit.melodies import FEWEST_NOTES
from tests.bench.fit.fit_forwards import fit as fit_steps
from tests.bench.fit.fit_forwards import fold_of, lead_of, letters, line_of, matrix, titles_of
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.truth.check_discs import COLLECTIONS, Simulated, corpus_tunes, simulate
from tests.bench.truth.music_pieces import load_tuning_pieces

LEFT_OUT = 0  # the quarter of the titles of which discs are made
FIFTHS = 5


def steps_without(fold: int, unknown: set[str]) -> forwards.Steps:
    """Weights fitted to the other quarters."""
    tunes = [t for t in corpus_tunes() if letters(t.title) not in unknown and fold_of(t.title) != fold]
    lines = [(*line_of(t), t.fifths) for t in tunes] + [(*lead_of(p), p.fifths) for p in load_tuning_pieces()]
    table, number = matrix([forwards.steps_forwards(*one) for one in lines if len(one[0]) >= FEWEST_NOTES])
    return forwards.Steps(number, fit_steps(table))


def both_ways(disc: Simulated) -> tuple[TuneReading, TuneReading]:
    """The disc's tune as it turns, and the other way."""
    pins = give_teeth(disc.pins, disc.comb).pins
    back = replace(disc.plate, turns=direction.other_way(disc.plate.turns))
    strikes = [s for s in strikes_from_pins(pins, disc.comb, back) if s.pitch is not None]
    return read_turn(strikes_from_pins(pins, disc.comb, disc.plate), disc.plate), read_tune(strikes, back)


def discs(draw: int) -> Iterator[Simulated]:
    """Invented discs without end, even over the collections."""
    rng = np.random.default_rng(draw)
    tunes = [t for t in corpus_tunes() if fold_of(t.title) == LEFT_OUT]
    pools = [[t for t in tunes if t.collection == name] for name in COLLECTIONS]
    while True:
        for pool in pools:
            disc = simulate(pool[int(rng.integers(len(pool)))], rng, True)
            if disc is not None:
                yield disc


def gather(file: Path, count: int, draw: int, leave_out: Path | None) -> None:
    """Add rows up to this many."""
    steps = steps_without(LEFT_OUT, titles_of(leave_out))
    direction.forwards_odds = lambda when, pitch, fifths: forwards.odds_by(steps, when, pitch, fifths)
    rows = json.loads(file.read_text(encoding="utf-8")) if file.is_file() else []
    for number, disc in enumerate(discs(draw)):
        if number < len(rows):
            continue
        if number >= count:
            break
        try:
            signs = direction.signs_of(*both_ways(disc))
        except BadInput:
            signs = dict.fromkeys(direction.SIGNS, 0.0)
        rows.append([signs[name] for name in direction.SIGNS])
        if len(rows) % 10 == 0 or len(rows) == count:
            file.write_text(json.dumps(rows), encoding="utf-8")


def fitted(rows: np.ndarray) -> np.ndarray:
    """Weights of SIGNS."""
    both, so = np.concatenate([rows, -rows]), np.repeat([1, 0], len(rows))
    return np.asarray(LogisticRegression(C=1.0, fit_intercept=False).fit(both, so).coef_[0])


def told(odds: np.ndarray) -> str:
    """How many ways are told rightly and wrongly."""
    at = [f"beyond {k} {(odds > k).mean():.3f} rightly, {(odds < -k).mean():.3f} wrongly" for k in (0, 1, 1.5, 2)]
    sure = float((1.0 / (1.0 + np.exp(-np.abs(odds)))).mean())
    return f"{'; '.join(at)}; said {sure:.3f}; of {len(odds)} discs"


def main() -> None:
    """Gather, fit or judge."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("gather", "fit", "judge"))
    parser.add_argument("rows", type=Path)
    parser.add_argument("--discs", type=int, default=80)
    parser.add_argument("--draw", type=int, default=101)
    parser.add_argument("--leave-out", type=Path)
    add_out(parser, forwards.FITTED)
    given = parser.parse_args()
    if given.what == "gather":
        gather(given.rows, given.discs, given.draw, given.leave_out)
        return
    rows = np.array(json.loads(given.rows.read_text(encoding="utf-8")))
    if given.what == "judge":
        print(told(rows @ np.array([direction.load_ways()[name] for name in direction.SIGNS])))
        return
    part = np.arange(len(rows)) % FIFTHS
    odds = np.concatenate([rows[part == k] @ fitted(rows[part != k]) for k in range(FIFTHS)])
    ways = {name: round(float(w), 3) for name, w in zip(direction.SIGNS, fitted(rows), strict=True)}
    score = f"a fifth left out: {told(odds)}"
    print(ways, score, sep="\n")
    if given.out is not None:
        data = f"{len(rows)} invented discs of tunes of a quarter of the titles, to which no steps' weights were fitted"
        made = Made("tests.bench.fit.fit_direction", "fit ROWS", 101, data, score, "ROWS: see gather")
        write_parts(given.out, {direction.WAYS: ways}, {direction.WAYS: made})


if __name__ == "__main__":
    main()
