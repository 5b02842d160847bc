"""The moment of a strike, finer than the window that tells its pitch.

The strength of a pitch peaks within some milliseconds of the strike; how many, depends on how the instrument speaks.
The broad-band rise of the same strike is sharp. The usual distance of the two is learned over the recording, then each
strike takes the rise that stands where that distance wants it; where there is none, the peak less the distance.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.attacks import band_levels, rises_db
from disc.listen.audio import FloatArray, Recording

BEFORE_S, AFTER_S = 0.045, 0.03  # where the rise of a strike may stand against its peak
SHARP_DB = 3.0
REACH_S = 0.011  # how far a rise may be from where it is wanted
FEWEST = 8


def attack_curve(recording: Recording) -> tuple[FloatArray, float]:
    """(rise in dB at each step, step in s): the largest of the three bands."""
    levels, step_s = band_levels(recording)
    return np.array([rises_db(level, step_s) for level in levels]).max(axis=0), step_s


def refine(peaks_s: Sequence[float], curve: FloatArray, step_s: float) -> FloatArray:
    """Onsets in s for strikes whose strength peaks at peaks_s; shape (n,)."""
    found = [_foot(curve, step_s, t) for t in peaks_s]
    lags = np.array([t - at for t, (at, rise) in zip(peaks_s, found, strict=True) if rise > 2 * SHARP_DB])
    lag = _mode(lags) if len(lags) >= FEWEST else 0.0
    onsets = []
    for t in peaks_s:
        onsets.append(_nearest_rise(curve, step_s, t - lag))
    return np.array(onsets)


def _foot(curve: FloatArray, step_s: float, peak_s: float) -> tuple[float, float]:
    """(time, rise) of the strongest rise near a peak."""
    low = max(0, round((peak_s - BEFORE_S) / step_s))
    piece = curve[low : round((peak_s + AFTER_S) / step_s) + 1]
    if not len(piece):
        return peak_s, 0.0
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
