"""Fits the trees that tell covers from plate (disc/photo/seen/covers.json).

    python -m tests.bench.fit.seen_training.fit_covers FACES[,FACES...] SAMPLES SEED [TEXTURES]
        [--judge FACES] [--out FILE]

FACES: folders of flattened faces. --judge: other faces, never fitted to, of which the shares are printed.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import cv2
import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier

from disc.fitted import Made
from disc.photo.seen.cover_features import NAMES, cover_features
from disc.photo.seen.covers import FITTED
from tests.bench.fit.fitted_file import add_out, stored_trees, write_parts
from tests.bench.fit.seen_training.draws import load, sample

PLACES = 260  # of a sample
STREAM = 50  # samples of one stream of chance, so that a draw can be made in pieces
TREES = 140


def draw(faces, textures, count, seed):
    """Places of samples: what they are like, whether they are covered, and what each counts. Fifty samples a stream."""
    rows, said, counts = [], [], []
    for number in range(count):
        if number % STREAM == 0:
            rng = np.random.default_rng([seed, number // STREAM])
        picture, mask, weight = sample(rng, faces, textures)
        f = cover_features(picture)
        p = weight.ravel() * np.where(mask.ravel() > 0.5, 1.5, 1.0)
        pick = rng.choice(p.size, PLACES, replace=False, p=p / p.sum())
        rows.append(f.reshape(-1, f.shape[2])[pick].astype(np.float32))
        said.append(mask.ravel()[pick] > 0.5)
        counts.append(weight.ravel()[pick])
    return np.concatenate(rows), np.concatenate(said), np.concatenate(counts)


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("faces")
    ask.add_argument("samples", type=int)
    ask.add_argument("seed", type=int)
    ask.add_argument("textures", nargs="?")
    ask.add_argument("--judge")
    add_out(ask, FITTED)
    given = ask.parse_args()
    cv2.setNumThreads(1)
    textures = []
    if given.textures:
        textures = [t for p in sorted(Path(given.textures).iterdir()) if (t := cv2.imread(str(p))) is not None]
    began = time.time()
    x, y, w = draw(load(given.faces), textures, given.samples, given.seed)
    print(x.shape, y.mean(), round(time.time() - began), "s", flush=True)
    model = HistGradientBoostingClassifier(
        max_iter=TREES, learning_rate=0.12, max_leaf_nodes=24, min_samples_leaf=80, l2_regularization=5.0
    )
    model.fit(x, y, w)
    print("fitted", round(time.time() - began), "s", flush=True)
    part = {
        "names": list(NAMES),
        **stored_trees(model),
    }
    score = "not judged"
    if given.judge:
        x, y, w = draw(load(given.judge), [], max(60, given.samples // 8), given.seed + 1)
        p = model.predict_proba(x)[:, 1]
        keep = w > 0
        shares = [(t, float(np.mean(p[keep & y] > t)), float(np.mean(p[keep & ~y] > t))) for t in (0.3, 0.5, 0.7)]
        score = f"on faces never fitted to, things drawn over (seed {given.seed + 1}), covered and clear places said "
        score += "covered: " + ", ".join(f"at {t} {covered:.3f} and {clear:.4f}" for t, covered, clear in shares)
        print(score, flush=True)
    if given.out:
        faces = ", ".join(Path(folder).name for folder in given.faces.split(","))
        arguments = f"FACES {given.samples} {given.seed}"
        note = "FACES: flattened faces, made by draw_clear.py and flatten_photos.py"
        made = Made("tests.bench.fit.seen_training.fit_covers", arguments, given.seed, faces, score, note)
        write_parts(given.out, {"covers": part}, {"covers": made})


if __name__ == "__main__":
    main()
