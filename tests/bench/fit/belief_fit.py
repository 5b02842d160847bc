"""Fits the curves and trees of disc/library/search/ranking/belief.json and judges tunes left out.

    python -m tests.bench.fit.belief_fit --kind laid --out belief.json [--count 25] [--seed 160] [--seconds 300]
    python -m tests.bench.fit.belief_fit --kind laid --keep ROWS.npz ...        gathers only, to be done in parts
    python -m tests.bench.fit.belief_fit --kind laid --rows A.npz B.npz --out belief.json

Discs of every level of damage, beginnings of 8 to 24 notes, discs whose very print is left out while another is in the
library, and each of them again with every print of its tune left out. Right is a first answer that is the tune, in
whichever print, or has what is played note for note. Groups of versions are left out whole: a third of them is judged
by what was fitted on the rest, then all are fitted. The discs that bench/measure/identify.py measures on (seeds 900
and up) are never read here.

pitch: the curve that says when a search has looked enough, fitted on what is known after each look. laid: the trees
that judge the answer once it is laid over the disc; they see what a search ends with, so the curve comes first. order,
notes: where less is known. Kinds not asked for stay as they are in the file.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from disc.fitted import Made
from disc.library.index.library_store import open_library
from disc.library.index.tune_index import Index
from disc.library.search.asked.query import Query, make_query
from disc.library.search.find_tunes import laid_signs
from disc.library.search.ranking.belief import LAID, MODEL_FILE, features, laid_features
from disc.library.search.ranking.rank_tunes import Ranking, every_look, rank_tunes
from disc.words import no_progress
from tests.bench.fit.fitted_file import add_out, stored_trees, write_parts
from tests.bench.measure.identify import all_but, discs, has_passage, logistic, query_of, same_tune, with_version
from tests.bench.truth.practice import PracticeDisc

LEVELS = ("mild", "medium", "hard", "severe")
STARTS = (8, 12, 16, 24)
JITTER_S = 0.012  # of a beginning's onsets, as of practice discs
# Of the trees: small ones, many, each counting little; chosen on 2,600 answers of seeds 311 to 317, tunes left out.
TREES, RATE, LEAVES = 100, 0.06, 8
LOOKED_AT = 25  # answers among which other prints of an absent tune are looked for
Asked = tuple[int, PracticeDisc | None, Query, np.ndarray | None]


def asked_by_pitch(index: Index, count: int, seed: int) -> Iterator[Asked]:
    """(tune, disc, query, allowed) of discs with pitches."""
    versions = with_version(index)
    starts = list(beginnings(index, count, seed, True))
    np.random.default_rng(seed).shuffle(starts)  # type: ignore[arg-type]
    for part in range(count):  # a few of each at a time, so that what is gathered is mixed wherever it ends
        for level in LEVELS:
            for tune, disc in discs(index, level, 1, 1000 * seed + part):
                yield tune, disc, query_of(disc, False), None
        for tune, disc in discs(index, "medium", 1, 1000 * seed + 500 + part, versions):
            yield tune, disc, query_of(disc, False), all_but(index, tune)
        yield from starts[part::count]


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


@dataclass
class Rows:
    """features: of every answer. right: whether it was. group: of versions, of the tune that was asked for."""

    features: list[tuple[float, ...]] = field(default_factory=list)
    right: list[float] = field(default_factory=list)
    group: list[int] = field(default_factory=list)

    def add(self, features: tuple[float, ...], right: bool, group: int) -> None:
        """One answer."""
        self.features.append(features)
        self.right.append(float(right))
        self.group.append(group)


def gather(index: Index, kind: str, asked: Iterator[Asked], seconds: float) -> Rows:
    """Every query as it is, and with its tune absent; no more are begun after so many seconds."""
    rows, begun = Rows(), time.monotonic()
    for tune, disc, query, allowed in asked:
        if time.monotonic() - begun > seconds:
            break
        group = int(index.group[tune])
        ends = _answers(index, kind, query, allowed)
        for ranking in ends:
            right = is_right(index, tune, disc, query, ranking.found[0].tune)
            rows.add(_features(index, kind, query, ranking), right, group)
        absent = np.asarray(index.group[:] != index.group[tune]) & (True if allowed is None else allowed)
        for _ in range(4):
            absent[[one for one in _near(ends) if is_right(index, tune, disc, query, one)]] = False
            ends = _answers(index, kind, query, absent)
            if not any(is_right(index, tune, disc, query, one) for one in _near(ends)):
                break
        for ranking in ends:
            rows.add(_features(index, kind, query, ranking), False, group)
    return rows


def _answers(index: Index, kind: str, query: Query, allowed: np.ndarray | None) -> list[Ranking]:
    """What a search ends with; for the curve, what is known after each look."""
    found = every_look(index, query, allowed) if kind == "pitch" else [rank_tunes(index, query, allowed)]
    return [ranking for ranking in found if ranking.signs is not None]


def _near(ends: list[Ranking]) -> list[int]:
    """The tunes among which other prints of one that is to be absent are looked for."""
    return [one.tune for one in ends[-1].found[:LOOKED_AT]] if ends else []


def _features(index: Index, kind: str, query: Query, ranking: Ranking) -> tuple[float, ...]:
    assert ranking.signs is not None
    return laid_features(laid_signs(index, query, ranking)) if kind == LAID else features(ranking.signs)


def fitted(kind: str, x: np.ndarray, y: np.ndarray, group: np.ndarray) -> tuple[Any, str]:
    """(weights or trees, how the groups left out were judged)."""
    kept = group % 3 != 2
    chance = _fit(kind, x[kept], y[kept])[1](x[~kept])
    bins = np.minimum((chance * 5).astype(int), 4)
    error = sum(abs(chance[bins == k].mean() - y[~kept][bins == k].mean()) * (bins == k).mean() for k in set(bins))
    brier, n = float(np.mean((chance - y[~kept]) ** 2)), int((~kept).sum())
    words = f"{n} of {y.size} answers left out, by groups of versions: mean error of the bins {error:.3f}, "
    words += f"Brier {brier:.3f}"
    return _fit(kind, x, y)[0], words


def _fit(kind: str, x: np.ndarray, y: np.ndarray) -> tuple[Any, Callable[[np.ndarray], np.ndarray]]:
    """(numbers for the file, what they say of rows)."""
    if kind != LAID:
        weights = logistic(x, y)
        return [round(float(w), 3) for w in weights], lambda rows: 1 / (1 + np.exp(-rows @ weights))
    from sklearn.ensemble import HistGradientBoostingClassifier

    model = HistGradientBoostingClassifier(
        max_iter=TREES, learning_rate=RATE, max_leaf_nodes=LEAVES, min_samples_leaf=25, l2_regularization=5.0
    )
    model.fit(x, y)
    return stored_trees(model), lambda rows: model.predict_proba(rows)[:, 1]


def main() -> None:
    """Gather, fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    add_out(parser, MODEL_FILE)
    parser.add_argument("--kind", choices=["pitch", LAID, "order", "notes"], required=True)
    parser.add_argument("--count", type=int, default=25)
    parser.add_argument("--seed", type=int, default=160)
    parser.add_argument("--seconds", type=float, default=1e9)
    parser.add_argument("--keep", type=Path, help="gather only, into this file")
    parser.add_argument("--rows", type=Path, nargs="*", help="what was gathered before")
    options, note = parser.parse_args(), ""
    if options.rows:
        parts = [np.load(path) for path in options.rows]
        x, y, group = (np.concatenate([part[name] for part in parts]) for name in ("x", "y", "group"))
        note = f"gathered in parts, seeds {', '.join(str(int(part['seed'])) for part in parts)}"
    else:
        index = open_library(no_progress).index
        asked = {
            "order": lambda: asked_by_order(index, options.count, options.seed),
            "notes": lambda: beginnings(index, options.count, options.seed, False),
        }.get(options.kind, lambda: asked_by_pitch(index, options.count, options.seed))()
        rows = gather(index, options.kind, asked, options.seconds)
        x, y, group = np.array(rows.features), np.array(rows.right), np.array(rows.group)
    print(f"{options.kind}: {y.size} answers, {y.mean():.3f} right", flush=True)
    if options.keep:
        np.savez_compressed(options.keep, x=x, y=y, group=group, seed=options.seed)
        return
    numbers, words = fitted(options.kind, x, y, group)
    print(numbers if options.kind != LAID else len(numbers["trees"]), words, flush=True)
    if options.out:
        arguments = f"--kind {options.kind} --count {options.count} --seed {options.seed} --seconds {options.seconds:g}"
        data = "practice discs of the installed corpus, each also with its tune left out"
        made = Made("tests.bench.fit.belief_fit", arguments, options.seed, data, words, note)
        write_parts(options.out, {options.kind: numbers}, {options.kind: made})


if __name__ == "__main__":
    main()
