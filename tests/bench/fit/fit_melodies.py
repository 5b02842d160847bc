"""Makes disc/turn/fit/melodies.json: what printed melodies do, and what it is worth. Run by hand, in pieces:

    python -m tests.bench.fit.fit_melodies count [--leave-out FOLDER]
    python -m tests.bench.fit.fit_melodies gather ROWS --collection airdsAirs [--discs 10] [--draw 1]
    python -m tests.bench.fit.fit_melodies fit ROWS

count: the tables, from one half of the printed tunes of check_discs.py, halved by their titles; tunes whose title
stands in a truth file of FOLDER are left out, so that the discs of development are unknown to them. gather: melodies
of the other half, forwards and backwards, and invented discs of them (accompanied, damaged) as they lie and with one
face turned; rows are added to the file. fit: logistic regression on two rows in three; the third is judged.
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
from disc.turn.fit.direction import LARGEST_SIGN, SIGNS
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.measure.fits import turned
from tests.bench.truth.check_discs import Simulated, corpus_tunes, simulate

BY_MELODY = ("tonic", "degrees", "figures", "rhythm")
# Worth of a point of the metre's score. It was 0.7 alone, on sixteen discs; half of it, since it sees some of the same
# rhythm, and too few accompanied discs can be read to fit the two together (32 were all told apart without it).
METRE = 0.35


def is_counted(title: str) -> bool:
    """Whether a tune is of the half that is counted; one title is never in both halves."""
    return zlib.crc32(_letters(title).encode()) % 2 == 0


def counted(tunes: list[ReferenceTune]) -> dict[str, Any]:
    """How often each step of three is met in these melodies."""
    counts = {name: np.zeros(shape) for name, shape in melodies.SHAPES.items()}
    for tune in tunes:
        when, pitch = line_of(tune)
        if len(when) >= melodies.FEWEST_NOTES:
            for name, at in melodies.steps_of(when, pitch, tune.fifths).items():
                np.add.at(counts[name], at, 1)
    return counts


def left_out_titles(folder: Path | None) -> set[str]:
    """Titles of the discs of development, as letters only."""
    if folder is None:
        return set()
    truths = (json.loads(path.read_text(encoding="utf-8")) for path in folder.glob("*.json"))
    return {_letters(truth["tune"]["title"]) for truth in truths if "tune" in truth}


def _letters(title: str) -> str:
    return "".join(c for c in title.lower() if c.isalpha())


def melody_rows(tunes: list[ReferenceTune]) -> Iterator[list[float]]:
    """Signs of each printed melody as it runs, in the order of BY_MELODY."""
    for tune in tunes:
        when, pitch = line_of(tune)
        if len(when) >= melodies.FEWEST_NOTES:
            signs = melodies.line_forwards(when, pitch, tune.fifths)
            major, minor = 7 * tune.fifths % 12, (7 * tune.fifths + 9) % 12
            last, first = (int(at) % 12 in (major, minor) for at in (pitch[-1], pitch[0]))
            signs["tonic"] = float(last) - float(first)
            yield [float(np.clip(signs[name], -LARGEST_SIGN[name], LARGEST_SIGN[name])) for name in BY_MELODY]


def line_of(tune: ReferenceTune) -> tuple[np.ndarray, np.ndarray]:
    """The highest of what stands at one place: (ticks, pitch)."""
    onset, first = np.unique(np.asarray(tune.onset_tick), return_index=True)
    return onset.astype(float), np.maximum.reduceat(np.asarray(tune.pitch), first)


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


def fit_direction(rows: list[list[float]]) -> dict[str, float]:
    """Weights of the signs; the sum is the log-odds of running forwards. No constant: either way is as likely."""
    signs = np.array(rows)
    both, so = np.concatenate([signs, -signs]), np.repeat([1, 0], len(signs))
    model = LogisticRegression(C=1.0, fit_intercept=False).fit(both, so)
    fitted = {name: round(float(w), 4) for name, w in zip(BY_MELODY, model.coef_[0], strict=True)}
    return {name: ({"metre": METRE} | fitted)[name] for name in SIGNS}


def fit_turned(rows: list[tuple[float, bool]]) -> dict[str, float]:
    """Log-odds of a face being turned, before any belief: bias + slope * lead."""
    lead, so = np.array([[r[0]] for r in rows]), np.array([r[1] for r in rows])
    model = LogisticRegression(C=1.0).fit(lead, so)
    return {"bias": round(float(model.intercept_[0]), 4), "slope": round(float(model.coef_[0][0]), 4)}


def count(leave_out: Path | None, out: Path | None) -> None:
    """Count the tables; their numbers stand beside the weights."""
    titles = left_out_titles(leave_out)
    tunes = [t for t in corpus_tunes() if is_counted(t.title) and _letters(t.title) not in titles]
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
    rows.setdefault("melodies", {})[collection] = list(melody_rows(tunes))
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
    ways = [row for name in sorted(rows["melodies"]) for row in rows["melodies"][name]]
    lies = [(float(lead), bool(wrong)) for lead, wrong in rows["turned"]]
    judge(
        {"direction": fit_direction(_but_third(ways)), "turned": fit_turned(_but_third(lies))}, ways[2::3], lies[2::3]
    )
    weights = {"direction": fit_direction(ways), "turned": fit_turned(lies)}
    print(f"{len(ways)} melodies, {len(lies)} discs lying rightly or turned; {weights}")
    data = f"{len(ways)} printed melodies that were not counted, both ways; {len(lies)} lies of invented discs"
    made = Made("tests.bench.fit.fit_melodies", "fit ROWS", 1, data, "as printed, a third left out", "ROWS: see gather")
    if out is not None:
        write_parts(out, {melodies.WEIGHTS: weights}, {melodies.WEIGHTS: made})


def _but_third(rows: list[Any]) -> list[Any]:
    return [row for k, row in enumerate(rows) if k % 3 != 2]


def judge(weights: dict[str, dict[str, float]], ways: list[list[float]], lies: list[tuple[float, bool]]) -> None:
    """Print how often each would be told rightly and wrongly."""
    odds = np.array(ways) @ np.array([weights["direction"][name] for name in BY_MELODY])
    for least in (0.0, 1.0, 1.5, 2.0, 3.0):
        right, wrong = (odds > least).mean(), (odds < -least).mean()
        print(f"direction, log-odds beyond {least}: right {right:.3f}, wrong {wrong:.3f} of {len(odds)}")
    lead, turned_so = np.array([lie[0] for lie in lies]), np.array([lie[1] for lie in lies])
    told = weights["turned"]["bias"] + weights["turned"]["slope"] * lead
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
