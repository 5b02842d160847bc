"""Listening against its bars: combs plucked in turn and recorded turns, sets of twelve or twenty-four recordings each.

Run: python -m tests.bench.measure.listen [--sets last] [--no-baselines] [--workers 2]
Needs fluidsynth and the Debian packages fluid-soundfont-gm, timgm6mb-soundfont and (for the later sets)
musescore-general-soundfont-small. Times are processor seconds. All sets up to "ninth" and "weak" were looked at while
the program was made; "combs", "turns" and "weak-unseen" once each, nearly at the end, and "last" once, when all of it
was done. "make", "make-combs" and "make-other" (the usual make: twins, teeth off their table, speech, neighbours taken
along) were looked at, "make-unseen" only at the end, "make-last" once after it, and both were looked at later on;
"make-fresh" once after that, "make-after" once later, and both were fitted to then; "make-final" once after that,
"make-end" once at the very end; "make-next" and "make-next-combs" once
after that. "ringing" is of modelled things alone, of four kinds; of "ringing-last", 64 turns, none
was looked at. After another change draw another set.
Under each set stands how true its claims were: those said with a probability by its size, the others all together.
A tooth's pitch is that of its settled decay. Its number is wrong if a tone under it is another tooth's; that is said if
the tooth is one of several, or none of its plucks is heard.
Turn notes are scored by mir_eval (onset 50 ms, pitch 50 cents, no offsets). A tooth has the right number if all its
plucks are found under that number within 0.1 s. The baselines are librosa's onset detector with piptrack or pYIN (in
steps of a quarter of a semitone: a tenth, its default, takes six times as long).
"""

from __future__ import annotations

import argparse
import itertools
import multiprocessing
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import mir_eval
import numpy as np

from disc.errors import BadInput
from disc.listen.claims import (
    CONDITION_PROBABILITY,
    LATE_PROBABILITY,
    MOST_SURE,
    OFF_TABLE_PROBABILITY,
    SILENT_PROBABILITY,
    WEAK_PROBABILITY,
)
from disc.listen.comb.plucked import read_plucked
from disc.listen.sound.audio import read_recording
from disc.listen.turn.hear_turn import read_turn
from tests.bench.truth import listen_draws, listen_make, listen_set

SETS: dict[str, list[listen_set.Spec]] = {
    "development": listen_set.DEVELOPMENT, "second": listen_set.SECOND, "held-out": listen_set.HELD_OUT,
    "third": listen_draws.THIRD, "fourth": listen_draws.FOURTH, "fifth": listen_draws.FIFTH,
    "sixth": listen_draws.SIXTH, "seventh": listen_draws.SEVENTH, "eighth": listen_draws.EIGHTH,
    "ninth": listen_draws.NINTH, "combs": listen_draws.COMBS, "turns": listen_draws.TURNS, "last": listen_draws.LAST,
    "weak": listen_draws.WEAK, "weak-unseen": listen_draws.WEAK_UNSEEN,
    "make": listen_make.MAKE, "make-combs": listen_make.MAKE_COMBS, "make-other": listen_make.MAKE_OTHER,
    "make-unseen": listen_make.MAKE_UNSEEN, "make-last": listen_make.MAKE_LAST,
    "make-fresh": listen_make.MAKE_FRESH, "make-after": listen_make.MAKE_AFTER,
    "make-final": listen_make.MAKE_FINAL, "make-end": listen_make.MAKE_END,
    "make-next": listen_make.MAKE_NEXT, "make-next-combs": listen_make.MAKE_NEXT_COMBS,
    "ringing": listen_make.draw_ringing(listen_make.RINGING_SEED, 3), "ringing-last": listen_make.RINGING_LAST,
}  # fmt: skip
PLUCK_S = 0.1
SURE = (0.0, 0.6, 0.8, 0.9, 0.96, 1.01)
# A recording that starts late, holds two turns or was made at another rate than it says is understood if its notes and
# the time of a revolution come out as they must of any.
UNDERSTOOD_F1, UNDERSTOOD_PERCENT = 0.93, 0.2
# (line, bar, whether more is better)
BARS = {
    "plucked: right number": (0.98, True),
    "plucked: right number, noisy": (0.93, True),
    "number wrong, and not said (teeth)": (0, False),
    "number right, and doubted (share)": (0.05, False),
    "pitch error, median (cents)": (0.5, False),
    "pitch error, 95th percentile (cents)": (2.0, False),
    "dead: precision": (0.95, True),
    "dead: recall": (0.95, True),
    "buzzing: precision": (0.85, True),
    "buzzing: recall": (0.85, True),
    "doubled: false": (0, False),
    "doubled: recall": (0.9, True),
    "ring time, median error (%)": (10.0, False),
    "turn: F1, all": (0.98, True),
    "turn: F1, worst": (0.95, True),
    "onset error, median (ms)": (5.0, False),
    "silent: precision": (0.93, True),
    "silent: recall": (0.95, True),
    "extra: precision": (0.85, True),
    "extra: recall": (0.8, True),
    "weak pins: precision": (None, True),
    "weak pins: recall": (None, True),
    "weak teeth: precision": (None, True),
    "weak teeth: recall": (None, True),
    "early or late: precision": (0.9, True),
    "early or late: recall": (0.8, True),
    "off their table: precision": (None, True),
    "off their table: found": (0.95, True),
    "off their table: error, worst (cents)": (3.0, False),
    "starts late: understood": (1.0, True),
    "two turns: understood": (1.0, True),
    "wrong rate: understood": (1.0, True),
    "revolution, worst (%)": (0.2, False),
    "slow speed, mean rms (%)": (0.1, False),
    "slow speed, worst rms (%)": (None, False),
    "full speed with whirr, worst rms (%)": (0.6, False),
    "processor s per minute, mean": (6.0, False),
    "processor s per minute, worst": (9.0, False),
}


def score_plucked(path: Path, truth: listen_set.Plucked, got: dict) -> str:
    """Add one plucked recording's figures; what there is to say of it."""
    started = time.process_time()
    comb = read_plucked(path, len(truth.teeth), truth.plucks)
    got["time"].append((time.process_time() - started) / read_recording(path).length_s * 60)
    right = 0
    starts = [min(true["plucks_s"]) for true in truth.teeth] + [np.inf]
    for mine, true, begins, ends in zip(comb.teeth, truth.teeth, starts, starts[1:], strict=False):
        own = all(begins - PLUCK_S < at < ends - PLUCK_S for at in mine.plucks_s) or mine.pitch is None is true["pitch"]
        got["number"].append((own, bool(mine.one_of) or not mine.plucks_s))
        if mine.number_probability is not None:
            got["claim number"].append((mine.number_probability, own))
        found = all(any(abs(a - b) < PLUCK_S for a in mine.plucks_s) for b in true["plucks_s"])
        right += found
        got["right-noisy" if truth.noisy else "right"].append(found)
        condition = mine.condition.value if mine.condition else "open"
        got["condition"].append((true["condition"], condition))
        if condition in CONDITION_PROBABILITY:
            got[f"claim {condition}"].append((CONDITION_PROBABILITY[condition], true["condition"] == condition))
        if true["pitch"] is not None and mine.pitch is not None:
            got["pitch"].append(abs(mine.pitch - true["pitch"]) * 100)
            if mine.t60_s and np.isfinite(true["t60_s"]):
                got["ring"].append(abs(mine.t60_s / true["t60_s"] - 1) * 100)
    wrong = [(t["tooth"], t["condition"], str(m.condition)) for m, t in zip(comb.teeth, truth.teeth, strict=True)
             if t["condition"] != m.condition]  # fmt: skip
    return f"{truth.name}: {right} of {len(truth.teeth)} teeth right; conditions wrong: {wrong}"


def score_turn(path: Path, truth: listen_set.Turn, got: dict) -> str:
    """Add one recorded turn's figures; what there is to say of it."""
    started = time.process_time()
    recording = read_recording(path)
    try:
        turn = read_turn(recording, truth.comb, truth.strikes)
    except BadInput as error:
        got["f1"].append(0.0)
        got["notes"].append((0, 0, len(truth.onsets)))
        got["silent"].append((0, 0, len(truth.silent)))
        got["extra"].append((0, 0, len(truth.extra)))
        got["weak"].append((0, 0, len(truth.weak)))
        got["weak teeth"].append((0, 0, len(truth.weak_teeth)))
        for way in truth.unusual:
            got[way].append(False)
        return f"{truth.name}: {error}"
    got["time"].append((time.process_time() - started) / recording.length_s * 60)
    onsets = [(s.time_s, s.pitch) for s in turn.sounds]
    f1, pairs = note_f1(truth.onsets, onsets)
    got["f1"].append(f1)
    got["notes"].append((len(pairs), len(onsets), len(truth.onsets)))
    got["onset"] += [abs(onsets[b][0] - truth.onsets[a][0]) * 1000 for a, b in pairs]
    silent, true_silent = set(turn.silent), set(truth.silent)
    got["silent"].append((len(silent & true_silent), len(silent), len(true_silent)))
    hits = sum(any(abs(s.time_s - t) < 0.05 and abs(s.pitch - p) < 0.5 for s in turn.extra) for t, p in truth.extra)
    got["extra"].append((hits, len(turn.extra), len(truth.extra)))
    got["revolution"].append(abs(turn.revolution_s / truth.revolution_s - 1) * 100)
    for way in truth.unusual:
        got[way].append(f1 >= UNDERSTOOD_F1 and got["revolution"][-1] <= UNDERSTOOD_PERCENT)
    if truth.weak:
        for name, said, true in (("weak", turn.weak, truth.weak), ("weak teeth", turn.weak_teeth, truth.weak_teeth)):
            got[name].append((len(set(said) & set(true)), len(said), len(true)))
    chance_of = {s.strike: min(s.probability, MOST_SURE) for s in turn.silences}
    got["claim silent"] += [(chance_of.get(k, SILENT_PROBABILITY), k in true_silent) for k in turn.silent]
    got["claim extra"] += [
        (sound.probability, any(abs(sound.time_s - t) < 0.05 and abs(sound.pitch - p) < 0.5 for t, p in truth.extra))
        for sound in turn.extra
    ]
    got["claim weak"] += [(WEAK_PROBABILITY, k in truth.weak) for k in turn.weak]
    if "off_table" in truth.notes:
        late, off = {s.strike for s in turn.early_late}, {o.tooth: o.cents for o in turn.off_table}
        true_late, true_off = set(truth.notes["shift"]), truth.notes["off_table"]
        got["late"].append((len(late & true_late), len(late), len(true_late)))
        got["off"].append((len(off.keys() & true_off.keys()), len(off), len(true_off)))
        got["claim early or late"] += [(LATE_PROBABILITY, k in true_late) for k in late]
        got["claim off the table"] += [(OFF_TABLE_PROBABILITY, t in true_off) for t in off]
        got["off cents"] += [abs(off[t] - true_off[t]) for t in off.keys() & true_off.keys()]
    mine = np.interp(truth.speed[:, 0], turn.speed[:, 0], turn.speed[:, 1])
    window = np.ones(81) / 81  # 4 s
    off = mine - truth.speed[:, 1]
    got["slow"].append(float(np.sqrt(np.mean(np.convolve(off, window, "valid") ** 2)) * 100))
    if truth.whirr:
        got["full"].append(float(np.sqrt(np.mean(off**2)) * 100))
    return (
        f"{truth.name}: F1 {f1:.3f}, silent {got['silent'][-1]}, extra {got['extra'][-1]} (hit, said, true), "
        f"revolution {got['revolution'][-1]:.3f} %, slow {got['slow'][-1]:.3f} %, whirr {turn.whirr_hz}, "
        f"undecided {len(turn.undecided)}, weak {turn.weak} {turn.weak_teeth}"
    )


def note_f1(truth: list, found: list) -> tuple[float, list]:
    """mir_eval's note F1 and the matched pairs; items begin with (onset in s, MIDI pitch)."""
    if not found:
        return 0.0, []
    spans = [np.array([[t, t + 0.1] for t, *_ in items]) for items in (truth, found)]
    pitches = [440.0 * 2 ** ((np.array([item[1] for item in items]) - 69) / 12) for items in (truth, found)]
    pairs = mir_eval.transcription.match_notes(spans[0], pitches[0], spans[1], pitches[1], offset_ratio=None)
    return 2 * len(pairs) / (len(truth) + len(found)), pairs


def baseline(path: Path, truth: listen_set.Plucked | listen_set.Turn, method: str) -> float:
    """Share of teeth (plucked) or note F1 (turn) of librosa's onset detector with piptrack or pYIN."""
    import librosa

    audio, rate = librosa.load(path, sr=22050) if path.suffix != ".m4a" else (read_recording(path).samples, 44100)
    audio = np.asarray(audio, dtype=np.float32)
    onsets = librosa.onset.onset_detect(y=audio, sr=rate, units="time")
    if method == "pyin":
        f0, _, _ = librosa.pyin(audio, fmin=180, fmax=5000, sr=rate, hop_length=512, resolution=0.25)
        tracks = [f0[int(t * rate / 512) + 2 : int(t * rate / 512) + 8] for t in onsets]
        heard = [float(np.nanmedian(x)) if np.isfinite(x).any() else np.nan for x in tracks]
    else:
        pitch, size = librosa.piptrack(y=audio, sr=rate, fmin=180, fmax=5000)
        frames = [min(int(t * rate / 512) + 3, pitch.shape[1] - 1) for t in onsets]
        heard = [float(pitch[np.argmax(size[:, k]), k]) for k in frames]
    notes = [(t, librosa.hz_to_midi(f)) for t, f in zip(onsets, heard, strict=True) if f and np.isfinite(f)]
    if isinstance(truth, listen_set.Turn):
        return note_f1(truth.onsets, notes)[0]
    # Teeth in order: every two onsets are taken as one tooth's plucks.
    right = 0
    for k, tooth in enumerate(truth.teeth):
        pair = notes[2 * k : 2 * k + 2]
        right += len(pair) == 2 and all(abs(a[0] - b) < PLUCK_S for a, b in zip(pair, tooth["plucks_s"], strict=True))
    return right / len(truth.teeth)


def table(got: dict) -> dict[str, float]:
    """The figures of a set, by the lines of BARS."""

    def share(name: str, over: int) -> float:
        hit, total = sum(x[0] for x in got[name]), sum(x[over] for x in got[name])
        return hit / total if total else float("nan")

    def condition(name: str, over: int) -> float:
        hit = sum(pair == (name, name) for pair in got["condition"])
        total = sum(pair[over] == name for pair in got["condition"])
        return hit / total if total else float("nan")

    for name in ("right", "right-noisy", "pitch", "ring", "full"):
        got[name] = got[name] or [np.nan]  # a set of turns alone, or one without a whirr
    notes = [sum(column) for column in zip(*got["notes"], strict=True)] or [0, 0, np.nan]
    for name in ("f1", "onset", "revolution", "slow", "time"):
        got[name] = got[name] or [np.nan]  # a set of combs alone
    values = [
        np.mean(got["right"]), np.mean(got["right-noisy"]),
        float(sum(not own and not said for own, said in got["number"])) if got["number"] else np.nan,
        np.mean([said for own, said in got["number"] if own] or [np.nan]),
        np.median(got["pitch"]), np.percentile(got["pitch"], 95),
        condition("dead", 1), condition("dead", 0), condition("buzzing", 1), condition("buzzing", 0),
        sum(said == "doubled" != true for true, said in got["condition"]), condition("doubled", 0),
        np.median(got["ring"]), 2 * notes[0] / (notes[1] + notes[2]), min(got["f1"]), np.median(got["onset"]),
        share("silent", 1), share("silent", 2), share("extra", 1), share("extra", 2),
        share("weak", 1), share("weak", 2), share("weak teeth", 1), share("weak teeth", 2),
        share("late", 1), share("late", 2), share("off", 1), share("off", 2), max(got["off cents"], default=np.nan),
        *(np.mean(got[way]) if got[way] else np.nan for way in ("starts late", "two turns", "wrong rate")),
        max(got["revolution"]), np.mean(got["slow"]), max(got["slow"]), max(got["full"]), np.mean(got["time"]),
        max(got["time"]),
    ]  # fmt: skip
    return dict(zip(BARS, map(float, values), strict=True))


def reliability(got: dict) -> list[str]:
    """Of each kind of claim: how many, how sure they were said to be, how many of them were true."""
    lines = []
    for kind in sorted(key for key in got if key.startswith("claim ") and got[key]):
        said, true = (np.array(column, dtype=float) for column in zip(*got[kind], strict=True))
        rows = [(f"{kind}:", np.ones(len(said), dtype=bool))]
        rows += [(f"  {a:.2f} to {b:.2f}:", (said >= a) & (said < b)) for a, b in itertools.pairwise(SURE)]
        for name, some in rows:
            if some.any():
                how, so = said[some].mean(), true[some].mean()
                lines.append(f"{name} {some.sum()}, said {how:.3f}, true {so:.3f}, apart {how - so:+.3f}")
    return lines


def measured(job: tuple) -> tuple[dict, str]:
    """(figures, words) of one recording. job: its maker, the maker's arguments, and the baselines to run beside."""
    make, arguments, methods = job
    got: dict = defaultdict(list)
    with tempfile.TemporaryDirectory() as folder:
        truth = make(**arguments)
        path = listen_set.write(truth, Path(folder))
        is_turn = isinstance(truth, listen_set.Turn)
        words = (score_turn if is_turn else score_plucked)(path, truth, got)
        for method in methods:
            share = baseline(path, truth, method)
            got[f"{'turn' if is_turn else 'plucked'}, {method}"].append(share)
            words += f", {method} {share:.2f}"
    return got, words


def main() -> None:
    """Make each set, score it, and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sets", nargs="+", choices=list(SETS), default=list(SETS))
    parser.add_argument("--no-baselines", action="store_true")
    parser.add_argument("--no-pyin", action="store_true", help="piptrack alone beside ours: pYIN is slow")
    parser.add_argument("--workers", type=int, default=1)
    chosen = parser.parse_args()
    methods = () if chosen.no_baselines else ("piptrack",) if chosen.no_pyin else ("piptrack", "pyin")
    for name in chosen.sets:
        print(f"{name}:", flush=True)
        got: dict = defaultdict(list)
        with multiprocessing.Pool(chosen.workers, maxtasksperchild=4) as pool:
            for figures, words in pool.imap(measured, [(*spec, methods) for spec in SETS[name]]):
                print(f"  {words}", flush=True)
                for key, values in figures.items():
                    got[key] += values
        print(f"\n  {'':40s} {'measured':>9s} {'bar':>7s}")
        for line, value in table(got).items():
            if np.isnan(value):
                continue
            bar, more = BARS[line]
            met = "" if bar is None else "ok" if (value >= bar if more else value <= bar) else "MISSED"
            print(f"  {line:40s} {value:9.3f} {'' if bar is None else bar:>7} {met}")
        for line in reliability(got):
            print(f"  {line}")
        for key in got:
            if ", p" in key:
                print(f"  baseline, {key}: {np.mean(got[key]):.3f}")
        print(flush=True)


if __name__ == "__main__":
    main()
