"""Melody apart from accompaniment, before any beat is known.

Comes in: onsets and pitches of the strikes. Goes out: for each strike the probability that it belongs to the melody.
Method: small networks (one hidden layer of 24) on what a listener goes by: whether a strike is the highest of those
that sound together, how far it lies below its surroundings, and whether it keeps to the register of the notes that
certainly are melody (tops of chords) or certainly are not (notes under a top). A second look sees what the first found.
Fitted on the tuning half of the corpus draw by tests/bench/fit/fit_tune.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray

BoolArray = npt.NDArray[np.bool_]

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# Strikes closer than this were meant together: four setting errors of 15 ms, less than any fast run's step.
TOGETHER_S = 0.055
NEAR_S = (0.35, 0.8, 2.5)  # widths of the surroundings looked at
# Widths over which the two registers are taken, in seconds and semitones: the narrow ones see a figure's own notes.
REGISTERS = ((1.5, 3.0), (6.0, 3.0), (2.5, 0.7), (8.0, 0.7))
ALONE_S = (1.5, 5.0)  # widths over which strikes that sound alone are compared with the rest


@dataclass(frozen=True, slots=True)
class VoiceModel:
    """One look: features, less their mean and over their spread, through one hidden layer to a probability.

    mean, spread: shape (f,). hidden: shape (f, h), hidden_constant: shape (h,). weight: shape (h,).
    """

    mean: FloatArray
    spread: FloatArray
    hidden: FloatArray
    hidden_constant: FloatArray
    weight: FloatArray
    constant: float

    def probability(self, table: FloatArray) -> FloatArray:
        """Probability of each row, shape (n,); table: shape (n, f)."""
        inner = np.tanh((table - self.mean) / self.spread @ self.hidden + self.hidden_constant)
        return 1.0 / (1.0 + np.exp(-np.clip(inner @ self.weight + self.constant, -30, 30)))


def melody_probability(onset_s: FloatArray, pitch: FloatArray, models: tuple[VoiceModel, ...]) -> FloatArray:
    """Probability that each strike is melody, shape (n,). models: the first look, and each look that follows it."""
    table = voice_features(onset_s, pitch)
    melody = models[0].probability(table)
    for model in models[1:]:
        melody = model.probability(line_features(onset_s, pitch, melody, table))
    return melody


LINE_S = (0.4, 1.0, 3.0)  # widths over which the lines of melody and accompaniment are taken


def line_features(onset_s: FloatArray, pitch: FloatArray, melody: FloatArray, table: FloatArray) -> FloatArray:
    """What a second look sees, shape (n, f): the lines that the first look drew, and how each strike keeps to them.

    melody: shape (n,), the first look's probability; table: its features, which are seen again.
    """
    later_s = onset_s[:, None] - onset_s[None, :]
    together = np.abs(later_s) < TOGETHER_S
    score = np.log((melody + 1e-6) / (1 - melody + 1e-6))
    columns = [score, np.where(together, melody[None, :] * (pitch[None, :] > pitch[:, None]), 0.0).max(1)]
    same = pitch[:, None] == pitch[None, :]
    for width_s in LINE_S:
        weight = np.exp(-0.5 * (later_s / width_s) ** 2)
        np.fill_diagonal(weight, 0.0)
        over, under = weight * melody[None, :], weight * (1 - melody)[None, :]
        line = ((over * pitch).sum(1) + 0.2 * pitch) / (over.sum(1) + 0.2)
        bass = ((under * pitch).sum(1) + 0.2 * (pitch - 6)) / (under.sum(1) + 0.2)
        repeated = ((under - over) * same).sum(1) / (weight * same + 1e-9).sum(1)
        columns += [np.clip((pitch - line) / 12, -2, 2), np.clip((pitch - bass) / 12, -2, 2), repeated]
        columns.append(np.clip(np.abs(pitch - line) / 12, 0, 2) - np.clip(np.abs(pitch - bass) / 12, 0, 2))
    for sure in (melody > 0.5, melody <= 0.5):
        before, after = _gaps(later_s, sure, 1), _gaps(later_s, sure, -1)
        columns += [np.minimum(before, 1.5), np.minimum(after, 1.5), np.abs(np.log((before + 0.02) / (after + 0.02)))]
    return np.hstack([table, np.stack([np.asarray(column, dtype=float) for column in columns], axis=1)])


def _gaps(later_s: FloatArray, sure: BoolArray, sign: int) -> FloatArray:
    """Seconds from each strike back (or on) to the nearest one of a voice, at most 3."""
    away = np.where((sign * later_s > TOGETHER_S) & sure[None, :], sign * later_s, 3.0)
    return np.asarray(away.min(1), dtype=float)


def voice_features(onset_s: FloatArray, pitch: FloatArray) -> FloatArray:
    """Shape (n, f). The columns follow the order in which they are made."""
    later_s = onset_s[:, None] - onset_s[None, :]
    higher = pitch[:, None] - pitch[None, :]
    together = np.abs(later_s) < TOGETHER_S
    top: BoolArray = np.logical_not(((higher < 0) & together).any(axis=1))
    multi: BoolArray = together.sum(1) > 1
    height = (pitch - pitch.mean()) / (pitch.std() + 1.0)
    share = np.full(len(pitch), multi.mean())
    columns = [top, multi, top & multi, height, share, share * height]
    for width_s in NEAR_S:
        columns += _surroundings(later_s, pitch, width_s)
    for width_s, semitones in REGISTERS:
        columns += _registers(later_s, higher, pitch, top, multi, width_s, semitones)
    for width_s in ALONE_S:
        columns += _alone(later_s, pitch, top, multi, width_s)
    for sign in (1, -1):
        columns += _neighbour(sign * later_s, pitch, top)
    return np.stack([np.asarray(column, dtype=float) for column in columns], axis=1)


def _surroundings(later_s: FloatArray, pitch: FloatArray, width_s: float) -> list[FloatArray]:
    weight = np.exp(-0.5 * (later_s / width_s) ** 2)
    highest = np.where(weight > 0.2, pitch[None, :], -1.0).max(1)
    mean = (weight * pitch[None, :]).sum(1) / weight.sum(1)
    return [np.clip(pitch - highest, -24, 0) / 12, (pitch - mean) / 12]


def _registers(
    later_s: FloatArray,
    higher: FloatArray,
    pitch: FloatArray,
    top: BoolArray,
    multi: BoolArray,
    width_s: float,
    semitones: float,
) -> list[FloatArray]:
    """Where a strike lies between the tops of chords and the notes under them; a little prior keeps it calm."""
    weight = np.exp(-0.5 * (later_s / width_s) ** 2)
    under, over = weight * ~top[None, :], weight * (top & multi)[None, :]
    n_under, n_over, prior = under.sum(1), over.sum(1), 0.3
    close = np.exp(-0.5 * (higher / semitones) ** 2)
    like_over = ((over * close).sum(1) + 0.1 * prior) / (n_over + prior)
    like_under = ((under * close).sum(1) + 0.1 * prior) / (n_under + prior)
    mean_under = ((under * pitch).sum(1) + prior * (pitch.mean() - 6)) / (n_under + prior)
    mean_over = ((over * pitch).sum(1) + prior * (pitch.mean() + 3)) / (n_over + prior)
    above = pitch - (mean_under + mean_over) / 2
    known = np.tanh(n_under / 4)
    return [np.log(like_over / like_under), np.clip(above / 12, -2, 2), known, known * np.clip(above / 6, -2, 2)]


def _alone(
    later_s: FloatArray, pitch: FloatArray, top: BoolArray, multi: BoolArray, width_s: float
) -> list[FloatArray]:
    """Whether the strikes that sound alone hereabouts run in the register of tops or of the notes under them."""
    weight = np.exp(-0.5 * (later_s / width_s) ** 2)
    alone, under, over = weight * ~multi[None, :], weight * ~top[None, :], weight * (top & multi)[None, :]
    means = [((w * pitch).sum(1) + 0.3 * pitch.mean()) / (w.sum(1) + 0.3) for w in (alone, under, over)]
    height = np.clip((means[0] - means[1]) / np.maximum(means[2] - means[1], 3.0), -1, 2)
    share = alone.sum(1) / weight.sum(1)
    own = np.clip((pitch - means[0]) / 12, -2, 2)
    same = weight * (pitch[:, None] == pitch[None, :])
    again = (same.sum(1) - 1.0) / weight.sum(1)
    here = ~multi
    known = np.tanh(under.sum(1) / 4)
    return [
        share,
        height * here * known,
        height * share * here * known,
        own * here,
        own * share * here,
        again,
        again * here,
    ]


def _neighbour(since_s: FloatArray, pitch: FloatArray, top: BoolArray) -> list[FloatArray]:
    """Step from the nearest earlier (or later) top note, its size, and how long ago it was."""
    away = np.where((since_s > TOGETHER_S) & top[None, :], since_s, np.inf)
    nearest = away.argmin(1)
    gap = away[np.arange(len(pitch)), nearest]
    there = np.isfinite(gap)
    step = np.where(there, pitch - pitch[nearest], 0.0)
    return [np.clip(step / 12, -1, 1), np.minimum(np.abs(step), 12) / 12, np.where(there, np.clip(gap, 0, 1.5), 0.0)]
