"""Written and arranged as a musician would: the bars on pieces with accompaniment. Prints a table.

    python -m tests.bench.measure.music [--half "looked at"] [--pieces 30] [--what pace ornaments sections]

Pieces: excerpts of quartets, piano pieces and songs (music_pieces.py), laid out for a comb, and corpus melodies with
an accompaniment made for them (tune_strikes.py; held-out half). Each turn has setting errors of 15 ms. pace: the same
turn steady, with a ritardando over its last bars, with one fermata, and with a slow drift of 1 and 3 per cent;
right: every bar line within a tenth of a bar (of bars half or twice as long too, all through, but not of three beats),
none too many, and the class of the metre; lines: the same of the bar lines alone, where three thirds of a beat may be
written in a compound metre; doubled: bars twice as long of three beats too (3/8 as 6/8), as the bar
allows. key: of the excerpts that are in the key
their movement is printed in (music_pieces.key_is_known). ornaments: graces, slides, turns, mordents and
trills on an eighth of the long notes; P and R of the strikes read as ornaments. sections: two tunes in one turn;
parted: their double bar within a bar of the truth and no other; then each one's metre (class and bar lines) and key.
held: bass notes that are written held in a second voice: of how many the length is nearer to the print's than in one.
lead: the part that carries the tune, as `disc design` finds it, with the parts' names and with none; of all halves.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np

from disc.frame import turn_for_onset_deg
from disc.records import Plate, Section, Strike, Tune
from disc.tune.read.read_tune import TuneReading
from disc.tune.read.read_turn import read_turn
from disc.tune.score.lead import leading_part
from disc.tune.score.records import ScoreNote, ScorePart
from tests.bench.truth.music_held import held_counts
from tests.bench.truth.music_pieces import FEWEST_OF_LEAD, load_pieces, load_tuning_pieces
from tests.bench.truth.music_turns import KINDS, Case, bend, cases_of_melodies, cases_of_pieces, ornamented, two_tunes

BARS = {"steady": 0.95, "ritardando": 0.93, "fermata": 0.90, "drift 1 %": 0.95, "drift 3 %": 0.85, "key": 0.92}
ERROR_S = 0.015
Bend = Callable[[np.ndarray], np.ndarray]  # seconds at a steady tempo to seconds of the turn


def read_case(case: Case, kind: str, seed: int) -> tuple[TuneReading, Bend, float]:
    """(what was read of the bent turn with its errors, the bend, processor seconds)."""
    strikes, bent, turn_s = strikes_of(case, kind, seed)
    began = time.process_time()
    reading = read_turn(strikes, Plate(diameter_mm=30.0, revolution_s=turn_s))
    return reading, bent, time.process_time() - began


def strikes_of(
    case: Case, kind: str, seed: int
) -> tuple[tuple[Strike, ...], Callable[[np.ndarray], np.ndarray], float]:
    """(strikes of the bent turn with setting errors, in order; the bend; how long the turn takes, s)."""
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
    return strikes, bent, turn_s


def lines_right(case: Case, reading: TuneReading, bent: Bend, in_threes: bool = False, doubled: bool = False) -> bool:
    """Whether all bar lines are right, of bars as printed or half or twice as long.

    in_threes: also where beats are said to be divided by three and printed as triplets, or the other way. doubled: bars
    of three beats too may be twice as long.
    """
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
    if not in_threes and compound != (tune.metre.beats in (6, 9, 12)):
        return False
    triple = case.metre[0] in (3, 9)
    for ratio in ((1.0, 2.0) if doubled else (1.0,)) if triple else (1.0, 0.5, 2.0):
        for shift in (0.0,) if ratio <= 1 else (0.0, 1.0):
            places = case.start_s + (shift + ratio * np.arange(400)) * case.bar_s
            true = bent(places[places < case.onset_s[-1] + 1e-6])
            if _same(np.array(said), true, 0.1 * min(1.0, ratio) * case.bar_s):
                return True
    return False


def read_strikes(onset_s: np.ndarray, pitch: np.ndarray, rng: np.random.Generator) -> TuneReading:
    """What is read of strikes with setting errors added; pins are numbered in the order given, from 1."""
    struck = np.maximum(onset_s + rng.normal(0, ERROR_S, len(onset_s)), 0.0)
    turn_s = float(struck.max()) + 2.0
    strikes = [
        Strike(float(turn_for_onset_deg(at, turn_s)), at, int(p), float(p), pin_id=number)
        for number, (at, p) in enumerate(zip(struck.tolist(), pitch.tolist(), strict=True), start=1)
    ]
    return read_turn(tuple(strikes), Plate(diameter_mm=30.0, revolution_s=turn_s))


def ornament_counts(case: Case, seed: int) -> tuple[int, int, int]:
    """(strikes rightly read as ornaments, read as such, that are such)."""
    rng = np.random.default_rng([seed, 77])
    made, flags = ornamented(case, rng)
    reading = read_strikes(made.onset_s, made.pitch, rng)
    said = {pin for note in reading.tune.notes if note.grace for pin in note.pins}
    true = {number for number, flag in enumerate(flags, start=1) if flag}
    return len(said & true), len(said), len(true)


def section_scores(one: Case, other: Case, seed: int) -> tuple[bool, list[bool], list[bool]]:
    """(parted within a bar and nowhere else, each one's metre right, each one's key right)."""
    rng = np.random.default_rng([seed, 78])
    first, second, _ = two_tunes(one, other, rng)
    reading = read_strikes(np.r_[first.onset_s, second.onset_s], np.r_[first.pitch, second.pitch], rng)
    tune = reading.tune
    parts = [part for part in tune.parts if part.bar == 1 or part.titled]
    starts = [tune.onset_s(part.line_quarter - part.upbeat_quarter) for part in parts]
    near = len(parts) == 2 and abs(starts[1] - float(second.onset_s.min())) < second.bar_s
    if not near:
        return False, [False, False], [False, False]
    pairs = list(zip((first, second), parts, strict=True))
    metres = [part_right(case, tune, part) for case, part in pairs]
    keys = [part.key.fifths % 12 == case.fifths % 12 for case, part in pairs if case.key_known]
    return True, metres, keys


def part_right(case: Case, tune: Tune, part: Section) -> bool:
    """Whether a section's class of metre and its first lines are right, of bars half or twice as long too."""
    kind = (case.metre[0] in (6, 9, 12), case.metre[0] in (3, 9))
    if kind != (part.metre.beats in (6, 9, 12), part.metre.beats in (3, 9)):
        return False
    lines = [tune.onset_s(part.line_quarter + k * part.metre.bar_quarter) for k in range(1, 4)]
    bar_s = lines[1] - lines[0]
    ratio = bar_s / case.bar_s
    if not any(abs(ratio / good - 1) < 0.05 for good in ((1.0,) if kind[1] else (0.5, 1.0, 2.0))):
        return False
    short = min(bar_s, case.bar_s)
    off = (lines[1] - case.start_s + short / 2) % short - short / 2
    return abs(off) < 0.1 * short


def _same(said: np.ndarray, true: np.ndarray, within: float) -> bool:
    if len(said) < 3 or len(true) < 3:
        return False
    near = np.abs(said[:, None] - true[None, :])
    # the first and the last line may be wanting: an upbeat bar counted or not
    return bool((near.min(0)[1:-1] < within).all() and (near.min(1)[1:-1] < within).all())


def print_lead() -> None:
    """One line a kind of piece: the leading part found, by name and by its notes alone."""
    found: dict[str, list[tuple[bool, bool]]] = {}
    for piece in [*load_pieces(), *load_tuning_pieces()]:
        notes = [ScoreNote(onset, length, pitch, part=part) for onset, length, pitch, part in piece.notes]
        if sum(note.part == piece.lead for note in notes) < FEWEST_OF_LEAD:
            continue  # it rests all through
        known = {number: ScorePart(name) for number, name in enumerate(piece.parts)}
        named = leading_part(notes, known) == piece.lead
        found.setdefault(piece.kind, []).append(
            (named, leading_part(notes, dict.fromkeys(known, ScorePart())) == piece.lead)
        )
    for kind, pairs in sorted(found.items()):
        named, alone = np.mean(pairs, axis=0)
        print(
            f"lead      {kind:11s} {len(pairs):4d}  by name {named:.3f} (bar 0.97)  without names {alone:.3f}",
            flush=True,
        )


def print_held(half: str) -> None:
    """One line a set of pieces: the tuning pieces were looked at while the rule was chosen."""
    for name, pieces in (("tuning", load_tuning_pieces()), (half, [p for p in load_pieces() if p.half == half])):
        bars, held, nearer, equal = held_counts(pieces)
        shares = f"nearer {nearer / max(held, 1):.3f}  as near {equal / max(held, 1):.3f}"
        print(f"held      {name:11s} {bars:5d} bars {held:5d} held notes  {shares}", flush=True)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--half", default="looked at")
    parser.add_argument("--pieces", type=int, default=1000)
    parser.add_argument("--melodies", type=int, default=40)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS))
    parser.add_argument("--what", nargs="*", default=["pace", "ornaments", "sections"])
    parser.add_argument("--names", action="store_true", help="name the cases that fail")
    given = parser.parse_args()
    if "lead" in given.what:
        print_lead()
    if "held" in given.what:
        print_held(given.half)
    for group, cases in (
        ("pieces", cases_of_pieces(given.half)[: given.pieces]),
        ("melodies", cases_of_melodies(given.melodies)),
    ):
        if not cases:
            continue
        if "pace" in given.what:
            for kind in given.kinds:
                print_pace(group, cases, kind, given.names)
        if "ornaments" in given.what:
            print_ornaments(group, cases, given.names)
        if "sections" in given.what:
            print_sections(group, cases, given.names)


def print_pace(group: str, cases: list[Case], kind: str, names: bool) -> None:
    """One line: bar lines, key and processor time of a kind of bending."""
    rows = []
    for number, case in enumerate(cases):
        reading, bent, cpu_s = read_case(case, kind, 5 + number)
        right, lines = lines_right(case, reading, bent), lines_right(case, reading, bent, in_threes=True)
        doubled = lines_right(case, reading, bent, in_threes=True, doubled=True)
        key: float = reading.tune.key.fifths % 12 == case.fifths % 12 if case.key_known else np.nan
        rows.append((right, lines, doubled, key, cpu_s))
        if names and not right:
            metre = f"{reading.tune.metre.beats}/{reading.tune.metre.unit}"
            print(f"    {case.name} {case.metre} read {metre}{' but its lines are right' if lines else ''}")
    shares = [float(np.nanmean([row[i] for row in rows])) for i in range(5)]
    head = f"{group:9s} {kind:11s} {len(rows):4d}  right {shares[0]:.3f}  lines {shares[1]:.3f}"
    head += f"  doubled {shares[2]:.3f} (bar {BARS[kind]:.2f})"
    of = sum(case.key_known for case in cases)
    print(f"{head}  key {shares[3]:.3f} of {of}  cpu {shares[4]:.2f} s", flush=True)


def print_ornaments(group: str, cases: list[Case], names: bool) -> None:
    """One line: precision and recall of strikes read as ornaments, all turns together."""
    counts = np.array([ornament_counts(case, number) for number, case in enumerate(cases)])
    if names:
        for case, (hits, said, true) in zip(cases, counts, strict=True):
            print(f"    {case.name}: {hits} right of {said} said, {true} true")
    hits, said, true = counts.sum(0)
    print(
        f"{group:9s} ornaments   {len(cases):4d}  P {hits / max(1, said):.3f} R {hits / max(1, true):.3f}", flush=True
    )


def print_sections(group: str, cases: list[Case], names: bool) -> None:
    """One line: two tunes parted, and each one's metre and key where they are."""
    pairs = list(zip(cases[::2], cases[1::2], strict=False))
    rows = [section_scores(one, other, number) for number, (one, other) in enumerate(pairs)]
    if names:
        for (one, other), row in zip(pairs, rows, strict=True):
            print(f"    {one.name} + {other.name}: {row}")
    parted = [row for row in rows if row[0]]
    metre = float(np.mean([right for _, metres, _ in parted for right in metres])) if parted else float("nan")
    key = float(np.mean([right for _, _, keys in parted for right in keys])) if parted else float("nan")
    share = len(parted) / max(1, len(rows))
    print(f"{group:9s} sections    {len(rows):4d}  parted {share:.3f} metre {metre:.3f} key {key:.3f}", flush=True)


if __name__ == "__main__":
    main()
