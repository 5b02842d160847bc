"""Fits the curves of disc/library/search/ranking/belief.json on practice discs and judges discs left out.

    python -m tests.bench.fit.belief_fit --out belief.json [--count 25] [--seed 160] [--kinds pitch order notes]

Discs of every level of damage, beginnings of 8 to 24 notes, discs whose very print is left out while another is in the
library, and each of them again with every print of its tune left out. Right is a first answer that is the tune, in
whichever print, or has what is played note for note. Two in three are fitted on, one is left out and judged, then the
curve is fitted on all. The discs that bench/measure/identify.py measures on (seeds 900 and up) are never read here.
Kinds not asked for stay as they are in the file, so that they can be fitted one by one.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

import numpy as np

from disc.fitted import Made
from disc.library.index.library_store import open_library
from disc.library.index.tune_index import Index
from disc.library.search.asked.query import Query, make_query
from disc.library.search.ranking.belief import MODEL_FILE, features
from disc.library.search.ranking.rank_tunes import rank_tunes
from disc.words import no_progress
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.measure.identify import all_but, discs, has_passage, logistic, query_of, same_tune, with_version
from tests.bench.truth.practice import PracticeDisc

LEVELS = ("mild", "medium", "hard", "severe")
STARTS = (8, 12, 16, 24)
JITTER_S = 0.012  # of a beginning's onsets, as of practice discs
LOOKED_AT = 25  # answers among which other prints of an absent tune are looked for
Asked = tuple[int, PracticeDisc | None, Query, np.ndarray | None]


def asked_by_pitch(index: Index, count: int, seed: int) -> Iterator[Asked]:
    """(tune, disc, query, allowed) of discs with pitches."""
    for level in LEVELS:
        for tune, disc in discs(index, level, count, seed):
            yield tune, disc, query_of(disc, False), None
    for tune, disc in discs(index, "medium", count, seed + 1, with_version(index)):
        yield tune, disc, query_of(disc, False), all_but(index, tune)
    yield from beginnings(index, count, seed, True)


def asked_by_order(index: Index, count: int, seed: int) -> Iterator[Asked]:
    """Discs of which only the order of the teeth is known."""
    for level in LEVELS[:3]:
        for tune, disc in discs(index, level, count, seed):
            yield tune, disc, query_of(disc, True), None


def beginnings(index: Index, count: int, seed: int, timed: bool) -> Iterator[Asked]:
    """Exact beginnings of tunes, with or without their rhythm."""
    rng = np.random.default_rng([seed, 7])
    for notes in STARTS:
        for tune in rng.integers(0, index.size, count).tolist():
            reference = index.reference(tune)
            onset, pitch = reference.onset_quarter[:notes], reference.pitch[:notes].astype(float)
            at = onset * rng.uniform(0.3, 0.8) + rng.normal(0, JITTER_S, onset.size)
            if pitch.size == notes and np.unique(onset).size == notes and np.ptp(at) >= 1.0:
                struck = np.sort(at) if timed else np.arange(notes, dtype=np.float64) * 0.5
                query = make_query(struck, pitch, None, "beginning")
                yield tune, None, query if timed else _untimed(query), None


def _untimed(query: Query) -> Query:
    from dataclasses import replace

    return replace(query, timed=False)


def is_right(index: Index, tune: int, disc: PracticeDisc | None, query: Query, found: int) -> bool:
    """Whether the first answer is the tune, or has what is played note for note."""
    if found == tune or same_tune(index, tune, found):
        return True
    if disc is not None:
        return has_passage(index, disc, found)
    steps = np.diff(index.reference(found).pitch).tolist()
    wanted = np.diff(np.rint(query.pitch)).tolist()  # type: ignore[arg-type]
    return any(steps[i : i + len(wanted)] == wanted for i in range(len(steps) - len(wanted) + 1))


def judged(index: Index, asked: Iterator[Asked]) -> tuple[np.ndarray, np.ndarray]:
    """(features, whether right) of every query, each also with its tune absent."""
    rows, right = [], []
    for tune, disc, query, allowed in asked:
        ranking = rank_tunes(index, query, allowed)
        if ranking.signs is not None:
            rows.append(features(ranking.signs))
            right.append(float(is_right(index, tune, disc, query, ranking.found[0].tune)))
        absent = np.asarray(index.group[:] != index.group[tune]) & (True if allowed is None else allowed)
        for _ in range(4):
            ranking = rank_tunes(index, query, absent)
            same = [one.tune for one in ranking.found[:LOOKED_AT] if is_right(index, tune, disc, query, one.tune)]
            if not same:
                break
            absent[same] = False
        if ranking.signs is not None:
            rows.append(features(ranking.signs))
            right.append(0.0)
    return np.array(rows), np.array(right)


def fitted(x: np.ndarray, y: np.ndarray) -> tuple[list[float], str]:
    """(weights, how those left out were judged)."""
    kept = np.arange(y.size) // 2 % 3 != 2
    chance = 1 / (1 + np.exp(-x[~kept] @ logistic(x[kept], y[kept])))
    bins = np.minimum((chance * 5).astype(int), 4)
    error = sum(abs(chance[bins == k].mean() - y[~kept][bins == k].mean()) * (bins == k).mean() for k in set(bins))
    brier, n = float(np.mean((chance - y[~kept]) ** 2)), int((~kept).sum())
    words = f"{n} left out: mean error of the bins {error:.3f}, Brier {brier:.3f}"
    return [round(float(w), 3) for w in logistic(x, y)], words


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    add_out(parser, MODEL_FILE)
    parser.add_argument("--count", type=int, default=25)
    parser.add_argument("--seed", type=int, default=160)
    parser.add_argument("--kinds", nargs="*", default=["pitch", "order", "notes"])
    options = parser.parse_args()
    index = open_library(no_progress).index
    for kind, asked in (
        ("pitch", asked_by_pitch(index, options.count, options.seed)),
        ("order", asked_by_order(index, options.count, options.seed)),
        ("notes", beginnings(index, options.count, options.seed, False)),
    ):
        if kind not in options.kinds:
            continue
        x, y = judged(index, asked)
        weights, words = fitted(x, y)
        print(kind, weights, words, flush=True)
        if options.out:
            arguments = f"--count {options.count} --seed {options.seed} --kinds {kind}"
            data = f"practice discs of a library of {index.size} tunes, many with the tune left out"
            made = Made("tests.bench.fit.belief_fit", arguments, options.seed, data, words)
            write_parts(options.out, {kind: weights}, {kind: made})


if __name__ == "__main__":
    main()
