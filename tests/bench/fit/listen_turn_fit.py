"""How a turn's silent strikes and extra sounds are weighed: fits disc/listen/fitted.json to turns of the usual make.

Run: python -m tests.bench.fit.listen_turn_fit [--turns 76] [--ringing 20] [--workers 1] [--kept FOLDER] [--minutes N]
[--out shipped]
Draws turns of listen_make.MAKE_OTHER, MAKE, MAKE_FRESH, MAKE_AFTER, MAKE_FIT and draw_ringing, follows each as the
program does, keeps what was followed in FOLDER, stops after so many minutes (run it again until all are there), fits
regressions with a ridge: silence of a strike by itself, and with what its tooth's other strikes say; extra sounds among
the candidates by themselves, and with what other turns say. With --part beginning another one: which of all beginnings
that no strike took may be extra sounds; it proposes the candidates, so the others are followed and fitted again after
it. Precision, recall and calibration are printed by fits that leave out whole sources. Needs what listen.py needs, and
scikit-learn.
"""

from __future__ import annotations

import argparse
import multiprocessing
import pickle
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from disc.errors import BadInput
from disc.fitted import Made
from disc.listen.fitted import FITTED_FILE
from disc.listen.sound.audio import read_recording
from disc.listen.sound.bands import pitch_of_hz
from disc.listen.turn.follow_disc import follow
from disc.listen.turn.followed import Followed as Seen
from disc.listen.turn.hear.single_sounds import Beginning
from disc.listen.turn.judge import extra_sounds
from disc.listen.turn.judge.beginning_signs import beginning_signs
from disc.listen.turn.judge.extra_sounds import CANDIDATE_ODDS
from disc.listen.turn.judge.silent_strikes import (
    Features,
    dead_probability,
    not_ruled_out,
    over_laps,
    still_playing,
    strike_features,
    with_others,
)
from disc.listen.turn.judge.single_extra import ExtraCandidate, candidates, extra_features, with_other_turns
from disc.listen.turn.place.disc_path import Expected
from disc.listen.turn.place.place_in_recording import lay
from disc.listen.turn.sounds_heard import TAIL_S
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.truth import listen_make, listen_set

RIDGE = 0.02  # scikit-learn's C, on features of unit variance
ONSET_S, SEMITONES = 0.05, 0.5
LAID_WITHIN = 0.1  # of the time of a turn; a recording laid otherwise is misunderstood as a whole and teaches nothing
STOP_S = 1.7  # the disc has stopped so long before a drawn recording ends


@dataclass(frozen=True)
class Followed:
    """One drawn turn. ok: strikes that certainly lay within what was played. extra: of the candidates, which are.
    begun, begun_extra: of all beginnings that no strike took the signs, and which are extra sounds."""

    source: str
    strikes: Features
    expected: tuple[Expected, ...]
    silent: np.ndarray
    ok: np.ndarray
    sure: np.ndarray
    played: np.ndarray
    weak: np.ndarray
    found: tuple[ExtraCandidate, ...]
    extra: np.ndarray
    extra_true: int
    begun: Features
    begun_extra: np.ndarray


class SignsSeen:
    """The signs of all beginnings as they were weighed last."""

    def __init__(self) -> None:
        self.some: Sequence[Beginning] = ()
        self.signs: Features = {}

    def __call__(self, some: Sequence[Beginning], *others: Any) -> Features:
        """In the place of beginning_signs."""
        self.some, self.signs = some, beginning_signs(some, *others)
        return self.signs


def measured(spec: dict) -> Followed | None:
    """What the program sees of one drawn turn; None where it cannot follow it."""
    with tempfile.TemporaryDirectory() as folder:
        truth = listen_make.made_turn(**spec)
        recording = read_recording(listen_set.write(truth, Path(folder)))
    begun = SignsSeen()
    try:
        with patch.object(extra_sounds, "beginning_signs", begun):
            seen = follow(lay(recording, truth.comb, truth.strikes, None), truth.comb)
    except BadInput:
        return None
    return weighed(spec["voice_name"], truth, recording.length_s, seen, begun)


def weighed(source: str, truth: listen_set.Turn, length_s: float, seen: Seen, begun: SignsSeen) -> Followed:
    """One turn followed, with what is true of it beside."""
    heard = seen.told.matched.heard
    at = seen.motion.time(np.array([h.expected.turn for h in heard]))
    silent, weak = (np.array([h.expected.index in set(some) for h in heard]) for some in (truth.silent, truth.weak))
    played = still_playing(heard, seen.steps, at)
    lap_s = float(np.diff(seen.motion.time(np.array([0.0, 1.0])))[0])
    laid = abs(lap_s / truth.revolution_s - 1.0) < LAID_WITHIN
    ok = laid & (at > 0.05) & (at < length_s - STOP_S) & np.array([s is not None for s in seen.steps]) & played
    judged = [replace(h, beginning=None) if is_silent else h for h, is_silent in zip(heard, silent, strict=True)]
    found = candidates(seen, judged) if laid else []
    extra = np.array([
        any(
            abs(c.beginning.time_s - t) < ONSET_S and abs(pitch_of_hz(seen.voices[c.tooth].hz) - p) < SEMITONES
            for t, p in truth.extra
        ) for c in found
    ], dtype=bool)  # fmt: skip
    some, is_extra = true_beginnings(truth, seen, begun.some) if laid else (np.zeros(0, dtype=int), np.zeros(0, bool))
    features = strike_features(heard, seen.steps, seen.leaks)
    return Followed(
        source, features, tuple(h.expected for h in heard), silent, ok,
        (at < length_s - TAIL_S) & played, played, weak, tuple(found), extra,
        len(truth.extra) if laid else 0, {name: sign[some] for name, sign in begun.signs.items()}, is_extra,
    )  # fmt: skip


def true_beginnings(truth: listen_set.Turn, seen: Seen, some: Sequence[Beginning]) -> tuple[np.ndarray, np.ndarray]:
    """(indices of those that teach something, which of them are extra sounds): of several at an extra sound the
    strongest is it and the others are left out, as is what stands at a strike that sounded."""
    times, strengths = (np.array([getattr(b, name) for b in some]) for name in ("time_s", "strength"))
    pitches = np.array([pitch_of_hz(float(seen.tones.hz[b.group])) for b in some])

    def at(onsets: Sequence[tuple[float, float]]) -> list[np.ndarray]:
        return [np.flatnonzero((np.abs(times - t) < ONSET_S) & (np.abs(pitches - p) < SEMITONES)) for t, p in onsets]

    extra = [int(near[np.argmax(strengths[near])]) for near in at(truth.extra) if len(near)]
    left_out = np.zeros(len(some), dtype=bool)
    for near in at([(t, p) for t, p, _ in truth.onsets]):
        left_out[near] = True
    left_out[extra] = False
    kept = np.flatnonzero(~left_out)
    return kept, np.isin(kept, extra)


def regression(features: Features, is_so: np.ndarray) -> dict:
    """A logistic regression with a ridge: weights by name, and offset."""
    from sklearn.linear_model import LogisticRegression

    x = np.column_stack(list(features.values()))
    middle, spread = x.mean(axis=0), x.std(axis=0) + 1e-9
    model = LogisticRegression(C=RIDGE, max_iter=3000).fit((x - middle) / spread, is_so)
    weights = model.coef_[0] / spread
    offset = float(model.intercept_[0] - weights @ middle)
    return {"weights": dict(zip(features, weights.tolist(), strict=True)), "offset": offset}


def log_odds(model: dict, features: Features) -> np.ndarray:
    """Of a fitted regression, shape (n,)."""
    return sum(w * features[name] for name, w in model["weights"].items()) + model["offset"]


def joined(rows: Sequence[Features], keep: Sequence[np.ndarray]) -> Features:
    """The kept rows of several turns in one table."""
    return {name: np.concatenate([r[name][k] for r, k in zip(rows, keep, strict=True)]) for name in rows[0]}


def fit_silent(turns: Sequence[Followed]) -> tuple[dict, dict]:
    """(by a strike alone, with the tooth's other strikes)."""
    silent = np.concatenate([t.silent[t.ok] for t in turns])
    first = regression(joined([t.strikes for t in turns], [t.ok for t in turns]), silent)
    both = [with_others(t.strikes, log_odds(first, t.strikes), t.expected, t.played) for t in turns]
    return first, regression(joined(both, [t.ok for t in turns]), silent)


def silence(models: tuple[dict, dict], turn: Followed) -> np.ndarray:
    """Probability of silence of every strike of a turn, as the program works it out."""
    first, known = log_odds(models[0], turn.strikes), turn.sure & turn.played
    odds = over_laps(
        log_odds(models[1], with_others(turn.strikes, first, turn.expected, turn.played)), turn.expected, known
    )
    alone = not_ruled_out(1.0 / (1.0 + np.exp(-odds)), turn.strikes, turn.expected, known)
    dead = dead_probability(first, turn.expected, known)
    return dead + (1.0 - dead) * alone


def fit_extra(turns: Sequence[Followed]) -> tuple[dict, dict]:
    """Extra sounds among the candidates: (by a candidate alone, with what other turns say)."""
    some = [(t.found, extra_features(t.found), t.extra) for t in turns if t.found]
    every = [np.ones(len(extra), dtype=bool) for _, _, extra in some]
    is_extra = np.concatenate([extra for _, _, extra in some])
    first = regression(joined([features for _, features, _ in some], every), is_extra)
    both = [with_other_turns(features, log_odds(first, features), found) for found, features, _ in some]
    return first, regression(joined(both, every), is_extra)


def is_extra(models: tuple[dict, dict], turn: Followed) -> np.ndarray:
    """Probability of each candidate of a turn, as the program works it out."""
    features = extra_features(turn.found)
    every = with_other_turns(features, log_odds(models[0], features), turn.found)
    return 1.0 / (1.0 + np.exp(-log_odds(models[1], every)))


def fit_beginning(turns: Sequence[Followed]) -> dict:
    """Extra sounds among all beginnings that no strike took."""
    some = [t for t in turns if len(t.begun_extra)]
    every = [np.ones(len(t.begun_extra), dtype=bool) for t in some]
    return regression(joined([t.begun for t in some], every), np.concatenate([t.begun_extra for t in some]))


def tell(name: str, probability: np.ndarray, is_so: np.ndarray, true: int) -> str:
    """Print precision and recall at several limits, and the calibration; returns the line at one half."""
    print(f"{name}: {true} true, {len(is_so)} weighed")
    for limit in (0.25, 0.4, 0.5, 0.6, 0.75):
        said = probability >= limit
        print(f"  from {limit:.2f}: precision {np.mean(is_so[said]):.3f}, recall {np.sum(is_so & said) / true:.3f}")
    for low, high in ((0, 0.05), (0.05, 0.25), (0.25, 0.5), (0.5, 0.75), (0.75, 0.95), (0.95, 1.01)):
        some = (probability >= low) & (probability < high)
        if some.any():
            print(f"  said {probability[some].mean():.3f}, true {is_so[some].mean():.3f} ({some.sum()})")
    said = probability >= 0.5
    return f"whole sources left out, at one half: P {np.mean(is_so[said]):.3f} R {np.sum(is_so & said) / true:.3f}"


def judge(turns: Sequence[Followed]) -> dict[str, str]:
    """Fits that leave out one source at a time, judged on it; a line for each."""
    print(f"laid elsewhere: {sum(not t.ok.any() for t in turns)} of {len(turns)} recordings")
    silent_p, extra_p, silent, extra = [], [], [], []
    for source in sorted({t.source for t in turns}):
        others, mine = [t for t in turns if t.source != source], [t for t in turns if t.source == source]
        models, extra_models = fit_silent(others), fit_extra(others)
        for turn in mine:
            silent_p.append(silence(models, turn)[turn.ok])
            silent.append(turn.silent[turn.ok])
            if turn.found:
                extra_p.append(is_extra(extra_models, turn))
                extra.append(turn.extra)
    return {
        "silent": tell("silent", np.concatenate(silent_p), np.concatenate(silent), int(np.concatenate(silent).sum())),
        "extra": tell("extra", np.concatenate(extra_p), np.concatenate(extra), sum(t.extra_true for t in turns)),
    }


def judge_beginning(turns: Sequence[Followed]) -> str:
    """The same for the beginnings: how many of the extra sounds are among how many candidates."""
    proposed, true = [], []
    for source in sorted({t.source for t in turns}):
        model = fit_beginning([t for t in turns if t.source != source])
        mine = [t for t in turns if t.source == source and len(t.begun_extra)]
        proposed += [log_odds(model, t.begun) > CANDIDATE_ODDS for t in mine]
        true += [t.begun_extra for t in mine]
    said, is_so = np.concatenate(proposed), np.concatenate(true)
    return (
        f"whole sources left out: {np.sum(said & is_so)} of {np.sum(is_so)} extra sounds that were seen to begin are "
        f"among {np.sum(said)} candidates"
    )


def write_beginning(turns: Sequence[Followed], out: Path, arguments: str, score: str) -> None:
    """Fitted to all of them, with how it was done."""
    every, extra = sum(len(t.begun_extra) for t in turns), sum(int(t.begun_extra.sum()) for t in turns)
    data = f"{drawn_words(turns)}: {every} beginnings, {extra} of them extra sounds"
    made = Made("tests.bench.fit.listen_turn_fit", arguments, 901, data, score, f"ridge {RIDGE}")
    write_parts(out, {"beginning": fit_beginning(turns)}, {"beginning": made})


def drawn_words(turns: Sequence[Followed]) -> str:
    """What was drawn."""
    sources = len({t.source for t in turns})
    drawn = "listen_make.MAKE_OTHER, MAKE, MAKE_FRESH, MAKE_AFTER and MAKE_FIT; draw_ringing"
    return f"{len(turns)} turns of {sources} sources ({drawn})"


def write(turns: Sequence[Followed], out: Path, arguments: str, score: dict[str, str]) -> None:
    """All of them fitted to, with how it was done."""
    (first, second), (extra_first, extra) = fit_silent(turns), fit_extra(turns)
    drawn = drawn_words(turns)
    strikes = f"{sum(t.ok.sum() for t in turns)} strikes, {sum(t.silent[t.ok].sum() for t in turns)} silent"
    candidates = f"{sum(len(t.extra) for t in turns)} candidates, {sum(t.extra.sum() for t in turns)} true"
    parts = {"silent, first": first, "silent, second": second, "extra, first": extra_first, "extra": extra}
    made = {
        part: Made(
            "tests.bench.fit.listen_turn_fit", arguments, 901,
            f"{drawn}: {candidates if part.startswith('extra') else strikes}", score[part.split(",")[0]],
            f"ridge {RIDGE}",
        )
        for part in parts
    }  # fmt: skip
    write_parts(out, parts, made)


def kept_turns(specs: Sequence[dict], folder: Path, workers: int, most_s: float) -> list[Followed] | None:
    """What was followed of each turn, those not yet in folder made now; None if that took too long."""
    folder.mkdir(parents=True, exist_ok=True)
    end = time.monotonic() + most_s
    left = [spec for spec in specs if not (folder / f"{spec['name']}.pkl").is_file()]
    with multiprocessing.Pool(workers, maxtasksperchild=4) as pool:
        for start in range(0, len(left), workers):
            if time.monotonic() > end:
                return None
            some = left[start : start + workers]
            for spec, turn in zip(some, pool.map(measured, some), strict=True):
                values = {} if turn is None else {field.name: getattr(turn, field.name) for field in fields(turn)}
                (folder / f"{spec['name']}.pkl").write_bytes(pickle.dumps(values))
    kept = [pickle.loads((folder / f"{spec['name']}.pkl").read_bytes()) for spec in specs]
    return [Followed(**values) for values in kept if values]


def main() -> None:
    """Draw, follow, judge, write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--turns", type=int, default=76)
    parser.add_argument("--ringing", type=int, default=0, help="so many of each row of draw_ringing, as well")
    parser.add_argument("--part", choices=("turns", "beginning"), default="turns")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()) / "listen-turns-followed")
    parser.add_argument("--minutes", type=float, default=float("inf"))
    add_out(parser, FITTED_FILE)
    chosen = parser.parse_args()
    sets = (
        listen_make.MAKE_OTHER,
        listen_make.MAKE,
        listen_make.MAKE_FRESH,
        listen_make.MAKE_AFTER,
        listen_make.MAKE_FIT,
    )
    drawn = [spec for one in sets for spec in one]
    specs = [arguments for make, arguments in drawn if make is listen_make.made_turn][: chosen.turns]
    specs += [arguments for _, arguments in listen_make.draw_ringing(listen_make.RINGING_SEED, chosen.ringing)]
    turns = kept_turns(specs, chosen.kept, chosen.workers, chosen.minutes * 60.0)
    if turns is None:
        print("not all turns are there yet: run it again")
        return
    which = f"--turns {chosen.turns} --ringing {chosen.ringing}"
    if chosen.part == "beginning":
        score_beginning = judge_beginning(turns)
        print(score_beginning)
        if chosen.out:
            write_beginning(turns, chosen.out, f"--part beginning {which}", score_beginning)
        return
    score = judge(turns)
    if chosen.out:
        write(turns, chosen.out, which, score)


if __name__ == "__main__":
    main()
