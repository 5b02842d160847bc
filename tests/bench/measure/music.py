"""Written and arranged as a musician would: the issue's bars on pieces with accompaniment. Prints a table.

    python tests/bench/measure/music.py [--half "looked at"] [--pieces 30] [--what pace sections ornaments lead]

Pieces: excerpts of quartets, piano pieces and songs (music_pieces.py), laid out for a comb, and corpus melodies with
an accompaniment made for them (tune_strikes.py; held-out half). Each turn has setting errors of 15 ms. pace: the same
turn steady, with a ritardando over its last bars, with one fermata, and with a slow drift of 1 and 3 per cent;
right: every bar line within a tenth of a bar (of bars half or twice as long too, all through), none too many.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # tests/: bench and the rooms' helpers

from bench.truth.music_pieces import Piece, load_pieces
from bench.truth.tune_corpus import load_melodies
from bench.truth.tune_strikes import make_turn
from disc.frame import turn_for_onset_deg
from disc.records import Plate, Strike
from disc.tune.read.read_tune import TuneReading, read_tune

KINDS = ("steady", "ritardando", "fermata", "drift 1 %", "drift 3 %")
BARS = {"steady": 0.95, "ritardando": 0.93, "fermata": 0.90, "drift 1 %": 0.95, "drift 3 %": 0.85, "key": 0.92}
ERROR_S = 0.015


@dataclass(frozen=True)
class Case:
    """A steady turn without errors: onsets in seconds with pitches, and where its bars begin."""

    name: str
    onset_s: np.ndarray
    pitch: np.ndarray
    metre: tuple[int, int]
    fifths: int
    start_s: float
    bar_s: float
    melody_end: np.ndarray  # onsets of melody notes that are long and end a bar or phrase


def cases_of_pieces(half: str) -> list[Case]:
    """Excerpts of the corpus's composers as turns."""
    return [case_of(piece, number) for number, piece in enumerate(load_pieces()) if piece.half == half]


def case_of(piece: Piece, number: int) -> Case:
    """The leading part's tops, the lowest notes, and some of the inner ones, as many as a comb of the kind plays."""
    rng = np.random.default_rng([11, number])
    by_time: dict[Fraction, list[tuple[int, int]]] = {}
    for onset, _, pitch, part in piece.notes:
        by_time.setdefault(onset, []).append((pitch, part))
    kept: list[tuple[Fraction, int]] = []
    for onset, notes in sorted(by_time.items()):
        lead = [pitch for pitch, part in notes if part == piece.lead]
        rest = sorted(pitch for pitch, part in notes if part != piece.lead)
        kept += [(onset, max(lead))] if lead else []
        kept += [(onset, pitch) for i, pitch in enumerate(rest) if i == 0 or rng.random() < 0.4]
    lead_mean = np.mean([p for _, _, p, part in piece.notes if part == piece.lead])
    shift = round(80 - float(lead_mean))
    folded = [(onset, pitch + shift + 12 * max(0, -(-(52 - pitch - shift) // 12))) for onset, pitch in kept]
    folded = sorted(set(folded))
    bar = Fraction(4 * piece.metre[0], piece.metre[1])
    gaps = np.diff(sorted({float(o) for o, _ in folded}))
    usual = max(float(np.percentile(gaps, 25)), 0.125)
    quarter_s = min(float(rng.uniform(0.15, 0.3)) / usual, 55.0 / float(piece.bars * bar))
    start_s = 1.0 - quarter_s * min(0.0, float(folded[0][0]))
    onset_s = np.array([start_s + quarter_s * float(o) for o, _ in folded])
    pitch = np.array([p for _, p in folded])
    fifths = (piece.fifths + 7 * shift + 5) % 12 - 5
    return Case(piece.name, onset_s, pitch, piece.metre, fifths, start_s, quarter_s * float(bar), onset_s)


def cases_of_melodies(count: int) -> list[Case]:
    """Held-out melodies with an accompaniment made for them, without errors (grace notes and rolls stay)."""
    melodies = [m for m in load_melodies(count=160) if m.part == "held out"][:count]
    made = []
    for number, melody in enumerate(melodies):
        turn = make_turn(melody, np.random.default_rng([12, number]), error_s=0.0)
        bar_s = 4 * melody.metre[0] / melody.metre[1] * turn.quarter_s
        onset_s = np.array([s.onset_s for s in turn.strikes])
        pitch = np.array([int(s.pitch or 0) for s in turn.strikes])
        made.append(Case(melody.name, onset_s, pitch, melody.metre, turn.fifths, turn.start_s, bar_s, onset_s))
    return made


def bend(case: Case, kind: str, rng: np.random.Generator) -> Callable[[np.ndarray], np.ndarray]:
    """The way the turn's time is bent: seconds at a steady tempo to seconds of the turn."""
    first, last = float(case.onset_s[0]), float(case.onset_s[-1])
    if kind == "ritardando":
        length = min(float(rng.uniform(1.0, 2.5)) * case.bar_s, 0.25 * (last - first))
        slow = float(rng.uniform(0.4, 0.9))  # the last moment goes 1.4 to 1.9 times as slow
        power = float(rng.uniform(1.0, 2.0))

        def late(at: np.ndarray) -> np.ndarray:
            share = np.maximum(0.0, (at - (last - length)) / length)
            return at + length * slow * share ** (1 + power) / (1 + power)

        return late
    if kind == "fermata":
        moments = np.unique(np.round(case.onset_s, 6))
        gaps = np.diff(moments)
        middle = (moments[:-1] > first + 0.2 * (last - first)) & (moments[:-1] < first + 0.85 * (last - first))
        long = np.flatnonzero(middle & (gaps >= np.percentile(gaps[middle], 80)))
        at_s = moments[int(rng.choice(long))]
        gap = float(gaps[moments[:-1] == at_s][0])
        more = float(rng.uniform(0.5, 1.4)) * gap
        return lambda at: at + more * np.clip((at - at_s) / gap, 0.0, 1.0)
    if kind.startswith("drift"):
        size = float(kind.split()[1]) / 100.0
        waves = float(rng.uniform(0.5, 1.2))
        phase = float(rng.uniform(0, 2 * np.pi))
        omega = 2 * np.pi * waves / (last - first)
        return lambda at: at + size / omega * (np.sin(omega * (at - first) + phase) - np.sin(phase))
    return lambda at: at


def read_case(case: Case, kind: str, seed: int) -> tuple[TuneReading, Callable[[np.ndarray], np.ndarray], float]:
    """(what was read of the bent turn with its errors, the bend, processor seconds)."""
    rng = np.random.default_rng([seed, KINDS.index(kind), len(case.onset_s)])
    bent = bend(case, kind, rng)
    onset_s = bent(case.onset_s) + rng.normal(0, ERROR_S, len(case.onset_s))
    turn_s = float(onset_s.max()) + 2.0
    order = np.argsort(onset_s)
    strikes = tuple(
        Strike(
            float(turn_for_onset_deg(max(float(onset_s[i]), 0.0), turn_s)),
            max(float(onset_s[i]), 0.0),
            int(case.pitch[i]),
            float(case.pitch[i]),
            pin_id=number,
        )
        for number, i in enumerate(order, start=1)
    )
    began = time.process_time()
    reading = read_tune(strikes, Plate(diameter_mm=30.0, revolution_s=turn_s))
    return reading, bent, time.process_time() - began


def lines_right(case: Case, reading: TuneReading, bent: Callable[[np.ndarray], np.ndarray]) -> bool:
    """Whether all bar lines are right, of bars as printed or half or twice as long."""
    tune = reading.tune
    last = float(bent(case.onset_s[-1:])[0])
    said_bar = tune.metre.bar_quarter
    said = []
    for number in range(400):
        at = tune.onset_s(number * said_bar)
        if at > last + 0.05:
            break
        said.append(at)
    compound = case.metre[0] in (6, 9, 12)
    if compound != (tune.metre.beats in (6, 9, 12)):
        return False
    triple = case.metre[0] in (3, 9)
    for ratio in (1.0,) if triple else (1.0, 0.5, 2.0):
        for shift in (0.0,) if ratio <= 1 else (0.0, 1.0):
            places = case.start_s + (shift + ratio * np.arange(400)) * case.bar_s
            true = bent(places[places < case.onset_s[-1] + 1e-6])
            if _same(np.array(said), true, 0.1 * min(1.0, ratio) * case.bar_s):
                return True
    return False


def _same(said: np.ndarray, true: np.ndarray, within: float) -> bool:
    if len(said) < 3 or len(true) < 3:
        return False
    near = np.abs(said[:, None] - true[None, :])
    # the first and the last line may be wanting: an upbeat bar counted or not
    return bool((near.min(0)[1:-1] < within).all() and (near.min(1)[1:-1] < within).all())


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--half", default="looked at")
    parser.add_argument("--pieces", type=int, default=1000)
    parser.add_argument("--melodies", type=int, default=40)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS))
    parser.add_argument("--names", action="store_true", help="name the cases that fail")
    given = parser.parse_args()
    for group, cases in (
        ("pieces", cases_of_pieces(given.half)[: given.pieces]),
        ("melodies", cases_of_melodies(given.melodies)),
    ):
        for kind in given.kinds:
            rows = []
            for number, case in enumerate(cases):
                reading, bent, cpu_s = read_case(case, kind, 5 + number)
                right = lines_right(case, reading, bent)
                key = reading.tune.key.fifths % 12 == case.fifths % 12
                rows.append((right, key, cpu_s))
                if given.names and not right:
                    metre = f"{reading.tune.metre.beats}/{reading.tune.metre.unit}"
                    print(f"    {case.name} {case.metre} read {metre}")
            if rows:
                right, key, cpu_s = (float(np.mean([row[i] for row in rows])) for i in range(3))
                cells = f"lines {right:.3f} (bar {BARS[kind]:.2f})  key {key:.3f}  cpu {cpu_s:.2f} s"
                print(f"{group:9s} {kind:11s} {len(rows):4d}  {cells}", flush=True)


if __name__ == "__main__":
    main()
