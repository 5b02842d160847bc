"""Is a percentage true? Reliability tables of every kind of percentage that the program shows.

    python -m tests.bench.measure.calibration photo JOBS FOLDER [FOLDER ...] [--names h1,h2]
    python -m tests.bench.measure.calibration drawn JOBS FOLDER [--draws 4] [--seed 1]
    python -m tests.bench.measure.calibration fits JOBS
    python -m tests.bench.measure.calibration music [--tunes 60] [--pieces 50] [--arrangements 3] [--removed 0 0.05]

photo: jobs as chain.py --jobs leaves them, held against NAME.json of FOLDER: that a site is there, that its condition
is as read, and every kind of finding. drawn: findings on the same discs with other faults, each of them read as one of
its kind was read on another disc (tests/bench/truth/redrawn.py). fits: the same jobs sabotaged as in fits.py: that the
cause named is the right one. music: metre and key of turns made of the held-out half of the melodies and of arranged
pieces.

A table shows, for each tenth of what was said, how often it was said, what was said on average and how often it was
so; the expected calibration error weighs the differences by how often each was said. Few cases make it larger than it
is: a kind with n cases all said at p has an error of about sqrt(p (1 - p) / n) by chance alone, printed beside it.
"""

from __future__ import annotations

import argparse
import json
import math
import zlib
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from disc.check.check_disc import judge
from disc.check.check_job import judge_turn, references_of
from disc.check.kinds import info
from disc.job import open_job
from disc.photo.seen.seen_map import ANGLES, RINGS, SEEN, SeenMap
from disc.records import Condition, Finding, Pin, Side
from disc.tune.read.read_tune import read_tune
from disc.turn.one_turn import resolve
from disc.turn.turn_of_job import turn_of_job
from tests.bench.measure.chain import SITES, _pairs, _place, _place_of, _stands_extra
from tests.bench.measure.fits import sabotaged, said_of
from tests.bench.measure.music import lines_right, read_case
from tests.bench.measure.score import bar_scores
from tests.bench.truth.known import known
from tests.bench.truth.music_pieces import load_pieces
from tests.bench.truth.music_turns import case_of
from tests.bench.truth.redrawn import outcomes, redraw
from tests.bench.truth.tune_corpus import load_melodies
from tests.bench.truth.tune_strikes import make_turn

BINS = 10
REACH_MM = 0.3  # of a finding's place from the fault that it names
Said = tuple[float, bool]


def ece(said: Sequence[Said]) -> float:
    """Expected calibration error over ten bins of equal width."""
    p, so = np.array([one[0] for one in said]), np.array([one[1] for one in said], float)
    which = np.minimum((p * BINS).astype(int), BINS - 1)
    gaps = [abs(p[which == k].sum() - so[which == k].sum()) for k in range(BINS)]
    return float(sum(gaps) / len(said))


def by_chance(said: Sequence[Said]) -> float:
    """About the error that perfectly true percentages would show with so few cases."""
    p = np.array([one[0] for one in said])
    which = np.minimum((p * BINS).astype(int), BINS - 1)
    spread = [math.sqrt(float((p[which == k] * (1 - p[which == k])).sum())) for k in range(BINS)]
    return 0.8 * float(sum(spread)) / len(said)  # 0.8: mean absolute value of a normal deviate


def show(name: str, said: Sequence[Said]) -> None:
    """One table."""
    if not said:
        return
    p, so = np.array([one[0] for one in said]), np.array([one[1] for one in said], float)
    flag = "" if ece(said) <= 0.05 else "  OVER" if ece(said) > 0.05 + by_chance(said) else "  over, within chance"
    print(
        f"\n{name}: n {len(said)}, said {p.mean():.3f}, so {so.mean():.3f}, ECE {ece(said):.3f} "
        f"(chance {by_chance(said):.3f}){flag}"
    )
    which = np.minimum((p * BINS).astype(int), BINS - 1)
    for k in range(BINS):
        if (which == k).any():
            inside = which == k
            told = f"said {p[inside].mean():.3f}  so {so[inside].mean():.3f}"
            print(f"   {k / BINS:.1f}-{(k + 1) / BINS:.1f}  n {inside.sum():5d}  {told}")


def photo(jobs: Path, folders: Sequence[Path], names: set[str]) -> None:
    """Sites, conditions and findings of jobs that were read from photographs."""
    said: dict[str, list[Said]] = defaultdict(list)
    for path in sorted(p for folder in folders for p in folder.glob("*.json")):
        if (names and path.stem not in names) or not (jobs / path.stem / "pins.csv").is_file():
            continue
        truth = json.loads(path.read_text(encoding="utf-8"))
        job = open_job(jobs / path.stem)
        _pins(job.pins(), truth, said)
        turn = turn_of_job(job)
        for finding in judge_turn(job, turn, references_of(job)).findings:
            if info(finding.kind).measured:
                continue  # told by its measure, without a percentage
            kind = finding.kind + (", no hole seen" if finding.kind == "missing" and finding.pin_id is None else "")
            said[f"finding: {kind}"].append((finding.probability, _is_so(finding, truth)))
            said["finding: all"].append(said[f"finding: {kind}"][-1])
    for name in sorted(said):
        show(name, said[name])


def drawn(jobs: Path, folder: Path, draws: int, seed: int) -> None:
    """Findings on the discs of jobs with faults drawn anew."""
    read = {}
    for path in sorted(p for p in jobs.iterdir() if (p / "pins.csv").is_file()):
        job, truth = open_job(path), json.loads((folder / f"{path.name}.json").read_text(encoding="utf-8"))
        read[path.name] = (job, truth, outcomes(path.name, job.pins(), truth))
    said: dict[str, list[Said]] = defaultdict(list)
    for name, (job, truth, own) in read.items():
        others = [one for other, (_, _, had) in read.items() if other != name for one in had[0].values()]
        for draw in range(draws):
            rng = np.random.default_rng([seed, draw, zlib.crc32(name.encode())])
            pins, now = redraw(truth, own, others, rng)
            turn = replace(resolve(pins, job.comb(), job.plate), seen=clear_maps(job.plate.radius_mm))
            for finding in judge(turn).findings:
                if not info(finding.kind).measured:
                    said[f"finding: {finding.kind}"].append((finding.probability, _is_so(finding, now)))
                    said["finding: all"].append(said[f"finding: {finding.kind}"][-1])
    for name in sorted(said):
        show(name, said[name])


def clear_maps(radius_mm: float) -> dict[Side, SeenMap]:
    """Both faces photographed, everything seen."""
    return {side: SeenMap(side=side, radius_mm=radius_mm, rows=(SEEN * ANGLES,) * RINGS) for side in Side}


def _pins(pins: Sequence[Pin], truth: dict[str, Any], said: dict[str, list[Said]]) -> None:
    sites = [pin for pin in truth["pins"] if pin["condition"] in (*SITES, "extra")]
    pairs = dict(_pairs([_place(p.side, p.r_mm, p.theta_deg) for p in pins], [_place_of(s) for s in sites]))
    for k, pin in enumerate(pins):
        if pin.confidence is not None:
            said["pin: a site is here"].append((pin.confidence, k in pairs))
        if pin.condition_probability is None or k not in pairs:
            continue
        true = sites[pairs[k]]
        if true["condition"] == "extra" and pin.condition is not Condition.EXTRA:  # told by its place, on no track
            true = true | {"condition": "sound" if true["height_mm"] > 0 else "missing"}
        told = (pin.condition_probability, pin.condition.value == true["condition"])
        said[f"pin: it is {pin.condition.value}"].append(told)
        said["pin: its condition"].append(told)
        if pin.confidence is not None and pin.condition.value != "sound":
            said["pin: it is here and so (not sound)"].append((pin.confidence * told[0], told[1]))


def _is_so(finding: Finding, truth: dict[str, Any]) -> bool:
    here = _place(finding.side, finding.r_mm, finding.theta_deg)
    near = []
    for pin in truth["pins"]:
        there = _place_of(pin)
        if there[0] == here[0] and math.hypot(there[1] - here[1], there[2] - here[2]) <= REACH_MM:
            near.append(pin)
    kinds = {pin["condition"] for pin in near}
    if finding.kind in ("missing", "in-doubt"):
        return "missing" in kinds
    if finding.kind == "abandoned":
        return any(pin["condition"] == "extra" and not _stands_extra(pin) for pin in near)
    if finding.kind == "extra":
        return any(_stands_extra(pin) for pin in near)
    return finding.kind in kinds


def fits(jobs: Path) -> None:
    """What is said of discs that were sabotaged and of those left alone: is the cause named the right one?"""
    said: dict[str, list[Said]] = defaultdict(list)
    found = [open_job(path) for path in sorted(jobs.iterdir()) if (path / "job.json").is_file()]
    discs = [(job.pins(), job.comb(), job.plate) for job in found]
    for k, disc in enumerate(discs):
        for what, about, spoilt in sabotaged(disc, discs[(k + 3) % len(discs)]):
            for doubt in said_of(what, spoilt):
                if doubt.probability < 1.0:
                    said[f"doubt: {doubt.about.value}"].append((doubt.probability, doubt.about is about))
    for name in sorted(said):
        show(name, said[name])


def music(tunes: int, pieces: int, arrangements: int, removed: Sequence[float], seed: int) -> None:
    """Metre and key, of melodies with an accompaniment and of arranged pieces; both of the halves not fitted to.

    arrangements: turns of each piece, in other inner voices and tempi.
    """
    said: dict[str, list[Said]] = defaultdict(list)
    melodies = [m for m in load_melodies(count=1000) if m.part == "held out"]
    chosen = np.random.default_rng(seed).permutation(len(melodies))[:tunes]
    for share in removed:
        for k in chosen:
            turn = make_turn(melodies[k], np.random.default_rng([seed, int(k), int(100 * share)]), share)
            reading = read_tune(turn.strikes, turn.plate)
            bars, what = bar_scores(turn, reading.tune), f"({share:.0%} of the strikes lost)"
            metre = known(reading.metre_probability, "metre")
            said[f"metre, bars as printed {what}"].append((metre, bars["bar"]))
            said[f"metre or its half or double {what}"].append(
                (known(reading.metre_probability, "metre"), bars["phase"])
            )
            right = reading.tune.key.fifths % 12 == turn.fifths % 12
            said[f"key {what}"].append((known(reading.key_probability, "key"), right))
    chosen_pieces = [(n, piece) for n, piece in enumerate(load_pieces()) if piece.half == "last"][:pieces]
    turns = [(n, piece, variant) for variant in range(arrangements) for n, piece in chosen_pieces]
    for number, piece, variant in turns:
        case = case_of(piece, number, seed=11 + variant, inner=(0.4, 0.2, 0.7)[variant % 3])
        reading, bent, _ = read_case(case, "steady", seed + number + 1000 * variant)
        bar_s = float(reading.tune.metre.bar_quarter) * reading.tune.quarter_s
        as_printed = lines_right(case, reading, bent) and abs(bar_s / case.bar_s - 1.0) < 0.01
        said["metre, bars as printed, arranged pieces"].append((known(reading.metre_probability, "metre"), as_printed))
        right = reading.tune.key.fifths % 12 == case.fifths % 12
        what = "in the key that is printed" if case.key_known else "printed in another key than their own"
        said[f"key, arranged pieces {what}"].append((known(reading.key_probability, "key"), right))
    for what in ("metre, bars as printed", "key"):
        said[f"{what}: all"] = [one for name, rows in said.items() if name.startswith(what) for one in rows]
    for name in sorted(said):
        show(name, said[name])


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("photo", "drawn", "fits", "music"))
    parser.add_argument("places", nargs="*", type=Path)
    parser.add_argument("--names", default="")
    parser.add_argument("--draws", type=int, default=4)
    parser.add_argument("--tunes", type=int, default=60)
    parser.add_argument("--pieces", type=int, default=50)
    parser.add_argument("--arrangements", type=int, default=3)
    parser.add_argument("--removed", type=float, nargs="*", default=[0.0, 0.05, 0.15])
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    if given.what == "photo":
        photo(given.places[0], given.places[1:], set(filter(None, given.names.split(","))))
    elif given.what == "drawn":
        drawn(given.places[0], given.places[1], given.draws, given.seed)
    elif given.what == "fits":
        fits(given.places[0])
    else:
        music(given.tunes, given.pieces, given.arrangements, given.removed, given.seed)


if __name__ == "__main__":
    main()
