"""How a buzz is weighed: fits the weights of disc/listen/comb/tooth_buzz.py to combs whose teeth buzz in many ways.

Run: python -m tests.bench.fit.listen_fit [--seed 5001] [--workers 2] [--out FILE]
Draws some 170 combs of 27 instruments and of bars, a third of them in 15 dB noise, teeth buzzing in the 15 ways of
listen_buzz.py. Prints how well buzzing is told by a fit to the other instruments (whole instruments are left out, not
draws), which ways are missed, and the weights. Teeth whose number or pitch came out wrong are not fitted to, but are
counted. Takes half an hour of one core. Needs what listen.py needs, and scikit-learn.
"""

from __future__ import annotations

import argparse
import multiprocessing
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from disc.fitted import Made
from disc.listen.comb.plucked import PluckedTooth, hear_teeth, signs_of_buzzing
from disc.listen.comb.plucks.find_plucks import find_plucks
from disc.listen.comb.tooth_buzz import FITTED, SIGNS, raised_signs
from disc.listen.sound.audio import read_recording
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.truth import listen_draws, listen_set

NEAR_SEMITONES, PLUCK_S = 0.5, 0.1
RIDGE = 0.1  # scikit-learn's C
LEAST_TEETH = 8


@dataclass(frozen=True)
class Teeth:
    """Ringing teeth of a comb. raised: shape (teeth, signs); right: whether number and pitch are."""

    instrument: str
    raised: np.ndarray
    buzzing: np.ndarray
    right: np.ndarray
    ways: list[str]


def measured(spec: dict) -> Teeth | None:
    """The teeth of one drawn comb as the program hears them."""
    with tempfile.TemporaryDirectory() as folder:
        truth = listen_set.plucked(**spec)
        recording = read_recording(listen_set.write(truth, Path(folder)))
    count = len(truth.teeth)
    found = find_plucks(recording, count, truth.plucks)
    if not found:
        return None
    heard, rows = hear_teeth(recording, found, count, truth.plucks)
    numbers, signs = signs_of_buzzing(recording, rows, found, heard)
    if len(numbers) < LEAST_TEETH:
        return None
    teeth = [truth.teeth[n - 1] for n in numbers]
    right = [_is_right(rows[n - 1], true) for n, true in zip(numbers, teeth, strict=True)]
    voice = spec["voice_name"]
    instrument = f"bar {spec['seed'] % 6}" if voice == "bar" else voice.split("-")[1]
    buzzing = [true["condition"] == "buzzing" for true in teeth]
    ways = [true["way"] for true in teeth]
    return Teeth(instrument, raised_signs(signs), np.array(buzzing), np.array(right), ways)


def _is_right(mine: PluckedTooth, true: dict) -> bool:
    in_time = all(any(abs(a - b) < PLUCK_S for a in mine.plucks_s) for b in true["plucks_s"])
    if mine.pitch is None or true["pitch"] is None:
        return False
    return in_time and abs(mine.pitch - true["pitch"]) < NEAR_SEMITONES


def fitted(raised: np.ndarray, buzzing: np.ndarray) -> tuple[np.ndarray, float]:
    """(weights, offset) of a logistic regression with a ridge on signs of unit variance."""
    from sklearn.linear_model import LogisticRegression

    middle, spread = raised.mean(axis=0), raised.std(axis=0) + 1e-9
    model = LogisticRegression(C=RIDGE, max_iter=2000).fit((raised - middle) / spread, buzzing)
    weights = model.coef_[0] / spread
    return weights, float(model.intercept_[0] - weights @ middle)


def left_out(teeth: list[Teeth]) -> np.ndarray:
    """Probability of each tooth by a fit to the other instruments' teeth."""
    groups = np.concatenate([[t.instrument] * len(t.raised) for t in teeth])
    raised, buzzing, right = (np.concatenate([getattr(t, n) for t in teeth]) for n in ("raised", "buzzing", "right"))
    probability = np.zeros(len(groups))
    for name in sorted(set(groups)):
        others = (groups != name) & right
        weights, offset = fitted(raised[others], buzzing[others])
        probability[groups == name] = 1.0 / (1.0 + np.exp(-(raised[groups == name] @ weights + offset)))
    return probability


def main() -> None:
    """Draw, measure, leave out, fit; print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=5001)
    parser.add_argument("--workers", type=int, default=1)
    add_out(parser, FITTED)
    chosen = parser.parse_args()
    with multiprocessing.Pool(chosen.workers, maxtasksperchild=4) as pool:
        teeth = [t for t in pool.imap(measured, listen_draws.draw_buzzing("t", chosen.seed), chunksize=3) if t]
    probability = left_out(teeth)
    buzzing, right = (np.concatenate([getattr(t, n) for t in teeth]) for n in ("buzzing", "right"))
    ways = np.concatenate([t.ways for t in teeth])
    print(
        f"{len(teeth)} combs, {buzzing.sum()} of {len(buzzing)} teeth buzz; {np.sum(~right)} wrong in number or pitch"
    )
    judged = []
    for limit in np.arange(0.2, 0.55, 0.05):
        said = probability[right] > limit
        hits = np.sum(said & buzzing[right])
        judged.append(f"over {limit:.2f} P {hits / said.sum():.3f} R {hits / buzzing[right].sum():.3f}")
    print("  " + "\n  ".join(judged))
    for way in sorted(set(ways) - {""}):
        print(f"  {way}: {np.mean(probability[ways == way] > 0.3):.2f} of {np.sum(ways == way)}")
    weights, offset = fitted(np.concatenate([t.raised for t in teeth])[right], buzzing[right])
    for sign, weight in zip(SIGNS, weights, strict=True):
        print(f"  {sign}: {weight:.3f}")
    print(f"  offset {offset:.3f}")
    if chosen.out:
        part = {
            "weights": {s: round(float(w), 3) for s, w in zip(SIGNS, weights, strict=True)},
            "offset": round(offset, 3),
        }
        data = f"{right.sum()} teeth of {len(teeth)} combs, of which {(buzzing & right).sum()} buzz in 15 ways"
        score = f"whole instruments left out: {', '.join(judged)}"
        made = Made("tests.bench.fit.listen_fit", f"--seed {chosen.seed}", chosen.seed, data, score)
        write_parts(chosen.out, {"buzz": part}, {"buzz": made})


if __name__ == "__main__":
    main()
