"""The moment of a strike, finer than the window that tells its pitch.

The strength of a pitch comes up within some milliseconds of the strike; how many, depends on how the instrument
speaks. The broad-band rise of the same strike is sharp. The usual distance of the two is learned over the recording and
for each pitch (a low tooth speaks later than a high one), then each strike takes the rise that stands where that
distance wants it; where there is none, the strength less the distance.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.sound.attacks import band_levels, rises_db
from disc.listen.sound.audio import FloatArray, Recording

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
BEFORE_S, AFTER_S = 0.05, 0.04  # where the rise of a strike may stand against its strength
SHARP_DB = 3.0  # a rise of the level that is a strike's; twice that is clear. Chosen by eye on development recordings
REACH_S = 0.011  # how far a rise may be from where it is wanted
FEWEST = 8  # clear strikes, to tell their usual lag; fewer leave it at 0 (chosen)
# A pitch has a distance of its own if so many of its strikes agree in it within so much.
FEWEST_OF_A_PITCH, AGREE_S = 3, 0.008


def attack_curve(recording: Recording) -> tuple[FloatArray, float]:
    """(rise in dB at each step, step in s): the largest of the three bands."""
    levels, step_s = band_levels(recording)
    return np.array([rises_db(level, step_s) for level in levels]).max(axis=0), step_s


def refine(edges_s: Sequence[float], pitches: Sequence[int], curve: FloatArray, step_s: float) -> FloatArray:
    """Onsets in s for strikes whose strength comes up at edges_s; pitches: index of the pitch of each; shape (n,)."""
    found = [_foot(curve, step_s, t) for t in edges_s]
    clear = np.array([rise > 2 * SHARP_DB for _, rise in found], dtype=bool)
    lags = np.array([t - at for t, (at, _) in zip(edges_s, found, strict=True)])
    usual = _mode(lags[clear]) if clear.sum() >= FEWEST else 0.0
    own = np.asarray(pitches)
    lag_of = {p: _own_lag(lags[clear & (own == p)], usual) for p in set(pitches)}
    return np.array([_nearest_rise(curve, step_s, t - lag_of[p]) for t, p in zip(edges_s, pitches, strict=True)])


def _own_lag(lags: FloatArray, usual_s: float) -> float:
    """The distance of one pitch: where more than half of its strikes agree, else the usual one."""
    if len(lags) < FEWEST_OF_A_PITCH:
        return usual_s
    middle = _mode(lags)
    return middle if np.mean(np.abs(lags - middle) < AGREE_S) > 0.5 else usual_s


def _foot(curve: FloatArray, step_s: float, edge_s: float) -> tuple[float, float]:
    """(time, rise) of the strongest rise near a place."""
    low = max(0, round((edge_s - BEFORE_S) / step_s))
    piece = curve[low : round((edge_s + AFTER_S) / step_s) + 1]
    if not len(piece):
        return edge_s, 0.0
    k = int(np.argmax(piece))
    return _start_of(curve, low + k) * step_s, float(piece[k])


def _start_of(curve: FloatArray, k: int) -> int:
    """The first step, going back from a rise's peak, that has half of it."""
    first = k
    while first > 0 and k - first < 5 and curve[first - 1] >= 0.5 * curve[k]:
        first -= 1
    return first


def _nearest_rise(curve: FloatArray, step_s: float, wanted_s: float) -> float:
    low = max(0, round((wanted_s - REACH_S) / step_s))
    piece = curve[low : round((wanted_s + REACH_S) / step_s) + 1]
    if not len(piece) or piece.max() < SHARP_DB:
        return max(0.0, wanted_s)
    times = (low + np.arange(len(piece))) * step_s
    worth = piece * np.exp(-0.5 * ((times - wanted_s) / (0.35 * REACH_S)) ** 2)
    return _start_of(curve, low + int(np.argmax(worth))) * step_s


def _mode(values: FloatArray) -> float:
    """The most frequent value: the half of them that lie closest together, again and again (half-sample mode)."""
    ordered = np.sort(values)
    while len(ordered) > 3:
        half = (len(ordered) + 1) // 2
        widths = ordered[half - 1 :] - ordered[: len(ordered) - half + 1]
        k = int(np.argmin(widths))
        ordered = ordered[k : k + half]
    return float(np.median(ordered))
