"""Fits the networks of disc/library/search/asked/melody.json on practice discs and judges discs left out.

    python -m tests.bench.fit.identify_fit [--out FILE]

Seed 150 only; the discs bench/measure/identify.py measures on (900 and up) are never read here. One disc in eight is
left out of the fit. Every third disc is shown by the rank of its teeth.
"""

from __future__ import annotations

import argparse

import numpy as np

from disc.fitted import Made
from disc.library.index.library_store import open_library
from disc.library.search.asked.melody import MODEL_FILE, PARTS, SEMITONES_OF_RANK
from disc.tune.read.voices.voices import VoiceModel, line_features, voice_features
from disc.words import no_progress
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.truth.practice import LEVELS, practice_disc

SEED = 150
DISCS = {"mild": 700, "medium": 700, "hard": 800, "severe": 1600}
HIDDEN, ROUNDS, BATCH = 24, 14, 512
Strikes = tuple[np.ndarray, np.ndarray]


def practice() -> tuple[list[Strikes], list[np.ndarray]]:
    """(onsets and heights, whether melody) of every disc."""
    index = open_library(no_progress).index
    strikes: list[Strikes] = []
    truth: list[np.ndarray] = []
    for level, count in DISCS.items():
        rng = np.random.default_rng([SEED, sorted(LEVELS).index(level)])
        wanted = len(strikes) + count
        while len(strikes) < wanted:
            disc = practice_disc(index.reference(int(rng.integers(index.size))), LEVELS[level], rng)
            if disc is None or disc.onset_s.size < 6:
                continue
            height = disc.pitch.astype(float)
            if len(strikes) % 3 == 2:
                height = np.unique(height, return_inverse=True)[1] * SEMITONES_OF_RANK + 60.0
            strikes.append((disc.onset_s, height))
            truth.append(disc.melody >= 0)
    return strikes, truth


def fit(table: np.ndarray, truth: np.ndarray, kept: np.ndarray, seed: int) -> VoiceModel:
    """One hidden layer by Adam (Kingma and Ba 2015), the rate falling to nothing; kept: rows fitted on."""
    rng = np.random.default_rng(seed)
    mean, spread = table[kept].mean(0), table[kept].std(0) + 1e-6
    rows, columns = (table - mean) / spread, table.shape[1]
    parts = [
        rng.normal(0, 1 / np.sqrt(columns), (columns, HIDDEN)), np.zeros(HIDDEN),
        rng.normal(0, 1 / np.sqrt(HIDDEN), HIDDEN), np.zeros(1),
    ]  # fmt: skip
    first, second = [np.zeros_like(p) for p in parts], [np.zeros_like(p) for p in parts]
    order, step = np.flatnonzero(kept), 0
    for turn in range(ROUNDS):
        rng.shuffle(order)
        rate = 3e-3 * (1 - turn / ROUNDS) + 1e-4
        for begin in range(0, order.size, BATCH):
            step += 1
            some = order[begin : begin + BATCH]
            slopes = _slopes(parts, rows[some], truth[some])
            for part, slope, m, v in zip(parts, slopes, first, second, strict=True):
                m += 0.1 * (slope - m)
                v += 0.001 * (slope * slope - v)
                part -= rate * (m / (1 - 0.9**step)) / (np.sqrt(v / (1 - 0.999**step)) + 1e-8)
    return VoiceModel(mean, spread, parts[0], parts[1], parts[2], float(parts[3][0]))


def _slopes(parts: list[np.ndarray], rows: np.ndarray, truth: np.ndarray) -> list[np.ndarray]:
    inner = np.tanh(rows @ parts[0] + parts[1])
    chance = 1 / (1 + np.exp(-(inner @ parts[2] + parts[3])))
    off = (chance - truth) / len(rows)
    back = np.outer(off, parts[2]) * (1 - inner * inner)
    return [rows.T @ back + 1e-5 * parts[0], back.sum(0), inner.T @ off + 1e-5 * parts[2], np.array([off.sum()])]


def judged(chance: np.ndarray, truth: np.ndarray) -> str:
    chance = np.clip(chance, 1e-3, 1 - 1e-3)
    loss = -np.mean(np.where(truth, np.log(chance), np.log(1 - chance)))
    return f"{np.mean((chance > 0.5) == truth):.3f} rightly, loss {loss:.3f} nats"


def rounded(value: np.ndarray | float) -> object:
    """Nested lists with four digits."""
    return [rounded(part) for part in value] if np.ndim(value) else float(f"{float(value):.4g}")  # type: ignore[union-attr]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    add_out(parser, MODEL_FILE)
    out = parser.parse_args().out
    strikes, melody = practice()
    truth = np.concatenate(melody)
    disc = np.repeat(np.arange(len(strikes)), [m.size for m in melody])
    kept = disc % 8 != 7
    tables = [voice_features(*one) for one in strikes]
    table = np.concatenate(tables)
    looks = [fit(table, truth, kept, 1)]
    chance = looks[0].probability(table)
    print("first look", judged(chance[~kept], truth[~kept]))
    ends = np.cumsum([m.size for m in melody])[:-1]
    seen = zip(strikes, np.split(chance, ends), tables, strict=True)
    again = np.concatenate([line_features(onset, height, part, base) for (onset, height), part, base in seen])
    looks.append(fit(again, truth, kept, 2))
    score = judged(looks[1].probability(again)[~kept], truth[~kept])
    print("second look", score)
    content = [{**{p: rounded(getattr(m, p)) for p in PARTS}, "constant": rounded(m.constant)} for m in looks]
    if out:
        data = f"{len(strikes)} practice discs with all their damage, a third by rank of teeth"
        made = Made("tests.bench.fit.identify_fit", "", None, data, f"every eighth disc left out: {score}")
        write_parts(out, {"melody": content}, {"melody": made})


if __name__ == "__main__":
    main()
