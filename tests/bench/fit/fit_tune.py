"""Fits the numbers of disc/tune/read/model.json to the tuning half of the corpus draw and to pieces with their own
accompaniment (music_pieces.TUNING: works of which none is in the bench of music.py). Run from the repository's root:

    python -m tests.bench.fit.fit_tune [--report] [--out FILE]
    python -m tests.bench.fit.fit_tune --metre-only --count 1000 [--report] [--out FILE] [--folds FILE]

Each tuning melody is made into turns with random accompaniments and 0, 5 or 15 % of the strikes removed
(tune_strikes.py), each piece into PIECE_VARIANTS turns of other inner voices and tempo; the held-out half and the
bench's pieces are never read. Fitted in order: voices (small networks), rhythm tables
(counts), metre and key (conditional logits). The rhythm feature that a metre weight sees comes from tables counted
without that melody's quarter of the tunes, so that the weight is honest. With --report it first fits without a quarter
and prints the scores on it. Then it fits to all and, with --out, writes the file. Needs scikit-learn, which comes with
librosa.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize
from sklearn.neural_network import MLPClassifier

from disc.fitted import Made
from disc.tune.read.beat.bar_lines import BarNet, hear_lines, load_net
from disc.tune.read.beat.metre import GRIDS, WORST_GRID
from disc.tune.read.beat.pulse import (
    FEATURE_NAMES,
    HEARD,
    Lattice,
    LatticeMarks,
    Structure,
    features,
    find_marks,
    make_lattice,
    structures_for,
)
from disc.tune.read.beat.rhythm import RhythmModel, bar_name, beat_name, fit_gaps, gap_counts, rhythm_scores
from disc.tune.read.key import KEY_FEATURES, key_candidates, key_evidence, key_table, read_key, strike_weights
from disc.tune.read.linear import LinearModel
from disc.tune.read.model import MODEL_FILE, VOICE_PARTS, load_model
from disc.tune.read.read_tune import find_turn_grids
from disc.tune.read.time.step_grid import StepGrid
from disc.tune.read.voices.figures import find_rolls
from disc.tune.read.voices.voices import VoiceModel, line_features, melody_probability, voice_features
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.truth.known import known
from tests.bench.truth.music_pieces import Piece, load_tuning_pieces
from tests.bench.truth.music_turns import case_of
from tests.bench.truth.tune_corpus import load_melodies
from tests.bench.truth.tune_strikes import make_turn

FOLDS = 4
FOLD_NETS = Path(__file__).parent / "bar_training" / "nets"
RIDGE = 3e-4
# Holds weights near those for plain tunes. Of 3e-3, 1e-2 and 3e-2, on works left out (a quarter at a time) metre and
# lines right: .801, .796, .795 with the network's opinions, at 1e-2 .801 without, and there the readings' own
# probabilities are truer (-.93 nats a turn against -1.03): pieces are read without them.
RIDGE_FROM, RIDGE_PLAIN = 1e-2, 3e-2
RIDGES_FROM = (3e-3, 1e-2, 3e-2)
MELODIES_COUNT = 0.3  # what a melody counts beside a piece where weights for pieces are fitted; of .1, .3, 1 alike
VOICE_TURNS = 2000  # turns the voices are fitted on
LOOKS = 2
PIECE_VARIANTS = (0.4, 0.2, 0.7)  # shares of the inner voices' notes that are on the disc
HIDDEN = 24
PIECE_KINDS = ("quartet", "piano", "trio", "song")
DATA = "the tuning half of the corpus draw and music_pieces.TUNING"
SCORE = "judged on the held-out half by tests/bench/measure/score.py, on pieces by music.py"
EXACT_SHARE = 0.5  # how much the very bar length counts beside class and phase


@dataclass(frozen=True)
class Truth:
    """What is true of a turn. bar_s: length of a bar; start_s: where bar 1 begins; tonic: None if not known."""

    group: str
    metre: tuple[int, int]
    bar_s: float
    start_s: float
    fifths: int
    tonic: int | None


@dataclass
class Sample:
    """A turn with what the stages need of it."""

    fold: int
    truth: Truth
    onset_s: np.ndarray
    anchored_s: np.ndarray
    grids: tuple[StepGrid, ...]
    pitch: np.ndarray
    melody: np.ndarray
    real: np.ndarray
    on_grids: list[tuple[StepGrid, int, Lattice, LatticeMarks]]


def main() -> None:
    """Fit, report if asked, and write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--count", type=int, default=1600, help="melodies drawn, tuning half and held-out half together"
    )
    parser.add_argument("--variants", type=int, default=1, help="turns made of each tuning melody")
    parser.add_argument("--metre-turns", type=int, default=1600, help="turns that rhythm and metre are fitted on")
    parser.add_argument("--report", action="store_true", help="fit without a quarter first and print its scores")
    parser.add_argument("--voices-only", action="store_true", help="fit the voices anew and keep the rest")
    parser.add_argument("--metre-only", action="store_true", help="fit the metre anew; voices, key and rhythm are kept")
    parser.add_argument(
        "--plain", action="store_true", help="fit the metre's weights for plain tunes, on melodies alone"
    )
    parser.add_argument("--folds", type=Path, help="where the weights without each quarter of the works are kept")
    add_out(parser, MODEL_FILE)
    given = parser.parse_args()
    how = Made("tests.bench.fit.fit_tune", arguments_of(given), 2024, f"{DATA}, {given.count} melodies drawn", SCORE)
    samples = make_samples(given.count, given.variants, with_grids=not given.voices_only)
    if not given.plain:
        samples += piece_samples(len(samples), with_grids=not given.voices_only)
    rng = np.random.default_rng(3)
    samples = [samples[i] for i in rng.permutation(len(samples))]
    if given.plain:
        tables = tables_of(samples[: given.metre_turns], count_thirds(samples))
        keep(given.out, how, {"metre_plain": _named(fit_metre(tables, RIDGE_PLAIN, load_model().metre_plain))})
        return
    if given.metre_only:
        fit_metre_only(samples[: given.metre_turns], given.report, given.out, given.folds, how)
        return
    print(f"{len(samples)} turns", flush=True)
    held, rest = [s for s in samples if not s.fold], [s for s in samples if s.fold]
    if given.report:
        report_voices(held, fit_voices(rest))
    voices = fit_voices(samples)
    if given.voices_only:
        keep(given.out, how, {"voices": voices_content(voices)})
        return
    key_tables = [(s.fold, key_rows(s)) for s in samples]
    if given.report:
        report_key(
            [rows for fold, rows in key_tables if not fold], fit_key([rows for fold, rows in key_tables if fold])
        )
    key = fit_key([rows for _, rows in key_tables])
    print("voices and key fitted", flush=True)
    samples = side_by_side(with_grids_laid, [(sample, voices) for sample in samples[: given.metre_turns]])
    rhythms = {fold: count_rhythm([s for s in samples if s.fold != fold]) for fold in range(FOLDS)}
    tables = side_by_side(metre_rows, [(s, rhythms[s.fold]) for s in samples])
    print("readings laid out", flush=True)
    if given.report:
        rest_tables = [rows for s, rows in zip(samples, tables, strict=True) if s.fold]
        held_tables = [rows for s, rows in zip(samples, tables, strict=True) if not s.fold]
        report_metre([s for s in samples if not s.fold], held_tables, fit_metre(rest_tables))
    metre = fit_metre(tables)
    rhythm = rhythm_content(count_rhythm(samples))
    parts = {"voices": voices_content(voices), "metre": _named(metre), "key": _named(key), "rhythm": rhythm}
    keep(given.out, how, parts)


def arguments_of(given: argparse.Namespace) -> str:
    """The command line that gives these numbers again."""
    words = [f"--count {given.count} --variants {given.variants} --metre-turns {given.metre_turns}"]
    words += ["--voices-only"] * given.voices_only + ["--metre-only"] * given.metre_only + ["--plain"] * given.plain
    return " ".join(words)


def keep(out: Path | None, how: Made, parts: dict[str, Any]) -> None:
    """Write what was fitted, where a file is named."""
    if out:
        write_parts(out, parts, dict.fromkeys(parts, how))
        print(f"written: {out}")


def fit_metre_only(samples: list[Sample], report: bool, out: Path | None, folds: Path | None, how: Made) -> None:
    """The weights for pieces anew, and the tables of simple beats in thirds; voices and other tables are the file's."""
    plain = load_model().metre_plain
    known = replace(plain, weight=np.where(np.isin(plain.names, HEARD), 0.0, plain.weight))
    rhythms = [count_thirds([s for s in samples if s.fold != fold]) for fold in range(FOLDS)]
    tables = [without_heard(rows) for rows in tables_of(samples, *rhythms)]
    count = np.array([1.0 if s.truth.group in PIECE_KINDS else MELODIES_COUNT for s in samples])

    def fit_without(fold: int | None, ridge: float) -> LinearModel:
        kept = [i for i, s in enumerate(samples) if s.fold != fold]
        return fit_metre([tables[i] for i in kept], ridge, known, count[kept])

    if report:
        held = [i for i, s in enumerate(samples) if not s.fold]
        for ridge in RIDGES_FROM:
            print(f"ridge {ridge}")
            report_metre([samples[i] for i in held], [tables[i] for i in held], fit_without(0, ridge))
    metre = fit_without(None, RIDGE_FROM)
    if folds:
        models = [fit_without(fold, RIDGE_FROM) for fold in range(FOLDS)]
        weights = [model.weight / model.spread * metre.spread for model in models]
        folds.write_text(json.dumps([dict(zip(FEATURE_NAMES, _digits(w), strict=True)) for w in weights]))
    keep(out, how, {"metre": _named(metre), "rhythm": rhythm_content(count_thirds(samples))})


def without_heard(rows: Rows) -> Rows:
    """The readings without what the network says of them."""
    table = rows[0].copy()
    table[:, [FEATURE_NAMES.index(name) for name in HEARD]] = 0.0
    return table, rows[1], rows[2]


def count_thirds(samples: list[Sample]) -> RhythmModel:
    """The file's tables, those of simple beats in thirds counted anew."""
    model = load_model()
    counted = count_rhythm(side_by_side(with_grids_laid, [(replace(s, on_grids=[]), model.voices) for s in samples]))
    thirds = ("3", "6")
    bar = {name: table for name, table in counted.bar.items() if name[:6] == "simple" and name.split("/")[1] in thirds}
    beat = {name: counted.beat[name] for name in ("simple/3", "simple/6") if name in counted.beat}
    return RhythmModel(model.rhythm.bar | bar, model.rhythm.beat | beat)


def tables_of(samples: list[Sample], *rhythms: RhythmModel) -> list[Rows]:
    """The readings of turns, laid out with the file's voices. rhythms: one for all, or one for each fold."""
    laid = side_by_side(with_grids_laid, [(replace(s, on_grids=[]), load_model().voices) for s in samples])
    return side_by_side(metre_rows, [(sample, rhythms[sample.fold % len(rhythms)]) for sample in laid])


def make_samples(count: int, variants: int, with_grids: bool = True) -> list[Sample]:
    """Turns of the tuning melodies; folds by melody, so that no melody is on both sides."""
    rng = np.random.default_rng(2024)
    melodies = [m for m in load_melodies(count=count) if m.part == "tuning"]
    laid = []
    for variant in range(variants):
        for index, melody in enumerate(melodies):
            turn = make_turn(melody, rng, (0.0, 0.05, 0.15)[(index + variant) % 3])
            onset_s = np.array([s.onset_s for s in turn.strikes])
            pitch = np.array([float(known(s.pitch, "a strike's pitch")) for s in turn.strikes])
            bar_s = 4 * melody.metre[0] / melody.metre[1] * turn.quarter_s
            truth = Truth(melody.collection, melody.metre, bar_s, turn.start_s, turn.fifths, turn.tonic)
            lead = np.array([bool(n and n.melody) for n in turn.truth])
            real = np.array([n is not None for n in turn.truth])
            laid.append((fold_of_melody(index), truth, onset_s, pitch, lead, real, with_grids))
    return side_by_side(_sample, laid)


def piece_samples(seed: int, with_grids: bool = True, variants: Sequence[float] = PIECE_VARIANTS) -> list[Sample]:
    """Turns of the pieces; folds by work, so that no work is on both sides."""
    pieces = load_tuning_pieces()
    works = works_of(pieces)
    laid = []
    for variant, inner in enumerate(variants):
        for number, piece in enumerate(pieces):
            rng = np.random.default_rng([seed, variant, number])
            case = case_of(piece, number, seed=100 + variant, inner=inner)
            onset_s = case.onset_s + rng.normal(0, 0.015, len(case.onset_s))
            order = np.argsort(onset_s)
            truth = Truth(piece.kind, case.metre, case.bar_s, case.start_s, case.fifths, None)
            fold = fold_of_piece(piece, works)
            real = np.ones(len(order), dtype=bool)
            pitch = case.pitch[order].astype(float)
            laid.append((fold, truth, onset_s[order], pitch, case.melody[order], real, with_grids))
    return side_by_side(_sample, laid)


def fold_of_melody(index: int) -> int:
    """The quarter of the tuning half that a melody is in; index: its place among the tuning melodies of a draw."""
    return (index * 7919) % FOLDS


def works_of(pieces: Sequence[Piece]) -> list[str]:
    """The works that the pieces are from, each once, by name."""
    return sorted({_work(piece.name) for piece in pieces})


def fold_of_piece(piece: Piece, works: Sequence[str]) -> int:
    """The quarter of the tuning pieces that a piece is in, with all of its work."""
    return works.index(_work(piece.name)) % FOLDS


def _work(name: str) -> str:
    return name.partition("#")[0].partition("/movement")[0]


def _sample(
    fold: int,
    truth: Truth,
    onset_s: np.ndarray,
    pitch: np.ndarray,
    melody: np.ndarray,
    real: np.ndarray,
    with_grids: bool,
) -> Sample:
    if with_grids:
        _, anchored_s, grids = find_turn_grids(onset_s, pitch)
    else:
        anchored_s, grids = find_rolls(onset_s, pitch).anchored(onset_s, last=True), ()
    return Sample(fold, truth, onset_s, anchored_s, grids, pitch, melody, real, [])


# ---- voices


def fit_voices(samples: list[Sample]) -> tuple[VoiceModel, ...]:
    """The first look at all strikes, and a second that sees what the first found."""
    samples = samples[:VOICE_TURNS]
    tables = [voice_features(s.anchored_s, s.pitch) for s in samples]
    models = [_network(tables, samples)]
    for _ in range(LOOKS - 1):
        said = [melody_probability(s.anchored_s, s.pitch, tuple(models)) for s in samples]
        seen = [line_features(s.anchored_s, s.pitch, p, t) for s, p, t in zip(samples, said, tables, strict=True)]
        models.append(_network(seen, samples))
    return tuple(models)


def _network(tables: list[np.ndarray], samples: list[Sample]) -> VoiceModel:
    """A network of one hidden layer over all strikes, every turn counting alike."""
    table = np.vstack(tables)
    weight = np.concatenate([s.real / len(s.real) for s in samples])
    mean, spread = table.mean(0), table.std(0) + 1e-9
    network = MLPClassifier(
        (HIDDEN,), activation="tanh", alpha=3e-3, max_iter=30, batch_size=256, learning_rate_init=2e-3, random_state=0
    )
    network.fit(
        (table - mean) / spread, np.concatenate([s.melody for s in samples]), weight * len(weight) / weight.sum()
    )
    (hidden, last), (hidden_constant, constant) = network.coefs_, network.intercepts_
    return VoiceModel(mean, spread, hidden, hidden_constant, last[:, 0], float(constant[0]))


def report_voices(samples: list[Sample], models: tuple[VoiceModel, ...]) -> None:
    """Melody F1 on the quarter left out."""
    for looks in range(1, len(models) + 1):
        scores = []
        for s in samples:
            said = (melody_probability(s.anchored_s, s.pitch, models[:looks]) > 0.5)[s.real]
            true = s.melody[s.real]
            scores.append(2.0 * (said & true).sum() / max(1, said.sum() + true.sum()))
        print(f"voices: melody F1 {np.mean(scores):.4f} on {len(samples)} turns left out, looks: {looks}", flush=True)


# ---- rhythm and metre


def net_without(fold: int) -> BarNet:
    """The network of bar_lines.py as trained without a quarter of the tunes, so that what it says of them is honest."""
    return load_net(FOLD_NETS / f"without{fold}.npz")


def said_of(sample: Sample, voices: tuple[VoiceModel, ...]) -> tuple[np.ndarray, int]:
    """(melody, tonic) of a turn as the program itself would tell them."""
    said = melody_probability(sample.anchored_s, sample.pitch, voices) > 0.5
    weight = strike_weights(sample.anchored_s, said)
    return said, read_key(np.round(sample.pitch), weight, said, load_model().key)[0].key.tonic


def add_grids(sample: Sample, voices: tuple[VoiceModel, ...]) -> None:
    """Lay the strikes on the grids, with melody as the program itself would tell it."""
    said, tonic = said_of(sample, voices)
    heard = hear_lines(sample.anchored_s, sample.pitch, said, tonic, net_without(sample.fold))
    for grid in sample.grids[:GRIDS]:
        step = np.round(grid.places(sample.anchored_s)).astype(np.int64)
        lattice = make_lattice(step, np.round(sample.pitch), said, grid.step_s)
        first = int(step.min())
        at = np.round(grid.places(heard.moment_s(sample.anchored_s))).astype(np.int64) - first
        sample.on_grids.append((grid, first, lattice, find_marks(lattice, heard, at)))


def with_grids_laid(sample: Sample, voices: tuple[VoiceModel, ...]) -> Sample:
    """The sample, its strikes laid on the grids."""
    add_grids(sample, voices)
    return sample


def side_by_side(work: Callable[..., Any], rows: Sequence[tuple[Any, ...]]) -> list[Any]:
    """work(*row) of every row in order, on all processors."""
    with multiprocessing.Pool(os.cpu_count()) as pool:
        return pool.starmap(work, rows, chunksize=4)


def label(structure: Structure, phase: int, grid: StepGrid, first: int, truth: Truth) -> int:
    """0: wrong; 1: metre class and bar lines right, bars of half or double length; 2: the bars as written, or 3: and
    their beats too, so that the note values come out as written.
    """
    beats, unit = truth.metre
    compound, triple = beats in (6, 9, 12), beats in (3, 9)
    if structure.compound != compound or (structure.beats == 3) != triple:
        return 0
    bar_s, true_s = structure.bar * grid.step_s, truth.bar_s
    ratio = bar_s / true_s
    if not any(abs(ratio / good - 1) < 0.01 for good in ((1.0,) if triple else (0.5, 1.0, 2.0))):
        return 0
    short_s = min(bar_s, true_s)
    off_s = grid.start_s + (first + phase) * grid.step_s - truth.start_s
    if abs((off_s + short_s / 2) % short_s - short_s / 2) > 0.3 * grid.step_s + 0.02:
        return 0
    if abs(ratio - 1) > 0.01:
        return 1
    return 3 if structure.beats == (beats // 3 if compound else 4 if (beats, unit) == (2, 2) else beats) else 2


def count_rhythm(samples: list[Sample]) -> RhythmModel:
    """Tables of gaps by place, from the readings that are as written."""
    bar: dict[str, np.ndarray] = {}
    beat: dict[str, np.ndarray] = {}
    for s in samples:
        for grid, first, lattice, _ in s.on_grids:
            for structure in structures_for(lattice):
                for phase in range(structure.bar):
                    if label(structure, phase, grid, first, s.truth) < 2:
                        continue
                    counts = np.roll(gap_counts(lattice, structure.bar), -phase, axis=0)
                    name = bar_name(structure)
                    bar[name] = bar.get(name, 0.0) + counts
                    steps = structure.steps
                    by_beat = counts.reshape(structure.beats, steps, structure.bar + 1).sum(0)
                    beat[beat_name(structure)] = beat.get(beat_name(structure), 0.0) + fit_gaps(by_beat, 4 * steps + 1)
    return RhythmModel(bar, beat)


Rows = tuple[np.ndarray, np.ndarray, np.ndarray]


def metre_rows(sample: Sample, rhythm: RhythmModel) -> Rows:
    """(features, label, class is right) of every reading of a turn."""
    tables, labels, classes = [], [], []
    best = max(grid.score for grid, *_ in sample.on_grids)
    beats, _ = sample.truth.metre
    for grid, first, lattice, marks in sample.on_grids:
        if grid.score < best - WORST_GRID * len(sample.onset_s):
            continue
        for structure in structures_for(lattice):
            scores = rhythm_scores(lattice, structure, rhythm)
            tables.append(features(lattice, structure, scores, grid.score - best, marks).table)
            labels += [label(structure, phase, grid, first, sample.truth) for phase in range(structure.bar)]
            right = structure.compound == (beats in (6, 9, 12)) and (structure.beats == 3) == (beats in (3, 9))
            classes += [right] * structure.bar
    return np.vstack(tables).astype(np.float32), np.array(labels), np.array(classes)


def fit_metre(
    tables: list[Rows], ridge: float = RIDGE, known: LinearModel | None = None, count: np.ndarray | None = None
) -> LinearModel:
    """Conditional logit: readings of class and phase as written against all others, the very bar length beside it.

    known: an earlier fit, from whose weights the ridge holds the new ones back; features it had not begin at 0. count:
    what each turn counts.
    """
    able = [index for index, rows in enumerate(tables) if (rows[1] > 0).any()]
    count = np.ones(len(able)) if count is None else count[able]
    tables = [tables[index] for index in able]
    table = np.vstack([rows[0] for rows in tables]).astype(np.float64)
    mean, spread = table.mean(0), table.std(0) + 1e-6
    begin = np.zeros(table.shape[1])
    for column, name in enumerate(FEATURE_NAMES):
        if known is not None and name in known.names:
            at = known.names.index(name)
            mean[column], spread[column], begin[column] = known.mean[at], known.spread[at], known.weight[at]
    table = ((table - mean) / spread).astype(np.float32)
    sizes = np.array([len(rows[1]) for rows in tables])
    start = np.r_[0, np.cumsum(sizes)[:-1]]
    good = np.concatenate([rows[1] > 0 for rows in tables])
    exact = np.concatenate([rows[1] == 3 for rows in tables])
    has_exact = np.add.reduceat(exact, start) > 0

    def loss(b: np.ndarray) -> tuple[float, np.ndarray]:
        score = table @ b.astype(np.float32)
        lift = np.exp((score - np.repeat(np.maximum.reduceat(score, start), sizes)).astype(np.float64))
        total = np.add.reduceat(lift, start)
        value, slope = 0.0, np.zeros(len(lift))
        for mask, share in ((good, count), (exact, count * EXACT_SHARE * has_exact)):
            part = np.add.reduceat(lift * mask, start) + 1e-12
            value -= float((share * np.log(part / total)).sum())
            slope += np.repeat(share / total, sizes) * lift - np.repeat(share / part, sizes) * lift * mask
        gradient = (slope.astype(np.float32) @ table).astype(np.float64) / count.sum()
        return value / count.sum() + ridge * float(((b - begin) ** 2).sum()), gradient + 2 * ridge * (b - begin)

    found = minimize(loss, begin, jac=True, method="L-BFGS-B", options={"maxiter": 250}).x
    return LinearModel(FEATURE_NAMES, mean, spread, found)


def report_metre(samples: list[Sample], tables: list[Rows], model: LinearModel) -> None:
    """Share of turns with the class, class and phase, and very bar right, on the quarter left out."""
    groups: dict[str, list[tuple[bool, ...]]] = {}
    for sample, (table, labels, classes) in zip(samples, tables, strict=True):
        best = int(model.shares(table).sum(1).argmax())
        metre = sample.truth.metre
        for name in ("all", sample.truth.group, f"{metre[0]}/{metre[1]}"):
            result = (bool(classes[best]), bool(labels[best] > 0), bool(labels[best] >= 2), bool(labels[best] == 3))
            groups.setdefault(name, []).append(result)
    for name, results in groups.items():
        print(f"metre {name:8s} {len(results):4d}  class, phase, bar, values: {np.round(np.mean(results, 0), 3)}")


# ---- key

KeyRows = tuple[np.ndarray, np.ndarray, np.ndarray]


def key_rows(sample: Sample) -> KeyRows:
    """(features, signature is right, key is right) of every key."""
    length = strike_weights(sample.onset_s, sample.melody)
    evidence = key_evidence(np.round(sample.pitch), length, sample.melody)
    keys = key_candidates()
    table = key_table(evidence)
    signature = np.array([(key.fifths - sample.truth.fifths) % 12 == 0 for key in keys])
    tonic = sample.truth.tonic
    return table, signature, signature & np.array([tonic is None or key.tonic == tonic for key in keys])


def fit_key(tables: list[KeyRows]) -> LinearModel:
    """Conditional logit over the keys: the signature first, the very key beside it."""
    table = np.array([rows[0] for rows in tables])
    flat = table.reshape(-1, table.shape[2])
    mean, spread = flat.mean(0), flat.std(0) + 1e-9
    table = (table - mean) / spread
    masks = [(np.array([rows[part] for rows in tables]), share) for part, share in ((1, 1.0), (2, 0.3))]

    def loss(b: np.ndarray) -> tuple[float, np.ndarray]:
        score = table @ b
        lift = np.exp(score - score.max(1, keepdims=True))
        chance = lift / lift.sum(1, keepdims=True)
        value, slope = 1e-3 * float((b**2).sum()), np.zeros_like(chance)
        for mask, share in masks:
            part = (chance * mask).sum(1, keepdims=True) + 1e-12
            value -= share * float(np.log(part).mean())
            slope += share * (chance - chance * mask / part)
        return value, np.einsum("nk,nkf->f", slope, table) / len(table) + 2e-3 * b

    found = minimize(loss, np.zeros(table.shape[2]), jac=True, method="L-BFGS-B").x
    return LinearModel(KEY_FEATURES, mean, spread, found)


def report_key(tables: list[KeyRows], model: LinearModel) -> None:
    """Share of turns with the signature and the key right, on the quarter left out."""
    picks = [int(model.shares(rows[0]).sum(1).argmax()) for rows in tables]
    signature = np.mean([rows[1][pick] for rows, pick in zip(tables, picks, strict=True)])
    exact = np.mean([rows[2][pick] for rows, pick in zip(tables, picks, strict=True)])
    print(f"key: signature {signature:.3f}, tonic too {exact:.3f} on {len(tables)} turns left out")


# ---- the file


def rhythm_content(rhythm: RhythmModel) -> dict[str, Any]:
    """The rhythm's part of model.json."""
    return {
        kind: {name: np.round(t).astype(int).tolist() for name, t in sorted(getattr(rhythm, kind).items())}
        for kind in ("bar", "beat")
    }


def voices_content(voices: tuple[VoiceModel, ...]) -> list[dict[str, Any]]:
    """The voices' part of model.json."""
    return [
        {name: _rounded(getattr(look, name)) for name in VOICE_PARTS} | {"constant": round(look.constant, 4)}
        for look in voices
    ]


def _rounded(values: np.ndarray) -> list[Any]:
    return _digits(values) if values.ndim == 1 else [_digits(row) for row in values]


def _named(model: LinearModel) -> dict[str, dict[str, float]]:
    columns = zip(model.names, _digits(model.mean), _digits(model.spread), _digits(model.weight), strict=True)
    return {name: {"mean": m, "spread": s, "weight": w} for name, m, s, w in columns}


def _digits(values: np.ndarray) -> list[float]:
    return [float(f"{value:.5g}") for value in values]


if __name__ == "__main__":
    main()
