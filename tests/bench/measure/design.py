"""How good the designs of new discs are: corpus tunes on invented combs, against the bars of the task.

    python -m tests.bench.measure.design [--tunes 100] [--seed 7] [--photos 5] [--solver-cases 10] [--minutes M]
    python -m tests.bench.measure.design --part 1/8 --rows FOLDER      # an eighth of the tunes, kept; no photographs
    python -m tests.bench.measure.design --add-up FOLDER               # what all parts came to
    python -m tests.bench.measure.design --tunes 100 --only-photos     # the photographs alone; likewise --only-solver

Every layout goes through an independent checker (tests/design/checker.py), back through the pin table to strikes, and
is compared with a greedy arranger. Times are processor time of this process, so that a busy machine does not matter.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from collections import Counter
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from disc.comb.strikes import strikes_from_pins
from disc.design.arrange.phrases import phrase_ends
from disc.design.arrange.pitches import playing_comb
from disc.design.arrange.task import prepare
from disc.design.arrange.timing import set_timing
from disc.design.arranged import arranged_tune
from disc.design.plan import Design, cut_to_bars, plan_design
from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.records import Comb, Pin, Plate
from disc.tables import format_pins, read_pins
from disc.tune.score.records import Rank, ScoreIn
from tests.bench.truth.known import known
from tests.design.checker import Rules, broken_rules
from tests.design.greedy import greedy_arrangement, thinned_melody
from tests.design.material import COMBS, CombSpec, comb_pitches, make_comb
from tests.design.other_solver import optimum_with_scip
from tests.design.tunes import choose_tunes


@dataclass
class Row:
    """What one tune on one comb came to."""

    comb: str
    title: str
    notes: int
    kept: int
    melody: int
    melody_kept: int
    melody_exact: int
    proven: bool
    gap: float
    cpu_s: float
    broken: list[str]
    worst_ms: float
    value: int
    greedy_value: int
    greedy_kept: int
    diatonic_in_range: bool
    playable: int


def fitting_cut(score: ScoreIn, plate: Plate, settings: DesignSettings) -> ScoreIn:
    """The tune, or as much of it up to the last phrase end that a turn has room for: what the command advises."""
    try:
        set_timing(score, plate, settings, None)
        return score
    except BadInput:
        for end in reversed(phrase_ends(score)):
            cut = cut_to_bars(score, score.bars[0].number, end)
            try:
                set_timing(cut, plate, settings, None)
                return cut
            except BadInput:
                continue
    raise BadInput("no cut fits")


def is_diatonic_in_range(score: ScoreIn, spec: CombSpec) -> bool:
    """Whether some transposition puts every melody note on a pitch the comb has."""
    have = set(comb_pitches(spec))
    wanted = {note.pitch for note in score.melody()}
    span = range(min(have) - max(wanted), max(have) - min(wanted) + 1)
    return any({p + t for p in wanted} <= have for t in span)


def melody_that_can_stand(design: Design) -> int:
    """Melody notes left when each tooth is only asked what the geometry of one track allows, at the key as chosen.

    The most a comb without any other note could play: runs of one pitch are thinned to what its teeth's tracks hold.
    """
    return thinned_melody(design)


def melody_at_its_own_pitch(design: Design) -> int:
    """Melody notes kept that were not moved by an octave nor to a neighbouring pitch."""
    melody = {i for i, note in enumerate(design.score.notes) if note.rank is Rank.MELODY}
    return sum(p.note in melody and not p.is_changed for p in design.arrangement.placed)


def run_case(spec: CombSpec, comb: Comb, plate: Plate, score: ScoreIn, settings: DesignSettings) -> Row:
    score = fitting_cut(score, plate, settings)
    began = time.process_time()
    design = plan_design(score, comb, plate, settings)
    took = time.process_time() - began
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "pins.csv"
        path.write_text(format_pins(design.pins))
        pins = read_pins(path)
    rules = Rules(hub_mm=settings.hub_mm)
    task = prepare(score, playing_comb(comb, plate), plate, settings, set_timing(score, plate, settings, None))
    greedy = greedy_arrangement(task)
    share = design.arrangement.share
    return Row(
        spec.name,
        score.title,
        share.notes,
        share.kept,
        share.melody,
        share.melody_kept,
        melody_at_its_own_pitch(design),
        design.arrangement.proven,
        design.arrangement.gap,
        took,
        broken_rules(pins, comb, design.plate, rules),
        worst_round_trip_ms(design, pins),
        design.arrangement.value,
        greedy.value,
        greedy.kept,
        is_diatonic_in_range(score, spec),
        melody_that_can_stand(design),
    )


def worst_round_trip_ms(design: Design, pins: tuple[Pin, ...]) -> float:
    """Pins as read back -> strikes -> onsets and pitches, against the arranged notes; infinite if any is not there."""
    strikes = strikes_from_pins(pins, design.comb, design.plate)
    tune = arranged_tune(design)
    offset = design.playing.offset
    heard = sorted((round(known(s.pitch, "a strike's pitch") - offset), s.onset_s) for s in strikes)
    wanted = sorted((n.pitch, tune.start_s + float(n.onset_quarter) * tune.quarter_s) for n in tune.notes)
    if [p for p, _ in heard] != [p for p, _ in wanted]:
        return float("inf")
    return 1000 * max((abs(a - b) for (_, a), (_, b) in zip(heard, wanted, strict=True)), default=0.0)


def table(rows: list[Row]) -> None:
    """One line for each comb: shares of notes, rules broken, times."""
    heads = ("cases", "kept", "melody", "greedy", "proven", "cpu s max", "broken", "worst ms")
    print(f"{'comb':14}" + "".join(f"{head:>11}" for head in heads))
    for name in [*dict.fromkeys(row.comb for row in rows), "all"]:
        part = [row for row in rows if name in (row.comb, "all")]
        notes, melody = sum(r.notes for r in part), sum(r.melody for r in part)
        values = (
            len(part),
            sum(r.kept for r in part) / notes,
            sum(r.melody_kept for r in part) / melody,
            sum(r.greedy_kept for r in part) / notes,
            np.mean([r.proven for r in part]),
            max(r.cpu_s for r in part),
            sum(len(r.broken) for r in part),
            max(r.worst_ms for r in part),
        )
        cells = (f"{value:11d}" if isinstance(value, int) else f"{value:11.4f}" for value in values)
        print(f"{name:14}" + "".join(cells))


def verdicts(rows: list[Row]) -> None:
    """The bars of the task, one line each."""
    bars = [row for row in rows if row.diatonic_in_range]
    melody = max(1, sum(r.melody for r in bars))
    kept, exact = sum(r.melody_kept for r in bars) / melody, sum(r.melody_exact for r in bars) / melody
    could = sum(r.playable for r in bars) / melody
    proven = float(np.mean([r.proven and r.cpu_s <= 10 for r in rows]))
    more = sum(r.value for r in rows) / sum(r.greedy_value for r in rows) - 1
    better, worse = sum(r.value > r.greedy_value for r in rows), sum(r.value < r.greedy_value for r in rows)
    notes_more = sum(r.kept - r.greedy_kept for r in rows) / sum(r.notes for r in rows)
    lines = (
        ("rules broken", f"{sum(len(r.broken) for r in rows)}", "0"),
        ("round trip, all notes", f"{max(r.worst_ms for r in rows):.4f} ms", "1 ms"),
        (f"melody kept, {len(bars)} diatonic in range", f"{kept:.4f}", "0.97"),
        ("  of it at its own pitch", f"{exact:.4f}", ""),
        ("  what the tracks of a pitch's teeth can hold", f"{could:.4f}", ""),
        ("optimum proven within 10 s", f"{proven:.4f}", "0.95"),
        ("worth against greedy", f"{100 * more:+.2f} %", ""),
        ("notes kept against greedy", f"{100 * notes_more:+.2f} %", ""),
        ("better, worse than greedy", f"{better}, {worse} of {len(rows)}", "worse 0"),
    )
    print()
    for what, measured, bar in lines:
        print(f"{what:48}{measured:>18}   {'bar ' + bar if bar else ''}")


def compare_solvers(scores: list[ScoreIn], count: int, seed: int) -> None:
    """The first eight bars of tunes in which pins are in each other's way, solved by SCIP as well."""
    from disc.design.arrange.programme import solve
    from disc.design.arrange.task import set_up, with_conflicts

    rng = np.random.default_rng(seed)
    agree = done = 0
    for i in rng.permutation(len(scores)):
        spec = COMBS[int(i) % len(COMBS)]
        comb, plate = make_comb(spec, np.random.default_rng(seed))
        settings = DesignSettings()
        try:
            score = cut_to_bars(scores[i], max(1, scores[i].bars[0].number), min(8, scores[i].bars[-1].number))
            task = prepare(score, playing_comb(comb, plate), plate, settings, set_timing(score, plate, settings, None))
        except BadInput:
            continue
        best = plan_design(score, comb, plate, settings).transposition
        programme = with_conflicts(task, set_up(task, best, 0))
        if solve(replace(programme, cliques=()), 10).value == solve(programme, 10).value:
            continue  # nothing in the way: no test of a solver
        ours, theirs = solve(programme, 30).value, optimum_with_scip(programme)
        agree += ours == theirs
        done += 1
        if done >= count:
            break
    print(f"{'another solver (SCIP) agrees':48}{f'{agree} of {done}':>18}   bar all of {count}")


def measure(scores: list[ScoreIn], seed: int, part: tuple[int, int], minutes: float) -> tuple[list[Row], Counter[str]]:
    """Every comb for each tune of a part; what was refused, by its words. A run cut short is still a fair sample."""
    combs = [(spec, *make_comb(spec, np.random.default_rng([seed, n]))) for n, spec in enumerate(COMBS)]
    rows, refused = [], Counter[str]()
    end = time.monotonic() + 60 * minutes
    mine = np.random.default_rng(seed).permutation(len(scores))[part[0] - 1 :: part[1]]
    for number in mine:
        for spec, comb, plate in combs:
            try:
                rows.append(run_case(spec, comb, plate, scores[number], DesignSettings()))
            except BadInput as error:
                refused[str(error)[:60]] += 1
        if time.monotonic() > end:
            break
    return rows, refused


def print_all(rows: list[Row], refused: Counter[str], cases: int, seed: int) -> None:
    """Table, bars and what was refused."""
    print(f"{len(rows)} of {cases} cases, seed {seed}", flush=True)
    rows.sort(key=lambda row: row.comb)
    table(rows)
    verdicts(rows)
    for words, count in refused.items():
        print(f"refused: {count} x {words}")


def add_up(folder: Path) -> None:
    """The table of all parts kept in a folder; says which are not there."""
    found = [json.loads(path.read_text()) for path in sorted(folder.glob("part-*.json"))]
    rows = [Row(**row) for part in found for row in part["rows"]]
    refused = sum((Counter(part["refused"]) for part in found), Counter[str]())
    parts = found[0]["of"]
    gone = set(range(1, parts + 1)) - {part["part"] for part in found}
    print(f"parts: {len(found)} of {parts}" + (f"; not there: {sorted(gone)}" if gone else ""))
    print_all(rows, refused, found[0]["cases"], found[0]["seed"])


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--tunes", type=int, default=100)
    words.add_argument("--seed", type=int, default=7)
    words.add_argument("--minutes", type=float, default=600.0, help="stop after the tune at hand")
    words.add_argument("--photos", type=int, default=5)
    words.add_argument("--solver-cases", type=int, default=10)
    words.add_argument("--part", default="1/1", help="I/N: the I-th of N parts of the tunes")
    words.add_argument("--rows", type=Path, help="keep the part's rows in this folder")
    words.add_argument("--add-up", type=Path, help="print what the parts kept in this folder came to")
    words.add_argument("--only-photos", action="store_true")
    words.add_argument("--only-solver", action="store_true")
    given = words.parse_args()
    if given.add_up:
        add_up(given.add_up)
        return
    scores = choose_tunes(given.tunes, np.random.default_rng(given.seed))
    number, of = (int(word) for word in given.part.split("/"))
    whole = of == 1
    if not (given.only_photos or given.only_solver):
        rows, refused = measure(scores, given.seed, (number, of), given.minutes)
        cases = len(scores) * len(COMBS)
        print_all(rows, refused, cases, given.seed)
        if given.rows:
            given.rows.mkdir(parents=True, exist_ok=True)
            kept = {"part": number, "of": of, "cases": cases, "seed": given.seed, "refused": refused}
            content = kept | {"rows": [asdict(row) for row in rows]}
            (given.rows / f"part-{number}.json").write_text(json.dumps(content, default=float))
    if whole and not given.only_photos:
        compare_solvers(scores, given.solver_cases, given.seed)
    if whole and given.photos and not given.only_solver:
        from tests.design.photographs import read_back_photographs

        read_back_photographs(scores, given.photos, given.seed)


if __name__ == "__main__":
    main()
