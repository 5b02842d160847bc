"""Measures `disc check` on invented damaged discs against its bars. Run by hand:

    python -m tests.bench.measure.check [--discs 120] [--half unseen|train] [--fresh N]

Discs come from check_discs.py: corpus tunes with accompaniment, 3-12 % of the pins gone, half of them with a visible
hole, 1-3 abandoned holes, 2-5 leaning pins, 20 ms setting error, condition noise as of a photo reading. The tune is
read from the strikes by the project's own reader. The weights (check_fit.py) were fitted on the other half.

What counts as found: a missing finding is right if it names a hole whose pin is gone or, without a hole, the right
moment (80 ms) and pitch; "same place" also asks for the right tooth.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from disc.check.check_disc import Judgement, judge
from disc.check.kinds import Kind
from disc.check.photo.holes import is_empty_hole
from disc.frame import onset_s, turn_deg
from disc.library.records import ReferenceTune, TuneKey
from disc.records import Finding, Pin, Voice
from disc.tune.score.records import TICKS_PER_QUARTER
from disc.turn.one_turn import OneTurn, resolve
from tests.bench.truth.check_discs import Simulated, corpus_tunes, simulate
from tests.bench.truth.known import known

SEEDS = {"unseen": 20_260, "train": 10_130}
SAME_TIME_S = 0.08


@dataclass
class Count:
    """Right, wrong and overlooked findings."""

    right: int = 0
    wrong: int = 0
    overlooked: int = 0
    same_place: int = 0
    wrong_kinds: Counter = field(default_factory=Counter)

    @property
    def precision(self) -> float:
        return self.right / max(self.right + self.wrong, 1)

    @property
    def recall(self) -> float:
        return self.right / max(self.right + self.overlooked, 1)


def read(disc: Simulated, pins: tuple[Pin, ...]) -> OneTurn:
    """These pins with the tune as the project's own reader reads it."""
    return resolve(pins, disc.comb, disc.plate)


def checked(turn: OneTurn, *references: ReferenceTune) -> Judgement:
    """What the check says, with or without known tunes."""
    return judge(turn, references)


def print_of(disc: Simulated, full: bool) -> ReferenceTune:
    """What `--tune` gives: the printed melody, or the whole arrangement as the disc was made; both as they were before
    the damage, a fifth lower and in quarters."""
    if full:
        notes = [(note.onset, Fraction(1, 2), note.pitch - 7) for note in disc.played]
    else:
        notes = [(onset, duration, pitch - 7) for onset, duration, pitch in disc.melody]
    notes.sort(key=lambda note: (note[0], note[2]))
    first = min(note[0] for note in notes)
    ticks = [[round((on - first) * TICKS_PER_QUARTER), round(dur * TICKS_PER_QUARTER), p] for on, dur, p in notes]
    table = np.array(ticks, dtype=np.int64)
    bars = np.array([int(on // disc.metre.bar_quarter) + 1 for on, _, _ in notes])
    return ReferenceTune(TuneKey("given", 1), disc.name, "", table[:, 0], table[:, 1], table[:, 2], bars)


def count_missing(disc: Simulated, findings: tuple[Finding, ...], gone: frozenset[int], count: Count) -> None:
    """Score missing findings against the given lost notes. A hole among `gone` is named by its pin id."""
    left = set(gone)
    for finding in findings:
        if finding.kind != Kind.MISSING:
            continue
        note = _note_of(disc, finding, left)
        if note is None:
            if finding.pin_id is not None and disc.note_of.get(finding.pin_id) in disc.gone - gone:
                continue  # a lost pin, but not one of those asked for here
            if finding.pin_id is None and _note_of(disc, finding, set(disc.gone - gone)) is not None:
                continue
            count.wrong += 1
            continue
        left.discard(note)
        count.right += 1
        count.same_place += finding.tooth == disc.played[note].tooth
    count.overlooked += len(left)


def _note_of(disc: Simulated, finding: Finding, among: set[int]) -> int | None:
    if finding.pin_id is not None:
        note = disc.note_of.get(finding.pin_id)
        return note if note in among else None
    if finding.tooth is None:
        return None  # names no note
    tooth = disc.comb.tooth(finding.tooth)
    pitch, tip_deg = known(tooth.pitch, "a tooth's pitch"), known(tooth.tip_theta_deg, "a tip's angle")
    at = onset_s(turn_deg(finding.theta_deg, tip_deg, disc.plate.turns), disc.plate.revolution_s)
    near = [
        (abs(disc.played[i].onset_s - at), i)
        for i in among
        if disc.played[i].pitch == round(pitch) and abs(disc.played[i].onset_s - at) < SAME_TIME_S
    ]
    return min(near)[1] if near else None


def count_kind(findings: tuple[Finding, ...], kind: Kind, truth: frozenset[int], count: Count) -> None:
    """Score findings of one kind by pin id."""
    named = {f.pin_id for f in findings if f.kind == kind}
    count.right += len(named & truth)
    count.wrong += len(named - truth)
    count.overlooked += len(truth - named)


@dataclass
class Told:
    """Holes told apart: right and all, by the likelier answer; decided: the same without those left in doubt."""

    right: int = 0
    total: int = 0
    decided_right: int = 0
    decided: int = 0
    by_truth: Counter = field(default_factory=Counter)


def count_told(disc: Simulated, findings: tuple[Finding, ...], told: Told) -> None:
    """Score missing against abandoned for every empty hole."""
    for finding in findings:
        if finding.pin_id is None or finding.kind not in (Kind.MISSING, Kind.ABANDONED, Kind.IN_DOUBT):
            continue
        missing = finding.kind == Kind.MISSING or (finding.kind == Kind.IN_DOUBT and finding.probability >= 0.5)
        truth = finding.pin_id not in disc.abandoned
        told.total += 1
        told.right += missing == truth
        told.by_truth[(truth, missing)] += 1
        if finding.kind != Kind.IN_DOUBT:
            told.decided += 1
            told.decided_right += missing == truth


def line(name: str, count: Count, bar: str) -> None:
    print(
        f"{name:58s} P {count.precision:.3f}  R {count.recall:.3f}  ({count.right} right, {count.wrong} wrong, "
        f"{count.overlooked} overlooked; same place {count.same_place})  bar {bar}"
    )


def discs(half: str, count: int, damaged: bool, fresh: int = 0) -> list[Simulated]:
    """Seeded discs of one half of the tunes. fresh: added to the seed, for discs that nobody has looked at yet."""
    tunes = corpus_tunes()[1 if half == "unseen" else 0 :: 2]
    rng = np.random.default_rng(SEEDS[half] + (0 if damaged else 7) + 1000 * fresh)
    made: list[Simulated] = []
    while len(made) < count:
        disc = simulate(tunes[int(rng.integers(len(tunes)))], rng, damaged)
        if disc is not None:
            made.append(disc)
    return made


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--discs", type=int, default=120)
    parser.add_argument("--half", choices=("unseen", "train"), default="unseen")
    parser.add_argument("--fresh", type=int, default=0, help="another draw of discs: any number but 0")
    given = parser.parse_args()
    holes, every, alone, leaning = Count(), Count(), Count(), Count()
    melody_all, melody_only, full_all, full_alone = Count(), Count(), Count(), Count()
    laid, kinds, false_kinds, false_known = Counter[str](), Counter[str](), Counter[str](), Counter[str]()
    told, told_melody, clean, clean_known = Told(), Told(), 0, 0
    started = time.process_time()
    for disc in discs(given.half, given.discs, True, given.fresh):
        as_read, print_, whole_print = read(disc, disc.pins), print_of(disc, False), print_of(disc, True)
        found = checked(as_read).findings
        kinds.update(f.kind for f in found)
        count_missing(disc, tuple(f for f in found if f.pin_id is not None), disc.visible, holes)
        count_missing(disc, found, disc.gone, every)
        count_kind(found, Kind.BENT, disc.leaning, leaning)
        count_told(disc, found, told)
        standing = read(disc, tuple(pin for pin in disc.pins if not is_empty_hole(pin)))
        count_missing(disc, checked(standing).findings, disc.gone, alone)
        melody = checked(as_read, print_)
        sung = frozenset(i for i in disc.gone if disc.played[i].voice is Voice.MELODY)
        laid["melody print"] += melody.known is not None
        count_missing(disc, melody.findings, disc.gone, melody_all)
        count_missing(disc, melody.findings, sung, melody_only)
        count_told(disc, melody.findings, told_melody)
        whole = checked(as_read, whole_print)
        laid["whole arrangement"] += whole.known is not None
        count_missing(disc, whole.findings, disc.gone, full_all)
        count_missing(disc, checked(standing, whole_print).findings, disc.gone, full_alone)
    for disc in discs(given.half, given.discs, False, given.fresh):
        as_read = read(disc, disc.pins)
        found = checked(as_read).findings
        clean += not found
        known = checked(as_read, print_of(disc, False)).findings
        clean_known += not known
        false_kinds.update(f.kind for f in found)
        false_known.update(f.kind for f in known)
    seconds = time.process_time() - started
    print(
        f"{given.discs} damaged and {given.discs} undamaged discs, {given.half} half of the tunes, "
        f"draw {given.fresh}; "
        f"{seconds / given.discs / 7:.2f} s CPU a check, tune reading included"
    )
    line("melody print given, missing pins of the melody", melody_only, "0.93 / 0.90")
    line("melody print given, all missing pins", melody_all, "(0.93 / 0.90)")
    line("whole arrangement given, all missing pins", full_all, "0.93 / 0.90")
    line("whole arrangement given, holes taken away", full_alone, "-")
    print("references that lie on the disc:", dict(laid))
    line("no reference, holes seen: missing pins with a hole", holes, "0.93 / 0.80")
    line("no reference, holes seen: all missing pins", every, "-")
    line("music alone (all holes taken away)", alone, "0.75 / 0.35")
    print(
        f"abandoned told from missing, likelier answer: {told.right / told.total:.3f} of {told.total}  bar 0.90; "
        f"decided: {told.decided_right / max(told.decided, 1):.3f} of {told.decided}; {dict(told.by_truth)}"
    )
    print(f"the same with the melody print: {told_melody.right / told_melody.total:.3f}, {dict(told_melody.by_truth)}")
    line("leaning", leaning, "0.95 / 0.95")
    print(f"undamaged discs without a finding: {clean} of {given.discs}  bar 0.95; {dict(false_kinds)}")
    print(f"the same with the melody print given: {clean_known}; {dict(false_known)}")
    print("kinds found on damaged discs:", dict(kinds))


if __name__ == "__main__":
    main()
