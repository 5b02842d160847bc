"""Fits disc/check/weights.json: what each observation of a hole or of a gap is worth. Run by hand; takes some minutes.

    python -m tests.bench.fit.check_fit [--discs N] [--out FILE]

Invented discs of the training half of the tunes (check_discs.py) are read as `disc check` reads them, tune reading
included; every empty hole and every candidate gap is observed, and a logistic regression per table gives the
coefficients. The benchmark (check.py) draws from the other half of the tunes with other seeds.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
from sklearn.linear_model import LogisticRegression

from disc.check.music.gaps import candidate_places
from disc.check.music.music_observations import OBSERVED, observe
from disc.check.music.music_places import bench_of, place_of_hole
from disc.check.music.repeats import hear, sounds_of_teeth
from disc.check.photo.holes import is_empty_hole, track_weight
from disc.check.weights import WEIGHTS_FILE
from disc.comb.assign import assign_teeth
from disc.comb.pin_spread import measure_spread
from disc.comb.strikes import strikes_from_pins
from disc.fitted import Made
from disc.tune.read.read_tune import read_tune
from disc.turn.bars import grid_of
from tests.bench.fit.fitted_file import add_out, text_of, write_parts
from tests.bench.truth.check_discs import Simulated, corpus_tunes, simulate

SEED = 1101
SAME_TIME_S = 0.08  # a candidate this near to a lost pin of its sound is that pin


@dataclass
class Table:
    """Rows of observations and what was true."""

    rows: list[np.ndarray]
    truth: list[bool]


def observe_disc(disc: Simulated, holes: Table, gaps: Table) -> None:
    """Add one disc's holes and gaps."""
    assignment = assign_teeth(disc.pins, disc.comb)
    spread = measure_spread(assignment, disc.comb)
    strikes = strikes_from_pins(assignment.pins, disc.comb, disc.plate)
    tune = read_tune(strikes, disc.plate).tune
    sounds = sounds_of_teeth(disc.comb)
    heard = hear(strikes, grid_of(tune, strikes), sounds)
    bench = bench_of(assignment.pins, disc.comb, disc.plate, spread)
    empty = [(pin, place_of_hole(pin, bench, sounds)) for pin in assignment.pins if is_empty_hole(pin)]
    placed = [(pin, place) for pin, place in empty if place is not None]
    if placed:
        observed = observe(heard, [place for _, place in placed]).observed
        for (pin, _), row in zip(placed, observed, strict=True):
            holes.rows.append(np.concatenate([[track_weight(pin, spread)], row]))
            holes.truth.append(pin.id not in disc.abandoned)
    places = candidate_places(heard, bench, sounds)
    if places:
        lost = [(disc.played[i].onset_s, disc.played[i].pitch) for i in disc.gone]
        for place, row in zip(places, observe(heard, places).observed, strict=True):
            gaps.rows.append(row)
            gaps.truth.append(any(p == place.sound and abs(t - place.onset_s) < SAME_TIME_S for t, p in lost))


def fit(table: Table, names: tuple[str, ...]) -> dict:
    """Coefficients, neutral values (the mean of the two classes' means) and the prior where all is neutral."""
    x, y = np.array(table.rows), np.array(table.truth)
    model = LogisticRegression(C=1.0, max_iter=5000).fit(x, y)
    neutral = (x[y].mean(axis=0) + x[~y].mean(axis=0)) / 2.0
    # Room that is plenty says nothing; it is not told.
    neutral[names.index("crowd")] = 0.0
    coefficient = model.coef_[0]
    return {
        "prior_log_odds": round(float(model.intercept_[0] + coefficient @ neutral), 4),
        "coefficient": {n: round(float(c), 4) for n, c in zip(names, coefficient, strict=True)},
        "neutral": {n: round(float(v), 4) for n, v in zip(names, neutral, strict=True)},
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--discs", type=int, default=200)
    add_out(parser, WEIGHTS_FILE)
    given = parser.parse_args()
    tunes = corpus_tunes()[0::2]
    rng = np.random.default_rng(SEED)
    holes, gaps = Table([], []), Table([], [])
    made = 0
    while made < given.discs:
        disc = simulate(tunes[int(rng.integers(len(tunes)))], rng)
        if disc is not None:
            observe_disc(disc, holes, gaps)
            made += 1
    parts = {"hole": fit(holes, ("track", *OBSERVED)), "gap": fit(gaps, OBSERVED)}
    print(text_of(parts))
    if given.out:
        how = {
            part: Made(
                "tests.bench.fit.check_fit", f"--discs {given.discs}", SEED,
                f"{given.discs} invented discs of every other corpus tune: {len(table.truth)} places, "
                f"{sum(table.truth)} true",
                "judged on the other tunes' discs by tests/bench/measure/check.py",
            )
            for part, table in (("hole", holes), ("gap", gaps))
        }  # fmt: skip
        write_parts(given.out, parts, how)


if __name__ == "__main__":
    main()
