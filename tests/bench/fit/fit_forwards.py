"""Makes disc/turn/fit/forwards.json: what tells a printed melody from the same one played backwards.

    python -m tests.bench.fit.fit_forwards [--leave-out FOLDER] [--out shipped]

Printed tunes of check_discs.py, as they run and backwards, and the leading parts of the tuning pieces of
music_pieces.py; tunes whose title stands in a truth file of FOLDER are left out, so that the discs of development are
unknown to the weights. Logistic regression without a constant over the steps of forwards.py. Printed: what it comes to
where a quarter of the tunes by their titles, and where each collection as a whole, was left out.
"""

from __future__ import annotations

import argparse
import json
import zlib
from pathlib import Path

import numpy as np
import scipy.sparse as sp
from sklearn.linear_model import LogisticRegression

from disc.fitted import Made
from disc.library.records import ReferenceTune
from disc.turn.fit import forwards
from disc.turn.fit.melodies import FEWEST_NOTES
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.truth.check_discs import corpus_tunes
from tests.bench.truth.music_pieces import Piece, load_tuning_pieces

FEWEST = 5  # tunes in which a step must be met
RIDGE = 0.003  # the regression's C; .001 to .01 came to the same within .02 of the tunes
FOLDS = 4
ALLOWED = 0.017  # of melodies taken for reversed ones
SMALLEST = 0.004  # weights below this are left out of the file
Row = tuple[np.ndarray, np.ndarray]


def letters(title: str) -> str:
    """A title as letters only."""
    return "".join(c for c in title.lower() if c.isalpha())


def titles_of(folder: Path | None) -> set[str]:
    """Titles of the discs of development."""
    if folder is None:
        return set()
    truths = (json.loads(path.read_text(encoding="utf-8")) for path in folder.glob("*.json"))
    return {letters(truth["tune"]["title"]) for truth in truths if "tune" in truth}


def fold_of(title: str) -> int:
    """The quarter to which a tune belongs; one title is in one only."""
    return zlib.crc32(letters(title).encode()) % FOLDS


def line_of(tune: ReferenceTune) -> Row:
    """The highest of what stands at one place: (ticks, pitch)."""
    onset, first = np.unique(np.asarray(tune.onset_tick), return_index=True)
    return onset.astype(float), np.maximum.reduceat(np.asarray(tune.pitch), first)


def lead_of(piece: Piece) -> Row:
    """The leading part's tops: (quarters, pitch)."""
    top: dict[float, int] = {}
    for onset, _, pitch, part in piece.notes:
        if part == piece.lead:
            top[float(onset)] = max(top.get(float(onset), 0), pitch)
    when = np.array(sorted(top))
    return when, np.array([top[at] for at in when], dtype=int)


def matrix(rows: list[Row]) -> tuple[sp.csr_matrix, np.ndarray]:
    """(rows by kinds of steps, the kinds' numbers)."""
    of = np.repeat(np.arange(len(rows)), [len(number) for number, _ in rows])
    numbers, at, count = np.unique(np.concatenate([n for n, _ in rows]), return_inverse=True, return_counts=True)
    kept = count >= FEWEST
    new = np.cumsum(kept) - 1
    values = np.concatenate([more for _, more in rows])
    inside = kept[at]
    shape = (len(rows), int(kept.sum()))
    return sp.csr_matrix((values[inside], (of[inside], new[at[inside]])), shape=shape), numbers[kept]


def fit(table: sp.csr_matrix) -> np.ndarray:
    """Weights of the steps; either way is as likely beforehand."""
    both, so = sp.vstack([table, -table]), np.repeat([1, 0], table.shape[0])
    model = LogisticRegression(C=RIDGE, fit_intercept=False, max_iter=300, solver="liblinear").fit(both, so)
    return np.asarray(model.coef_[0])


def told(odds: np.ndarray) -> str:
    """How many are right, and how many beyond a lead that ALLOWED of them exceed the wrong way."""
    lead = max(float(np.quantile(-odds, 1.0 - ALLOWED)), 0.0)
    sure = 1.0 / (1.0 + np.exp(-np.abs(odds)))
    return (
        f"right {(odds > 0).mean():.3f} (said {sure.mean():.3f}), beyond {lead:.2f} {(odds > lead).mean():.3f}; "
        f"beyond 2 right {(odds > 2).mean():.3f} wrong {(odds < -2).mean():.4f} of {len(odds)}"
    )


def left_out(table: sp.csr_matrix, groups: np.ndarray, judged: np.ndarray) -> np.ndarray:
    """Log-odds of the judged rows, each by weights fitted without its group."""
    odds = np.zeros(table.shape[0])
    for group in np.unique(groups[judged]):
        odds[groups == group] = table[groups == group] @ fit(table[groups != group])
    return odds[judged]


def main() -> None:
    """Fit, print what is left out, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--leave-out", type=Path)
    add_out(parser, forwards.FITTED)
    given = parser.parse_args()
    unknown = titles_of(given.leave_out)
    tunes = [t for t in corpus_tunes() if letters(t.title) not in unknown]
    lines = [(*line_of(t), t.fifths, t.collection, fold_of(t.title)) for t in tunes]
    lines += [(*lead_of(p), p.fifths, "pieces", fold_of(p.name.split("#")[0])) for p in load_tuning_pieces()]
    lines = [line for line in lines if len(line[0]) >= FEWEST_NOTES]
    table, numbers = matrix([forwards.steps_forwards(when, pitch, fifths) for when, pitch, fifths, _, _ in lines])
    sources, folds = np.array([line[3] for line in lines]), np.array([line[4] for line in lines])
    printed = sources != "pieces"
    by_title, by_source = left_out(table, folds, printed), left_out(table, sources, printed)
    scores = [f"a quarter of the titles left out: {told(by_title)}", f"a source left out: {told(by_source)}"]
    for name in np.unique(sources[printed]):
        of = sources[printed] == name
        print(f"{name}: by title {told(by_title[of])}; as a whole {told(by_source[of])}")
    print(*scores, sep="\n")
    if given.out is not None:
        data = f"{len(lines)} lines, of which {int((~printed).sum())} leading parts of tuning pieces"
        note = "FOLDER: the truth files whose tunes are left out"
        script = "tests.bench.fit.fit_forwards"
        made = Made(script, "--leave-out FOLDER", None, data, "; ".join(scores), note)
        write_parts(given.out, {forwards.STEPS: by_group(numbers, fit(table))}, {forwards.STEPS: made})


def by_group(numbers: np.ndarray, weights: np.ndarray) -> dict[str, dict[str, list[float]]]:
    """The weights as the file has them."""
    kept = np.abs(weights) >= SMALLEST
    made = {}
    for k, name in enumerate(forwards.GROUPS):
        of = kept & (numbers // forwards.GROUP == k)
        step = (numbers[of] % forwards.GROUP).tolist()
        made[name] = {"step": step, "weight": [round(float(w), 4) for w in weights[of]]}
    return made


if __name__ == "__main__":
    main()
