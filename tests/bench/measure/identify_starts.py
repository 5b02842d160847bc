"""How far disc identify comes with little: beginnings of 8, 12 and 16 notes, 16 pitches, two tunes on one disc.

    python -m tests.bench.measure.identify_starts [--count 30] [--seed 950]

Beginnings are as printed, with the jitter of pins, at a tempo by chance; right is the tune, or one that has what is
played note for note; for the probabilities only the tune is. Each is asked again with every such print left out of the
library: a claim above one half is then false. Two tunes stand one after the other on a disc, each with its own
accompaniment, key and tempo. Times are processor seconds. Seeds below 900 are for choosing, those from 900 on only to
measure on.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from disc.library.index.library_store import open_library
from disc.library.index.tune_index import Index
from disc.library.search.asked.query import Query, make_query
from disc.library.search.find_tunes import find_tunes
from disc.library.search.parts import parts_of
from disc.words import no_progress
from tests.bench.fit.belief_fit import LOOKED_AT, beginnings, is_right
from tests.bench.measure.identify import discs, same_tune

STARTS = {8: 0.80, 12: 0.95, 16: 0.98}  # bars: first right
PITCHES_ALONE, TWO_TUNES, FALSE_CLAIMS, CALIBRATION = 0.75, 0.85, 0.02, 0.05
BINS = 5


def starts(index: Index, count: int, seed: int, timed: bool) -> None:
    """Beginnings, there and absent: a line for each length, then how far the probabilities are true."""
    said: list[float] = []
    true: list[bool] = []
    claims: list[bool] = []
    right: dict[int, list[bool]] = {}
    seconds: list[float] = []
    for tune, _, query, _ in beginnings(index, count, seed, timed):
        notes = query.onset_s.size
        if notes not in STARTS or (not timed and notes != 16):
            continue
        begun = time.process_time()
        found = find_tunes(index, query, 1)
        seconds.append(time.process_time() - begun)
        first = index.tune_of(found[0].key) if found else None
        right.setdefault(notes, []).append(first is not None and is_right(index, tune, None, query, first))
        said.append(found[0].probability if found else 0.0)
        true.append(first is not None and same_tune(index, tune, first))
        claim = absent_claim(index, tune, query)
        claims.append(claim > 0.5)
        said.append(claim)
        true.append(False)
    for notes, hits in sorted(right.items()):
        bar = STARTS[notes] if timed else PITCHES_ALONE
        words = "" if timed else " without times"
        print(f"{notes:3d} notes{words}: first right {np.mean(hits):.3f} of {len(hits)} (bar {bar})")
    p, y = np.array(said), np.array(true)
    which = np.minimum((p * BINS).astype(int), BINS - 1)
    error = sum(abs(p[which == k].mean() - y[which == k].mean()) * (which == k).mean() for k in set(which.tolist()))
    print(
        f"    absent: {np.mean(claims):.3f} claimed above one half (bar {FALSE_CLAIMS}); mean error of the bins "
        f"{error:.3f} (bar {CALIBRATION}); processor s: median {np.median(seconds):.3f}, worst {max(seconds):.3f}",
        flush=True,
    )


def absent_claim(index: Index, tune: int, query: Query) -> float:
    """The probability of the first match where every print that is right is left out."""
    allowed = np.asarray(index.group[:] != index.group[tune])
    for _ in range(6):
        found = find_tunes(index, query, LOOKED_AT, allowed)
        numbers = [number for one in found if (number := index.tune_of(one.key)) is not None]
        same = [number for number in numbers if is_right(index, tune, None, query, number)]
        if not same:
            return found[0].probability if found else 0.0
        allowed[same] = False
    return 0.0


def two_tunes(index: Index, count: int, seed: int) -> None:
    """Discs with two tunes: both named, each in its part or within the first three."""
    rng = np.random.default_rng(seed)
    both, seconds = [], []
    made = discs(index, "medium", 2 * count, seed)
    for (one, first), (other, second) in zip(made[::2], made[1::2], strict=True):
        gap_s = float(rng.uniform(0.3, 1.5))
        onset_s = np.concatenate([first.onset_s, second.onset_s - second.onset_s[0] + first.onset_s[-1] + gap_s])
        pitch = np.concatenate([first.pitch, second.pitch]).astype(float)
        query = make_query(onset_s, pitch, None, "two tunes")
        begun = time.process_time()
        matches = find_tunes(index, query)
        parts = parts_of(index, query, matches)
        seconds.append(time.process_time() - begun)
        named = [part.matches[0].key for part in parts] + [match.key for match in matches[:3]]
        numbers = [number for key in named if (number := index.tune_of(key)) is not None]
        both.append(all(any(same_tune(index, tune, number) for number in numbers) for tune in (one, other)))
    print(
        f"two tunes: both named {np.mean(both):.3f} of {count} (bar {TWO_TUNES}); processor s: median "
        f"{np.median(seconds):.3f}, worst {max(seconds):.3f}",
        flush=True,
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--seed", type=int, default=950)
    options = parser.parse_args()
    index = open_library(no_progress).index
    starts(index, options.count, options.seed, True)
    starts(index, options.count, options.seed + 1, False)
    two_tunes(index, options.count, options.seed + 2)


if __name__ == "__main__":
    main()
