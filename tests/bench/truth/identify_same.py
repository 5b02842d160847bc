"""Which tunes are one tune by their beat tones (disc/library/read/likeness.py), and how far that is to be trusted.

    python -m tests.bench.truth.identify_same [--queries 300] [--seed 40] [--pairs 40]

For tunes chosen by chance: the likest tune of the library, and the likest of a library read backwards, in which only
chance can be alike (the decoys of protein search; from memory: Elias and Gygi 2007). Then the titles of the pairs that
are surely alike, least alike first, with their tones, to be looked at. The search for the likest looks at all tunes, by
one-to-one beats at five transpositions; the best of that are judged by likeness() itself. No index, no vote, no score
of the search has a part in it.
"""

from __future__ import annotations

import argparse
import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np  # noqa: E402  (after the threads are set)

from disc.library.index.library_store import open_library  # noqa: E402
from disc.library.index.tune_index import Index  # noqa: E402
from disc.library.read.likeness import (  # noqa: E402
    ALIKE,
    ALONE,
    COPIED,
    NO_TONE,
    RAREST,
    SURELY_ALIKE,
    bars_of_four,
    beat_tones,
    likeness,
    tone_likeness,
)
from disc.library.records import IntArray  # noqa: E402
from disc.words import no_progress  # noqa: E402

JUDGED = 40  # likest tunes of the quick look that are judged
# Key signatures of versions differ by two fifths at most: modes of one tonic.
SHIFTS = (0, 7, 5, 2, 10)
BETWEEN = 13  # stands between tunes, matched by nothing
TONE_NAMES = "CcDdEFfGgAaB-"


class _Shelf:
    """Tunes laid end to end as one-hot tones."""

    def __init__(self, tunes: IntArray, tones: list[IntArray]) -> None:
        self.tunes = tunes
        line = np.concatenate([np.concatenate([one.reshape(-1, 2), np.full((1, 2), BETWEEN)]) for one in tones])
        hot = np.zeros((line.shape[0], 2, 14), dtype=np.float32)
        hot[np.arange(line.shape[0])[:, None], np.arange(2)[None], line] = 1
        self.hot = np.ascontiguousarray(hot.reshape(line.shape[0], 28).T)
        self.start = np.concatenate([[0], np.cumsum([one.size // 2 + 1 for one in tones])[:-1]])

    def look(self, tones: IntArray) -> np.ndarray:
        """The best run of beats without gaps in each tune, roughly, shape (tunes,)."""
        gain = np.full((14, 14), np.log(1.0 - 0.6), dtype=np.float32)
        usual = np.maximum(ALONE, RAREST)
        gain[range(12), range(12)] = np.log((0.6 + 0.4 * usual) / usual)
        gain[NO_TONE], gain[:, NO_TONE] = 0.0, 0.0
        gain[:, BETWEEN] = -1e3
        tones = tones.reshape(-1, 2)
        best = np.zeros(self.start.size, dtype=np.float32)
        run, most = np.zeros((2, self.hot.shape[1]), dtype=np.float32)
        for shift in SHIFTS:
            moved = np.where(tones < NO_TONE, (tones + shift) % 12, NO_TONE)
            value = gain[moved].reshape(len(tones), 28) @ self.hot
            run[:], most[:] = 0.0, 0.0
            for row in value:
                run[1:] = np.maximum(run[:-1], 0.0)
                run[0] = 0.0
                run += row
                np.maximum(most, run, out=most)
            np.maximum(best, np.maximum.reduceat(most, self.start), out=best)
        return best


class Sameness:
    """All tunes of a library, ready to be asked which are one tune. backward: each read from its end."""

    def __init__(self, index: Index, backward: bool = False) -> None:
        self.index, self._turn = index, -1 if backward else 1
        references = [index.reference(tune) for tune in range(index.size)]
        self._four = np.array([bars_of_four(one) for one in references])
        everyone = np.arange(index.size)
        plain = [beat_tones(one)[:: self._turn, :: self._turn] for one in references]
        fine = [
            beat_tones(one, fine=True)[:: self._turn, :: self._turn] if four else tones
            for one, tones, four in zip(references, plain, self._four, strict=True)
        ]
        self._plain, self._fine = plain, fine
        self._shelf = _Shelf(everyone, plain)
        self._fine_shelves = [
            _Shelf(everyone[self._four == four], [fine[t] for t in everyone[self._four == four]])
            for four in (False, True)
        ]
        self._known: dict[int, np.ndarray] = {}

    def likest(self, tune: int) -> list[tuple[float, int]]:
        """(nats, tune) of the likest others, likest first."""
        reference = self.index.reference(tune)
        tones, fine = beat_tones(reference), beat_tones(reference, fine=True)
        four = bars_of_four(reference)
        near = self._shelf.look(tones)
        other = self._fine_shelves[0 if four else 1]
        near[other.tunes] = np.maximum(near[other.tunes], other.look(fine))
        near[tune] = -1.0
        judged = []
        for at in np.argsort(-near, kind="stable")[:JUDGED].tolist():
            nats = tone_likeness(tones, self._plain[at])
            if self._four[at] != four:
                nats = max(nats, tone_likeness(fine, self._fine[at]))
            judged.append((nats, at))
        return sorted(judged, reverse=True)

    def same(self, tune: int) -> np.ndarray:
        """Which tunes are surely this one, shape (tunes,); itself too."""
        if tune not in self._known:
            found = np.zeros(self.index.size, dtype=bool)
            found[tune] = True
            for nats, other in self.likest(tune):
                found[other] |= nats >= SURELY_ALIKE
            self._known[tune] = found
        return self._known[tune]

    def are_same(self, a: int, b: int) -> bool:
        """Whether two tunes are surely one."""
        return a == b or likeness(self.index.reference(a), self.index.reference(b)) >= SURELY_ALIKE


def shown(tones: IntArray) -> str:
    """Tones in letters, small for raised, a word a bar."""
    return " ".join("".join(TONE_NAMES[tone] for tone in bar) for bar in tones.tolist())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--queries", type=int, default=300)
    parser.add_argument("--seed", type=int, default=40)
    parser.add_argument("--pairs", type=int, default=40)
    options = parser.parse_args()
    index = open_library(no_progress).index
    chosen = np.random.default_rng(options.seed).choice(index.size, options.queries, replace=False).tolist()
    decoys = Sameness(index, backward=True)
    chance = np.sort([decoys.likest(tune)[0][0] for tune in chosen])[::-1]
    print("likest backward tune, nats: " + ", ".join(f"{value:.1f}" for value in chance[:12]))
    del decoys
    forward = Sameness(index)
    likest = [(*forward.likest(tune)[0], tune) for tune in chosen]
    for limit in (ALIKE, SURELY_ALIKE):
        print(
            f"{limit:.0f} nats and more: backward {np.mean(chance >= limit):.4f} of tunes, "
            f"forward {np.mean([nats >= limit for nats, _, _ in likest]):.3f}"
        )
    print(f"\npairs from {SURELY_ALIKE:.0f} nats on, least alike first (model: {COPIED:.0%} of tones copied)")
    for nats, other, tune in sorted(one for one in likest if one[0] >= SURELY_ALIKE)[: options.pairs]:
        print(f"{nats:6.1f}  {index.title(tune)} ({index.key(tune)}) = {index.title(other)} ({index.key(other)})")
        print(f"        {shown(beat_tones(index.reference(tune)))[:200]}")
        print(f"        {shown(beat_tones(index.reference(other)))[:200]}")


if __name__ == "__main__":
    main()
