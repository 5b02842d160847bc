"""Trains the network of disc/tune/read/beat/bar_lines.py, and it four times again without a quarter of the tunes each.

    python -m tests.bench.fit.bar_training.train OUT [--count 4000] [--variants 5] [--epochs 14]

OUT/bar_lines.npz is what the program is shipped with; OUT/without0.npz ... without3.npz go into `nets/` beside this
file, for fit_tune.py: the weight that the metre gives to the network is fitted on tunes the network never saw.
Turns are those of fit_tune.py, the tuning half alone, with melody and key as the program tells them; each is drawn anew
in every variant (accompaniment, tempo, damage; inner voices of the pieces). Needs torch; all runs share one GPU.

Shipped: as the arguments stand, 12,374 turns, 160 s on one H200 and 16 cores. Of the quarters left out, levels right:
melodies .853-.855, pieces .705-.741 (loss .36-.37, .65-.74). A longer run without blur (25 epochs, dropout .1) had .873
and .719-.736 with the loss of the pieces at .85-.97: it had learnt them by heart.
"""

from __future__ import annotations

import argparse
import multiprocessing
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from disc.tune.read.beat.bar_lines import KINDS, LEVELS, moment_features
from disc.tune.read.model import load_model
from tests.bench.fit.fit_tune import FOLDS, Sample, make_samples, piece_samples, said_of, side_by_side

INNER = (0.1, 0.3, 0.5, 0.8) * 2  # shares of the pieces' inner voices, a variant each
GONE = (0.0, 0.05, 0.15)  # shares of a piece's strikes taken away, in turn
WIDTH, DILATIONS = 64, (1, 2, 4, 8, 16, 32, 1, 2, 4, 8, 16, 32)
BATCH, RATE, DECAY, DROP, SEED = 64, 2e-3, 5e-2, 0.2, 11
BLUR = 0.1  # of the standardised features, drawn anew each time; and of the turns, so many lose each feature
KIND_SHARE, PIECES_COUNT = 0.3, 1.5
OFF_BY_S, OFF_BY_BEATS = 0.06, 0.2  # how near a line or beat a moment has to be to be on it: the lesser of both


def thinned(sample: Sample, share: float, seed: int) -> Sample:
    """The turn without a share of its strikes."""
    keep = np.random.default_rng([SEED, seed]).random(len(sample.pitch)) >= share
    return replace(
        sample,
        **{name: getattr(sample, name)[keep] for name in ("onset_s", "anchored_s", "pitch", "melody", "real")},
    )


def table_of(sample: Sample) -> tuple[int, bool, np.ndarray, np.ndarray, int]:
    """(fold, is a piece, features, level of each moment, kind) of a turn."""
    said, tonic = said_of(sample, load_model().voices)
    of, table = moment_features(sample.anchored_s, sample.pitch, said, tonic)
    moment_s = np.bincount(of, sample.anchored_s) / np.bincount(of)
    beats, _ = sample.truth.metre
    compound, triple = beats in (6, 9, 12), beats in (3, 9)
    count = beats // 3 if compound else beats
    beat_s = sample.truth.bar_s / count
    place = (moment_s - sample.truth.start_s) / beat_s
    near = np.round(place)
    on = np.abs(place - near) * beat_s < min(OFF_BY_S, OFF_BY_BEATS * beat_s)
    level = np.where(on, np.where(near % count == 0, 0, 1), 2)
    piece = sample.truth.group in ("quartet", "piano", "trio", "song")
    return sample.fold, piece, table.astype(np.float32), level.astype(np.int64), 2 * compound + triple


def train(name: str, left_out: int | None, rows: list, epochs: int, out: Path) -> None:
    """One network, on all turns but those of a fold; prints how it does on them."""
    import torch
    from torch import nn

    torch.manual_seed(SEED)
    torch.backends.cuda.matmul.allow_tf32 = True
    device = "cuda" if torch.cuda.is_available() else "cpu"
    mean = np.concatenate([row[2] for row in rows]).mean(0)
    spread = np.concatenate([row[2] for row in rows]).std(0) + 1e-3

    class Block(nn.Module):
        def __init__(self, dilation: int) -> None:
            super().__init__()
            self.taps = nn.Conv1d(WIDTH, WIDTH, 3, padding=dilation, dilation=dilation)
            self.mix = nn.Conv1d(WIDTH, WIDTH, 1)
            self.drop = nn.Dropout(DROP)
            nn.init.zeros_(self.mix.weight)
            nn.init.zeros_(self.mix.bias)

        def forward(self, inner, mask):
            return inner + self.drop(self.mix(torch.relu(self.taps(torch.relu(inner) * mask))))

    class Net(nn.Module):
        def __init__(self) -> None:
            super().__init__()
            self.enter = nn.Conv1d(rows[0][2].shape[1], WIDTH, 1)
            self.blocks = nn.ModuleList([Block(dilation) for dilation in DILATIONS])
            self.level = nn.Conv1d(WIDTH, len(LEVELS), 1)
            self.kind = nn.Linear(WIDTH, len(KINDS))

        def forward(self, table, mask):
            inner = self.enter(table)
            for block in self.blocks:
                inner = block(inner, mask)
            inner = torch.relu(inner) * mask
            return self.level(inner), self.kind(inner.sum(2) / mask.sum(2))

    longest = max(len(row[3]) for row in rows)
    tables = np.zeros((len(rows), rows[0][2].shape[1], longest), np.float32)
    levels = np.full((len(rows), longest), -1, np.int64)
    for index, (_, _, table, level, _) in enumerate(rows):
        tables[index, :, : len(level)] = ((table - mean) / spread).T
        levels[index, : len(level)] = level
    tables_t, levels_t = torch.tensor(tables, device=device), torch.tensor(levels, device=device)
    kinds_t = torch.tensor([row[4] for row in rows], device=device)
    folds = np.array([row[0] for row in rows])
    pieces = np.array([row[1] for row in rows])
    learn = np.flatnonzero(folds != left_out) if left_out is not None else np.arange(len(rows))
    weight_t = torch.tensor(np.where(pieces, PIECES_COUNT, 1.0), dtype=torch.float32, device=device)
    net = Net().to(device)
    optimiser = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=DECAY)
    steps = epochs * (len(learn) // BATCH)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, RATE, total_steps=steps, pct_start=0.1)
    rng = np.random.default_rng(SEED)
    done = 0
    for epoch in range(epochs):
        net.train()
        order = rng.permutation(learn)
        total = 0.0
        for at in range(0, len(order) - BATCH + 1, BATCH):
            pick = torch.tensor(order[at : at + BATCH], device=device)
            level = levels_t[pick]
            most = int((level >= 0).sum(1).max())
            level, table = level[:, :most], tables_t[pick][:, :, :most]
            mask = (level >= 0).float()[:, None, :]
            kept = (torch.rand(table.shape[:2], device=device) > BLUR).float()[:, :, None]
            said, kind = net(table * kept + BLUR * torch.randn_like(table), mask)
            each = nn.functional.cross_entropy(said, level, ignore_index=-1, reduction="none").sum(1) / mask.sum((1, 2))
            each = each + KIND_SHARE * nn.functional.cross_entropy(kind, kinds_t[pick], reduction="none")
            loss = (each * weight_t[pick]).sum() / weight_t[pick].sum()
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            total += float(loss.detach()) if done % 20 == 0 else 0.0
            done += 1
        if left_out is not None and (epoch % 4 == 3 or epoch == epochs - 1):
            net.eval()
            with torch.no_grad():
                for words, among in (("melodies", ~pieces), ("pieces", pieces)):
                    held = np.flatnonzero((folds == left_out) & among)
                    loss, right, kind_right, moments = 0.0, 0, 0, 0
                    for at in range(0, len(held), 256):
                        pick = torch.tensor(held[at : at + 256], device=device)
                        level = levels_t[pick]
                        mask = (level >= 0).float()[:, None, :]
                        said, kind = net(tables_t[pick], mask)
                        loss += float(nn.functional.cross_entropy(said, level, ignore_index=-1, reduction="sum"))
                        right += int((said.argmax(1) == level).sum())
                        kind_right += int((kind.argmax(1) == kinds_t[pick]).sum())
                        moments += int((level >= 0).sum())
                    if moments:
                        print(
                            f"{name} epoch {epoch + 1}: {words} left out, loss {loss / moments:.4f}, levels right "
                            f"{right / moments:.3f}, kind right {kind_right / len(held):.3f}",
                            flush=True,
                        )
    save(net, mean, spread, out / f"{name}.npz")


def save(net, mean: np.ndarray, spread: np.ndarray, path: Path) -> None:
    """The weights as bar_lines.load_net reads them."""

    def matrix(conv) -> np.ndarray:
        return conv.weight.detach().cpu().numpy().reshape(conv.weight.shape[0], -1).T.astype(np.float16)

    def constant(conv) -> np.ndarray:
        return conv.bias.detach().cpu().numpy().astype(np.float16)

    parts = {"mean": mean.astype(np.float32), "spread": spread.astype(np.float32), "dilations": np.array(DILATIONS)}
    for name in ("enter", "level", "kind"):
        parts |= {name: matrix(getattr(net, name)), f"{name}_constant": constant(getattr(net, name))}
    for number, block in enumerate(net.blocks):
        taps = block.taps.weight.detach().cpu().numpy().transpose(2, 1, 0).astype(np.float16)
        parts |= {f"block{number}_taps": taps, f"block{number}_taps_constant": constant(block.taps)}
        parts |= {f"block{number}_mix": matrix(block.mix), f"block{number}_mix_constant": constant(block.mix)}
    np.savez_compressed(path, **parts)


def main() -> None:
    """Make the turns, train the five side by side."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=4000)
    parser.add_argument("--variants", type=int, default=5)
    parser.add_argument("--epochs", type=int, default=14)
    given = parser.parse_args()
    began = time.monotonic()
    samples = make_samples(given.count, given.variants, with_grids=False)
    pieces = piece_samples(len(samples), with_grids=False, variants=INNER)
    samples += [thinned(piece, GONE[number % 3], number) for number, piece in enumerate(pieces)]
    rows = side_by_side(table_of, [(sample,) for sample in samples])
    print(f"{len(rows)} turns, {time.monotonic() - began:.0f} s", flush=True)
    given.out.mkdir(parents=True, exist_ok=True)
    runs = [("bar_lines", None), *((f"without{fold}", fold) for fold in range(FOLDS))]
    context = multiprocessing.get_context("spawn")
    with context.Pool(len(runs)) as pool:
        pool.starmap(train, [(name, fold, rows, given.epochs, given.out) for name, fold in runs])
    print(f"trained, {time.monotonic() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
