"""Makes disc/turn/fit/melodies.json: what printed melodies do, and what a face that lies better turned is worth:

    python -m tests.bench.fit.fit_melodies count [--leave-out FOLDER]
    python -m tests.bench.fit.fit_melodies gather ROWS --collection airdsAirs [--discs 10] [--draw 1]
    python -m tests.bench.fit.fit_melodies fit ROWS

count: the tables, from one half of the printed tunes of check_discs.py, halved by their titles; tunes whose title
stands in a truth file of FOLDER are left out, so that the discs of development are unknown to them. gather: invented
discs of the other half (accompanied, damaged) as they lie and with one face turned; rows are added to the file. fit:
logistic regression on two rows in three; the third is judged.
"""

from __future__ import annotations

import argparse
import json
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from sklearn.linear_model import LogisticRegression

from disc.comb.pin_spread import give_teeth
from disc.comb.strikes import strikes_from_pins
from disc.fitted import Made
from disc.library.records import ReferenceTune
from disc.records import Side
from disc.turn.fit import melodies
from tests.bench.fit.fit_forwards import letters, line_of, titles_of
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.measure.fits import turned
from tests.bench.truth.check_discs import Simulated, corpus_tunes, simulate


def is_counted(title: str) -> bool:
    """Whether a tune is of the half that is counted; one title is never in both halves."""
    return zlib.crc32(letters(title).encode()) % 2 == 0


def counted(tunes: list[ReferenceTune]) -> dict[str, Any]:
    """How often each step of three is met in these melodies."""
    counts = {name: np.zeros(shape) for name, shape in melodies.SHAPES.items()}
    for tune in tunes:
        when, pitch = line_of(tune)
        if len(when) >= melodies.FEWEST_NOTES:
            for name, at in melodies.steps_of(when, pitch, tune.fifths).items():
                np.add.at(counts[name], at, 1)
    return counts


def turned_rows(made: list[Simulated], rng: np.random.Generator) -> Iterator[tuple[float, bool]]:
    """(lead of the best way to lie, whether a face was turned)."""
    for disc in made:
        pins = give_teeth(disc.pins, disc.comb).pins
        for wrong in (False, True):
            by_deg = float(rng.choice([-1, 1]) * rng.uniform(10, 170)) if wrong else 0.0
            put = turned(pins, (Side(rng.choice(list(Side))),), by_deg)
            found = melodies.turned_faces(strikes_from_pins(put, disc.comb, disc.plate), put)
            if found is not None:
                yield found.lead, wrong


def fit_turned(rows: list[tuple[float, bool]]) -> dict[str, float]:
    """Log-odds of a face being turned, before any belief: bias + slope * lead."""
    lead, so = np.array([[r[0]] for r in rows]), np.array([r[1] for r in rows])
    model = LogisticRegression(C=1.0).fit(lead, so)
    return {"bias": round(float(model.intercept_[0]), 4), "slope": round(float(model.coef_[0][0]), 4)}


def count(leave_out: Path | None, out: Path | None) -> None:
    """Count the tables; their numbers stand beside the weights."""
    titles = titles_of(leave_out)
    tunes = [t for t in corpus_tunes() if is_counted(t.title) and letters(t.title) not in titles]
    tables = {name: table.astype(int).ravel().tolist() for name, table in counted(tunes).items()}
    data = f"{len(tunes)} printed tunes of the music21 corpus, one half by their titles"
    made = Made(
        "tests.bench.fit.fit_melodies", "count --leave-out FOLDER", None, data, "see the weights", "FOLDER: truths"
    )
    if out is not None:
        write_parts(out, {melodies.COUNTS: tables}, {melodies.COUNTS: made})


def gather(file: Path, collection: str, discs: int, draw: int) -> None:
    """Add the rows of some discs of a collection to a file."""
    tunes = [tune for tune in corpus_tunes((collection,)) if not is_counted(tune.title)]
    rows = json.loads(file.read_text(encoding="utf-8")) if file.is_file() else {}
    turned_so = rows.setdefault("turned", [])
    rng = np.random.default_rng([zlib.crc32(collection.encode()), draw])
    made = 0
    while made < discs:
        disc = simulate(tunes[int(rng.integers(len(tunes)))], rng, True)
        if disc is not None:
            made += 1
            turned_so += turned_rows([disc], rng)
    file.write_text(json.dumps(rows), encoding="utf-8")


def fit(file: Path, out: Path | None) -> None:
    """Fit on two rows in three, judge the third, then write what all rows give."""
    rows = json.loads(file.read_text(encoding="utf-8"))
    lies = [(float(lead), bool(wrong)) for lead, wrong in rows["turned"]]
    judge(fit_turned([lie for k, lie in enumerate(lies) if k % 3 != 2]), lies[2::3])
    weights = {"turned": fit_turned(lies)}
    print(f"{len(lies)} discs lying rightly or turned; {weights}")
    data = f"{len(lies)} lies of invented discs, one face turned in half of them"
    made = Made("tests.bench.fit.fit_melodies", "fit ROWS", 1, data, "as printed, a third left out", "ROWS: see gather")
    if out is not None:
        write_parts(out, {melodies.WEIGHTS: weights}, {melodies.WEIGHTS: made})


def judge(turned_by: dict[str, float], lies: list[tuple[float, bool]]) -> None:
    """Print how often a turned face would be told rightly and wrongly."""
    lead, turned_so = np.array([lie[0] for lie in lies]), np.array([lie[1] for lie in lies])
    told = turned_by["bias"] + turned_by["slope"] * lead
    for name, so in (("as it lies", False), ("one face turned", True)):
        beyond = [f"{(told[turned_so == so] > k).mean():.3f}" for k in (0, 2, 4)]
        print(f"{name}: said to be turned with log-odds beyond 0, 2, 4:", *beyond, f"of {(turned_so == so).sum()}")


def main() -> None:
    """Count, gather or fit."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("count", "gather", "fit"))
    parser.add_argument("rows", nargs="?", type=Path)
    parser.add_argument("--leave-out", type=Path)
    parser.add_argument("--collection", default="airdsAirs")
    parser.add_argument("--discs", type=int, default=10)
    parser.add_argument("--draw", type=int, default=1)
    add_out(parser, melodies.TABLES_FILE)
    given = parser.parse_args()
    if given.what == "count":
        count(given.leave_out, given.out)
    elif given.what == "gather":
        gather(given.rows, given.collection, given.discs, given.draw)
    else:
        fit(given.rows, given.out)


if __name__ == "__main__":
    main()
