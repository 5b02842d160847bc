"""How well and how fast disc identify finds tunes, against the bars of its task.

    python -m tests.bench.measure.identify [--seed S] [--no-peer]    accuracy and time, one line for each bar;
                                                    music21.search beside ours on a small library
    python -m tests.bench.measure.identify --growth    time and memory from 1,000 to 1,000,000 tunes (perturbed copies)

Practice discs come from practice.py. Seeds: 100-199 fitted and chosen on, 900-999 only measured on. Times are process
CPU seconds of one query, everything included, after loading.

A query counts as found when the tune is: the print the disc was made from, another that has what the disc plays note
for note, or another print of the same tune, which serves a restorer as well. Which prints are the same tune is told by
their tones on the beats (library/read/likeness.py), not by the search; identify_same.py shows how often that errs. How
often it was the very print, or one that has the passage note for note, is printed beside it ("strictly"). Where a tune
is taken out of the library to see whether the search says so, all prints of it are.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np  # noqa: E402  (after the threads are set)

from disc.library.index.library_store import open_library  # noqa: E402
from disc.library.index.tune_index import Block, Index, open_index, write_blocks  # noqa: E402
from disc.library.read.likeness import ALIKE, SURELY_ALIKE, likeness  # noqa: E402
from disc.library.read.versions import plain_title  # noqa: E402
from disc.library.search.asked.query import Query, make_query  # noqa: E402
from disc.library.search.find_tunes import find_tunes, laid_signs  # noqa: E402
from disc.library.search.ranking.belief import probability  # noqa: E402
from disc.library.search.ranking.rank_tunes import rank_tunes  # noqa: E402
from disc.words import no_progress  # noqa: E402
from tests.bench.truth.practice import LEVELS, PracticeDisc, practice_disc  # noqa: E402

BARS = {
    "mild": (0.99, None), "medium": (0.99, None), "hard": (0.98, None), "severe": (0.78, 0.88), "versions": (0.87,
    0.93), "order mild": (0.98, None), "order medium": (0.93, None), "order hard": (0.80, None),
}  # fmt: skip
ACCEPT_BARS = {"mild": 0.96, "medium": 0.93, "hard": 0.85}
UNSEEN_SEED = 900
TURNED = 0.2  # share of discs that begin within their tune
LOOKED_AT = 60  # answers among which other prints of an absent tune are looked for


@dataclass
class Trial:
    """One query and what came of it: places in the answer, from 0; 999: not found.

    place: of the tune, in whichever print. strict: of this print, or of one that has what the disc plays note for note.
    """

    place: int
    strict: int
    seconds: float
    belief: float


def discs(
    index: Index, level: str, count: int, seed: int, tunes: np.ndarray | None = None
) -> list[tuple[int, PracticeDisc]]:
    """Practice discs of tunes chosen by chance, each with the tune's number."""
    rng = np.random.default_rng([seed, sorted(LEVELS).index(level)])
    made: list[tuple[int, PracticeDisc]] = []
    while len(made) < count:
        tune = int(rng.choice(tunes)) if tunes is not None else int(rng.integers(index.size))
        disc = practice_disc(index.reference(tune), LEVELS[level], rng, TURNED)
        if disc is not None and disc.onset_s.size >= 6:
            made.append((tune, disc))
    return made


def query_of(disc: PracticeDisc, order_only: bool) -> Query:
    pitch = None if order_only else disc.pitch.astype(np.float64)
    return make_query(disc.onset_s, pitch, disc.rank if order_only else None, "practice disc")


def run(index: Index, tune: int, disc: PracticeDisc, query: Query, allowed: np.ndarray | None) -> Trial:
    started = time.process_time()
    ranking = rank_tunes(index, query, allowed)
    seconds = time.process_time() - started
    found = ranking.found
    exact = next((i for i, one in enumerate(found) if one.tune == tune), 999)
    strict = next((i for i, one in enumerate(found[:10]) if has_passage(index, disc, one.tune)), exact)
    same = next((i for i, one in enumerate(found[: min(10, strict)]) if same_tune(index, tune, one.tune)), strict)
    belief = probability(laid_signs(index, query, ranking)) if ranking.signs else 0.0
    return Trial(same, strict, seconds, belief)


def same_tune(index: Index, a: int, b: int) -> bool:
    """Whether two prints are one tune, by their tones on the beats; less is asked where their titles agree."""
    if a == b:
        return True
    agree = plain_title(index.title(a)) == plain_title(index.title(b))
    return likeness(index.reference(a), index.reference(b)) >= (ALIKE if agree else SURELY_ALIKE)


def has_passage(index: Index, disc: PracticeDisc, other: int) -> bool:
    """Whether a tune has the printed passage that the disc plays, note for note, whatever its key and note values."""
    played = np.unique(disc.melody[disc.melody >= 0])
    if played.size < 5:
        return False
    whole = slice(int(played[0]), int(played[-1]) + 1)
    steps, gaps = np.diff(disc.tune.pitch[whole]), np.diff(disc.tune.onset_tick[whole]).astype(float)
    reference = index.reference(other)
    their_steps, their_gaps = np.diff(reference.pitch), np.diff(reference.onset_tick).astype(float)
    for begin in np.flatnonzero(their_steps[: max(0, their_steps.size - steps.size + 1)] == steps[0]):
        part = slice(begin, begin + steps.size)
        if (their_steps[part] == steps).all():
            scaled = gaps * their_gaps[part].sum() / max(gaps.sum(), 1.0)
            if np.abs(their_gaps[part] - scaled).max() <= 2.0:  # ticks, of 10080 to the quarter
                return True
    return False


def without(index: Index, tune: int, query: Query) -> np.ndarray:
    """Tunes that may be found when this one is to be absent: not its group, nor any other print of it.

    Prints that the search does not come upon have no part in its answer, so only those of its answers are looked at.
    """
    allowed = np.asarray(index.group[:] != index.group[tune])
    while True:
        same = [
            one.tune for one in rank_tunes(index, query, allowed).found[:LOOKED_AT] if same_tune(index, tune, one.tune)
        ]
        if not same:
            return allowed
        allowed[same] = False


def all_but(index: Index, tune: int) -> np.ndarray:
    """Tunes that may be found when only other prints of this one are in the library."""
    return np.asarray(np.arange(index.size) != tune)


def with_version(index: Index) -> np.ndarray:
    """Tunes of which another print has the same title and the same tones on the beats, but not the same notes."""
    titles: dict[str, list[int]] = {}
    for tune in range(index.size):
        titles.setdefault(plain_title(index.title(tune)), []).append(tune)
    chosen = []
    for title, members in titles.items():
        if len(title) <= 3 or not 2 <= len(members) <= 12:
            continue
        steps = [np.diff(index.reference(tune).pitch).tobytes() for tune in members]
        for tune, own in zip(members, steps, strict=True):
            others = [other for other, its in zip(members, steps, strict=True) if its != own]
            if any(same_tune(index, tune, other) for other in others):
                chosen.append(tune)
    return np.array(chosen)


def accuracy(index: Index, count: int, seed: int) -> None:
    present: dict[str, list[Trial]] = {}
    absent: dict[str, list[Trial]] = {}
    for level in ("mild", "medium", "hard", "severe"):
        made = discs(index, level, count, seed)
        present[level] = [run(index, tune, disc, query_of(disc, False), None) for tune, disc in made]
        line(level, present[level])
        if level != "severe":
            absent[level] = [
                run(index, tune, disc, query, without(index, tune, query))
                for tune, disc, query in ((tune, disc, query_of(disc, False)) for tune, disc in made)
            ]
            name = f"order {level}"
            present[name] = [run(index, tune, disc, query_of(disc, True), None) for tune, disc in made]
            line(name, present[name])
    made = discs(index, "medium", count, seed + 1, with_version(index))
    line("versions", [run(index, tune, disc, query_of(disc, False), all_but(index, tune)) for tune, disc in made])
    everyone = np.sort([trial.belief for trials in absent.values() for trial in trials])
    limit = float(everyone[int(np.ceil(0.99 * everyone.size)) - 1])
    print(
        f"\nabsent tunes: 99 % have a probability up to {limit:.3f}; "
        f"called likely (>= 0.9): {(everyone >= 0.9).mean():.3f}"
    )
    for level, bar in ACCEPT_BARS.items():
        share = float(np.mean([trial.belief > limit and trial.place == 0 for trial in present[level]]))
        print(f"accepted at 1 % false, {level:7s} {share:.3f}  bar {bar:.2f}  {verdict(share, bar)}")
    times = [trial.seconds for trials in present.values() for trial in trials]
    print(f"time a query: median {np.median(times):.3f} s, worst {max(times):.3f} s  bars 0.05 and 0.40 s")
    whole = []
    for _, disc in discs(index, "medium", 20, seed + 2):
        started = time.process_time()
        find_tunes(index, query_of(disc, False), 10)
        whole.append(time.process_time() - started)
    print(f"with ten full alignments: median {np.median(whole):.3f} s, worst {max(whole):.3f} s")


def line(name: str, trials: list[Trial]) -> None:
    first, ten = (float(np.mean([trial.place < most for trial in trials])) for most in (1, 10))
    strictly = [float(np.mean([trial.strict < most for trial in trials])) for most in (1, 10)]
    bar1, bar10 = BARS[name]
    second = f"  top-10 bar {bar10} {verdict(ten, bar10)}" if bar10 else ""
    print(
        f"{name:13s} n {len(trials)}  top-1 {first:.3f}  top-10 {ten:.3f}  "
        f"(strictly {strictly[0]:.3f}, {strictly[1]:.3f})  top-1 bar {bar1} {verdict(first, bar1)}{second}  "
        f"median {np.median([t.seconds for t in trials]):.3f} s",
        flush=True,
    )


def verdict(value: float, bar: float | None) -> str:
    return "met" if bar is None or value >= bar else f"MISSED by {bar - value:.3f}"


def logistic(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    weights = np.zeros(x.shape[1])
    for _ in range(50):
        p = 1 / (1 + np.exp(-np.clip(x @ weights, -30, 30)))
        slope = x.T @ (y - p) - 0.01 * weights
        weights += np.linalg.solve((x * (p * (1 - p))[:, None]).T @ x + 0.01 * np.eye(x.shape[1]), slope)
    return weights


def growth(index: Index, sizes: list[int]) -> None:
    """Libraries of perturbed copies; each is written and searched in a process of its own, whose peak memory is shown.

    "MB held" is the peak resident size of that process; while searching most of it is pages of the mapped index.
    """
    print(
        "    tunes      notes    postings  written CPU s (MB held)  on disk MB  open s  "
        "query CPU s: median worst (MB held)  top-1  by order"
    )
    for size in sizes:
        with tempfile.TemporaryDirectory(prefix="disc-growth-", dir=os.environ.get("DISC_GROWTH")) as name:
            seconds, held = in_own_process(write_perturbed, size, name)
            line, searching = in_own_process(search_perturbed, size, name)
            megabytes = sum(path.stat().st_size for path in Path(name).iterdir()) / 1e6
            print(
                f"{size:9d} {line['notes']:10d} {line['postings']:11d}  {seconds:8.1f} ({held:5.0f})  "
                f"{megabytes:12.0f}  {line['open']:6.3f}  {line['median']:10.3f} {line['worst']:6.3f} "
                f"({searching:6.0f})  {line['top1']:11.2f} {line['order']:6.2f}",
                flush=True,
            )


def in_own_process(task: Callable[[int, str], Any], size: int, name: str) -> tuple[Any, float]:
    """(what the task returns, most MB its process held)."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(_with_memory, task, size, name).result()


def _with_memory(task: Callable[[int, str], Any], size: int, name: str) -> tuple[Any, float]:
    result = task(size, name)
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return result, int(status.split("VmHWM:")[1].split()[0]) / 1000


def write_perturbed(size: int, name: str) -> float:
    index = open_library(no_progress).index
    started = time.process_time()
    write_blocks(Path(name), perturbed(index, size))
    return time.process_time() - started


def perturbed(index: Index, size: int) -> Iterator[Block]:
    """`size` tunes: the index's own, then copies of them with one note in six moved by up to 3 semitones."""
    rng = np.random.default_rng(UNSEEN_SEED)
    for copy in range(-(-size // index.size)):
        most = min(index.size, size - copy * index.size)
        for begin in range(0, most, 7000):
            end = min(begin + 7000, most)
            part = slice(int(index.start[begin]), int(index.start[end]))
            pitch = index.pitch[part].astype(np.int16)
            if copy:
                moved = rng.random(pitch.size) < 1 / 6
                pitch[moved] += rng.integers(-3, 4, int(moved.sum())).astype(np.int16)
            yield Block(
                index.onset[part], index.duration[part], np.clip(pitch, 0, 127).astype(np.uint8), index.bar[part],
                np.asarray(index.start[begin : end + 1] - index.start[begin]), index.group[begin:end].astype(np.int64),
                [(row[0], f"{row[1]}{copy or ''}", *row[2:]) for row in index.rows[begin:end]],
            )  # fmt: skip


def search_perturbed(size: int, name: str) -> dict[str, float]:
    index = open_library(no_progress).index
    started = time.process_time()
    large = open_index(Path(name))
    opened = time.process_time() - started
    times, right, ordered = [], [], []
    for tune, disc in discs(index, "medium", 60, UNSEEN_SEED + 5, np.arange(min(size, index.size))):
        started = time.process_time()
        found = find_tunes(large, query_of(disc, False), 10)
        times.append(time.process_time() - started)
        right.append(bool(found) and found[0].group == int(index.group[tune]))
        found = find_tunes(large, query_of(disc, True), 10)
        ordered.append(bool(found) and found[0].group == int(index.group[tune]))
    return {
        "notes": int(large.start[-1]), "postings": large.by_pitch.packed.size + large.by_rank.packed.size,
        "open": opened, "median": float(np.median(times)), "worst": max(times), "top1": float(np.mean(right)),
        "order": float(np.mean(ordered)),
    }  # fmt: skip


def peer(index: Index, seed: int, size: int = 300, count: int = 8) -> None:
    """music21.search.approximateNoteSearch beside ours: the same discs, the same small library."""
    from music21 import note, search, stream

    rng = np.random.default_rng(seed)
    tunes = np.sort(rng.choice(index.size, size, replace=False))
    allowed = np.zeros(index.size, dtype=bool)
    allowed[tunes] = True
    printed = []
    for tune in tunes:
        part: stream.Stream[note.Note] = stream.Stream()
        reference = index.reference(int(tune))
        for at, pitch, length in zip(reference.onset_quarter, reference.pitch, reference.duration_tick, strict=True):
            part.insert(float(at), note.Note(int(pitch), quarterLength=max(float(length) / 10080, 0.01)))
        printed.append(part)
    ours, theirs, seconds = 0, 0, []
    for tune, disc in discs(index, "medium", count, seed, tunes):
        query = query_of(disc, False)
        ours += run(index, tune, disc, query, allowed).place == 0
        heard: stream.Stream[note.Note] = stream.Stream()
        for at, pitch in zip(disc.onset_s, disc.pitch, strict=True):
            heard.insert(float(at / disc.quarter_s), note.Note(int(pitch) - disc.transposition))  # transposition given
        started = time.process_time()
        best = search.approximateNoteSearch(heard, printed)[0]
        seconds.append(time.process_time() - started)
        theirs += best is printed[int(np.searchsorted(tunes, tune))]
    print(
        f"{size} tunes, {count} discs: music21.search {theirs} of {count} at {np.median(seconds):.2f} s "
        f"(transposition told); ours {ours} of {count}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--seed", type=int, default=UNSEEN_SEED)
    parser.add_argument("--growth", action="store_true")
    parser.add_argument("--sizes", type=int, nargs="*", default=[1000, 13000, 130000, 1000000])
    parser.add_argument("--no-peer", action="store_true", help="without music21.search beside ours")
    options = parser.parse_args()
    started = time.process_time()
    index = open_library(no_progress).index
    print(f"{index.size} tunes; opened in {time.process_time() - started:.3f} s CPU (bar 0.5 s)")
    if options.growth:
        growth(index, options.sizes)
    else:
        accuracy(index, options.count, options.seed)
        if not options.no_peer:
            peer(index, options.seed)


if __name__ == "__main__":
    main()
