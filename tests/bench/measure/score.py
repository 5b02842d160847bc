"""How well strikes become written music: the reader against melodies of the music21 corpus. Prints a table with bars.

    python -m tests.bench.measure.score [--tunes 160] [--part both] [--removed 0 0.05 0.15]

--tunes melodies of the tuning half and as many of the held-out half (tune_corpus.py), each made into a turn with 15 ms
setting error, a random accompaniment, and a share of the strikes removed (tune_strikes.py; with any removed, one strike
in a hundred is wrong). Measured for each turn:

onsets      F1 of notes on the right place of the right grid: pitch and exact place in quarters agree (mir_eval's note
            matching, tolerance a thousandth of a quarter). Where bar 1 stands is judged by "phase" alone; a tune
            written in values half or twice as long is right here and shown as wrong under "values". Grace notes have
            no place on the grid and are left out of the truth; a strike wrongly added counts against precision.
class       duple or triple, simple or compound (quadruple counts as duple).
phase       class right, and bar lines on bar lines (of bars half or twice as long where duple).
bar         the very bars as printed in the collection.
key         the signature (enharmonic ones count as the same). music21: its analyser ("key") on the same notes.
melody      F1 of melody strikes told from accompaniment, a wrong strike counting as neither.
cpu         seconds of processor time for one tune, read_tune alone and with MIDI and MusicXML.
"""

from __future__ import annotations

import argparse
import time
from fractions import Fraction
from typing import Any

import numpy as np
from mir_eval.transcription import precision_recall_f1_overlap

from disc.comb.bar import frequency_hz
from disc.records import Tune, Voice
from disc.tune.read.key import strike_weights
from disc.tune.read.read_tune import TuneReading, read_tune
from disc.tune.write.midi import midi_bytes
from disc.tune.write.musicxml import musicxml_text
from tests.bench.truth.known import known
from tests.bench.truth.tune_corpus import Melody, load_melodies
from tests.bench.truth.tune_strikes import Turn, make_turn

BARS = {
    0.0: {"onsets": 0.985, "class": 0.92, "phase": 0.88, "key": 0.92, "melody": 0.95},
    0.05: {"onsets": 0.975, "class": 0.90, "phase": 0.85, "key": 0.90, "melody": 0.95},
    0.15: {"onsets": 0.95, "class": 0.85, "phase": 0.80, "key": 0.88, "melody": 0.95},
}
LONGEST_S = 1.5
TINY_QUARTER = 0.001
COLUMNS = ("onsets", "values", "class", "phase", "bar", "key", "music21", "melody", "cpu", "cpu_all")


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tunes", type=int, default=160, help="melodies of each half")
    parser.add_argument("--part", choices=("both", "tuning", "held out"), default="both")
    parser.add_argument("--removed", type=float, nargs="*", default=[0.0, 0.05, 0.15])
    parser.add_argument("--by", choices=("", "collection", "metre", "figure"), default="", help="split the table")
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--quick", action="store_true", help="leave out music21's analyser and the score")
    given = parser.parse_args()
    melodies = load_melodies(count=1000)
    parts = ("tuning", "held out") if given.part == "both" else (given.part,)
    print("removed  part      " + "".join(f"{name:>9s}" for name in COLUMNS))
    for removed in given.removed:
        for part in parts:
            chosen = [m for m in melodies if m.part == part][: given.tunes]
            rows = [measure_one(m, i, removed, given.seed, given.quick) for i, m in enumerate(chosen)]
            print_rows(rows, removed, part, given.by)
        if removed in BARS:
            print(f"{removed:6.0%}   bar       " + "".join(f"{BARS[removed].get(n, '')!s:>9s}" for n in COLUMNS))


def print_rows(rows: list[dict[str, Any]], removed: float, part: str, by: str) -> None:
    """Means over all turns, and over each group."""
    names = sorted({str(row[by]) for row in rows}) if by else []
    for name in ("", *names):
        mine = [row for row in rows if not name or str(row[by]) == name]
        cells = "".join(f"{np.mean([float(row[column]) for row in mine]):9.3f}" for column in COLUMNS)
        print(f"{removed:6.0%}   {part if not name else '  ' + name[:16]:10s}{cells}  ({len(mine)})")


def measure_one(melody: Melody, index: int, removed: float, seed: int, quick: bool) -> dict[str, Any]:
    """All columns for one melody, with what to split by."""
    turn = make_turn(melody, np.random.default_rng([seed, index, int(100 * removed)]), removed)
    began = time.process_time()
    reading = read_tune(turn.strikes, turn.plate)
    row: dict[str, Any] = {"cpu": time.process_time() - began, "cpu_all": np.nan, "music21": np.nan}
    tune = reading.tune
    if not quick:
        midi_bytes(tune)
        musicxml_text(tune)
        row["cpu_all"] = time.process_time() - began
        row["music21"] = music21_signature(turn, reading) % 12 == turn.fifths % 12
    row["onsets"], row["values"] = onset_scores(turn, tune)
    row |= bar_scores(turn, tune)
    row["key"] = tune.key.fifths % 12 == turn.fifths % 12
    row["melody"] = melody_score(turn, tune)
    row |= {"collection": melody.collection, "metre": f"{melody.metre[0]}/{melody.metre[1]}"}
    return row | {"figure": turn.figure.split("+")[0], "name": melody.name}


def onset_scores(turn: Turn, tune: Tune) -> tuple[float, float]:
    """(F1 on the best level of note values, F1 on the values as printed)."""
    by_pin = {pin: note for note in tune.notes for pin in note.pins}
    pairs = []
    for strike, truth in zip(turn.strikes, turn.truth, strict=True):
        note = by_pin.get(known(strike.pin_id, "a strike's pin"))
        if truth is not None and note is not None and not truth.grace:
            pairs.append((truth.onset, note.onset_quarter))
    scores = {}
    for scale in (Fraction(1), Fraction(2), Fraction(1, 2), Fraction(4), Fraction(1, 4)):
        shifts = [said - true * scale for true, said in pairs]
        shift = max(set(shifts), key=shifts.count) if shifts else Fraction(0)
        scores[scale] = _note_f1(turn, tune, scale, shift)
    return max(scores.values()), scores[Fraction(1)]


def _note_f1(turn: Turn, tune: Tune, scale: Fraction, shift: Fraction) -> float:
    true = [(float(t.onset * scale + shift), float(known(s.pitch, "a strike's pitch"))) for s, t in _true_notes(turn)]
    graces = {s.pin_id for s, t in zip(turn.strikes, turn.truth, strict=True) if t is not None and t.grace}
    said = [
        (float(n.onset_quarter), float(n.pitch)) for n in tune.notes if not n.grace and not graces.intersection(n.pins)
    ]
    if not true or not said:
        return 0.0
    lowest = min(onset for onset, _ in [*true, *said])
    arrays = []
    for notes in (true, said):
        onset = np.array([o - lowest for o, _ in notes])
        arrays += [np.stack([onset, onset + 0.1], axis=1), np.array([frequency_hz(p) for _, p in notes])]
    return float(precision_recall_f1_overlap(*arrays, onset_tolerance=TINY_QUARTER, offset_ratio=None)[2])


def _true_notes(turn: Turn) -> list[Any]:
    return [(s, t) for s, t in zip(turn.strikes, turn.truth, strict=True) if t is not None and not t.grace]


def bar_scores(turn: Turn, tune: Tune) -> dict[str, bool]:
    """class, phase and bar."""
    beats, unit = turn.melody.metre
    kind = (beats in (6, 9, 12), beats in (3, 9))
    said = (tune.metre.beats in (6, 9, 12), tune.metre.beats in (3, 9))
    bar_s, true_s = float(tune.metre.bar_quarter) * tune.quarter_s, 4 * beats / unit * turn.quarter_s
    ratio = bar_s / true_s
    good = (1.0,) if kind[1] else (0.5, 1.0, 2.0)
    near = [r for r in good if abs(ratio / r - 1) < 0.01]
    short_s = min(bar_s, true_s)
    off_s = (tune.start_s - turn.start_s + short_s / 2) % short_s - short_s / 2
    phase = kind == said and bool(near) and abs(off_s) < 0.08 * short_s
    return {"class": kind == said, "phase": phase, "bar": phase and near == [1.0]}


def melody_score(turn: Turn, tune: Tune) -> float:
    """F1 of strikes said to be melody."""
    by_pin = {pin: note for note in tune.notes for pin in note.pins}
    hits = said = true = 0
    for strike, truth in zip(turn.strikes, turn.truth, strict=True):
        note = by_pin.get(known(strike.pin_id, "a strike's pin"))
        if truth is None:
            continue
        is_said = note is not None and note.voice is Voice.MELODY
        hits, said, true = hits + (is_said and truth.melody), said + is_said, true + truth.melody
    return 2.0 * hits / max(1, said + true)


def music21_signature(turn: Turn, reading: TuneReading) -> int:
    """Sharps that music21's own analyser finds in the same notes, given the same lengths as ours."""
    from music21 import note, stream

    onset_s = np.array([s.onset_s for s in turn.strikes])
    melody = np.array([p > 0.5 for p in reading.melody])
    part = stream.Part()
    for strike, length in zip(turn.strikes, strike_weights(onset_s, melody), strict=True):
        part.insert(
            strike.onset_s,
            note.Note(round(known(strike.pitch, "a strike's pitch")), quarterLength=round(float(length), 2)),
        )
    return int(part.analyze("key").sharps)


if __name__ == "__main__":
    main()
