"""Fits what tells the small notes of ornaments from written ones (disc/tune/read/voices/small_notes.py).

    python -m tests.bench.fit.fit_small_notes [--count 1000] [--variants 4] [--out FILE]

Turns of the tuning melodies and pieces (works of which none is in the bench) with ornaments as music.py has them, every
third without, of every seventh one strike in twenty lost, steady or bent, errors of 3 to 20 ms. Boosted trees. Told is
the share that they find where nine in ten of those found are such: on a quarter of the melodies, and of the works,
that they were not fitted on.
"""

from __future__ import annotations

import argparse

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier

from disc.fitted import Made
from disc.tune.read.find_figures import line_on_grid
from disc.tune.read.model import load_model
from disc.tune.read.voices.figures import find_rolls
from disc.tune.read.voices.small_notes import SMALL_FILE, small_note_rows
from disc.tune.read.voices.voices import melody_probability
from tests.bench.fit.fit_tune import FOLDS, PIECE_VARIANTS, fold_of_melody, fold_of_piece, side_by_side, works_of
from tests.bench.fit.fitted_file import add_out, stored_trees, write_parts
from tests.bench.truth.music_pieces import Piece, load_tuning_pieces
from tests.bench.truth.music_turns import KINDS, bend, case_of, case_of_melody, ornamented
from tests.bench.truth.tune_corpus import Melody, load_melodies

PRECISION = 0.9  # the bar, which the least odds are chosen for
PLAIN, LOST, LOST_SHARE = 3, 7, 0.05  # one turn in so many has no ornament added; has strikes lost; so many
SEED = 40
ERRORS_S = (0.003, 0.02)  # setting errors of a turn, drawn between these; the benches have 15 ms
TREES = {"max_iter": 160, "max_leaf_nodes": 12, "learning_rate": 0.07, "min_samples_leaf": 20}

Seen = tuple[int, np.ndarray, np.ndarray, int]  # fold, rows, which are small notes, small notes of the turn


def seen_of(fold: int, source: Melody | Piece, number: int, variant: int) -> Seen:
    """What is seen of a turn."""
    rng = np.random.default_rng([SEED + variant, number])
    if isinstance(source, Melody):
        case = case_of_melody(source, rng)
    else:
        case = case_of(source, number, SEED + variant, inner=sorted(PIECE_VARIANTS)[variant % len(PIECE_VARIANTS)])
    flags = np.zeros(len(case.onset_s), dtype=bool) if case.graces is None else case.graces
    if (number + variant) % PLAIN:
        case, flags = ornamented(case, rng)
    bent = bend(case, KINDS[(number + variant) % len(KINDS)], rng)
    struck_s = np.maximum(bent(case.onset_s) + rng.normal(0, rng.uniform(*ERRORS_S), len(case.onset_s)), 0.0)
    kept = np.flatnonzero(rng.random(len(struck_s)) >= (LOST_SHARE if number % LOST == 0 else 0.0))
    order = kept[np.argsort(struck_s[kept], kind="stable")]
    onset_s, pitch = struck_s[order], case.pitch[order].astype(float)
    rolls = find_rolls(onset_s, pitch)
    melody = melody_probability(rolls.anchored(onset_s, last=True), pitch, load_model().voices)
    line, grid = line_on_grid(onset_s, pitch, melody, rolls)
    places, rows = small_note_rows(onset_s, pitch, melody, line, grid)
    return fold, rows.astype(np.float32), flags[order][line[places]], int(flags[order].sum())


def least_odds(odds: np.ndarray, small: np.ndarray) -> float:
    """The odds from which on so many as PRECISION asks are small notes."""
    order = np.argsort(-odds)
    right = np.cumsum(small[order]) / np.arange(1, len(order) + 1)
    return float(odds[order][np.flatnonzero(right >= PRECISION)[-1]])


def main() -> None:
    """Fit, print and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=1000, help="melodies drawn, both halves")
    parser.add_argument("--variants", type=int, default=4)
    add_out(parser, SMALL_FILE)
    given = parser.parse_args()
    melodies = [melody for melody in load_melodies(count=given.count) if melody.part == "tuning"]
    pieces = load_tuning_pieces()
    works = works_of(pieces)
    sources: list[tuple[int, Melody | Piece, int]] = [
        (fold_of_melody(n), melody, n) for n, melody in enumerate(melodies)
    ]
    sources += [(fold_of_piece(piece, works), piece, n) for n, piece in enumerate(pieces)]
    jobs = [(*source, variant) for variant in range(given.variants) for source in sources]
    seen = [one for one in side_by_side(seen_of, jobs) if len(one[1])]
    rows, small = np.vstack([one[1] for one in seen]), np.concatenate([one[2] for one in seen])
    fold = np.concatenate([np.full(len(one[2]), one[0]) for one in seen])
    odds = np.zeros(len(small))
    for k in range(FOLDS):
        model = HistGradientBoostingClassifier(**TREES, random_state=0).fit(rows[fold != k], small[fold != k])
        odds[fold == k] = model.decision_function(rows[fold == k])
    least = least_odds(odds, small)
    found = float((small & (odds >= least)).sum()) / sum(one[3] for one in seen)
    score = f"left out, P {PRECISION}: R {found:.3f} of {sum(one[3] for one in seen)} small notes"
    print(score, f"least odds {least:.3f}, {len(rows)} rows", flush=True)
    model = HistGradientBoostingClassifier(**TREES, random_state=0).fit(rows, small)
    if given.out:
        data = f"{len(seen)} turns of {len(melodies)} tuning melodies and {len(pieces)} tuning pieces"
        arguments = f"--count {given.count} --variants {given.variants}"
        made = Made("tests.bench.fit.fit_small_notes", arguments, SEED, data, score)
        parts = {"small_notes": stored_trees(model), "least_odds": {"odds": round(least, 4)}}
        write_parts(given.out, parts, dict.fromkeys(parts, made))


if __name__ == "__main__":
    main()
