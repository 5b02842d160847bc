"""Tones that appear without a rise of the level: a pluck that falls into noise, or into the ringing of a louder tooth.

In a spectrogram such a tone stands far over what was at its frequency before, however little the level rises.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.ndimage import maximum_filter1d
from scipy.signal import find_peaks

from disc.listen.sound.attacks import Attack
from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.beginnings import HIGHEST_HZ, LOWEST_HZ

WINDOW_S, STEP_S = 0.064, 0.008  # tells tones 16 Hz apart; places it to an eighth of the window (chosen, not fitted)
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Held against the most of so many steps before the window that touches the moment.
BEFORE_STEPS = 10
NEAR_DB, OVER_DB = 20.0, 18.0  # of the frame's loudest tone; of the frame's own middle, which noise stays below
LEAST_GROWTH_DB = 14.0  # noise bins of this window exceed their ten last values by this about once a minute
APART_S, LATER_S = 0.2, 0.06  # two of them nearer are one; one this near to an attack is the attack's. Chosen by hand
EARLY_S = 0.018  # a sudden tone has grown most in a window that begins so long before it (four recordings)
RISE_DB = 10.0  # counts as an attack of middling sharpness


def tones_that_appear(recording: Recording) -> list[tuple[float, float]]:
    """(time in s, growth in dB) of every moment at which a clear tone stands where none was; strongest growth counts.
    recording: best from for_fundamentals."""
    level, step_s = _levels(recording)
    if level.shape[1] < 4 * BEFORE_STEPS:
        return []
    wide = maximum_filter1d(level, 3, axis=0)  # a line may lie between two bins, and glide
    span = round(WINDOW_S / step_s)
    before = maximum_filter1d(wide, BEFORE_STEPS, axis=1, origin=(BEFORE_STEPS - 1) // 2)
    growth = np.full_like(level, -np.inf)
    growth[:, span + BEFORE_STEPS :] = level[:, span + BEFORE_STEPS :] - before[:, BEFORE_STEPS:-span]
    clear = (level > level.max(axis=0) - NEAR_DB) & (level > np.median(level, axis=0) + OVER_DB)
    best = np.where(clear, growth, 0.0).max(axis=0)
    tops, _ = find_peaks(np.clip(best, 0.0, 200.0), height=LEAST_GROWTH_DB, distance=round(APART_S / step_s))
    return [(float(k * step_s) + EARLY_S, float(best[k])) for k in tops]


def with_quiet(attacks: Sequence[Attack], appearing: Sequence[tuple[float, float]]) -> list[Attack]:
    """The attacks, and those tones that appear where no attack stands."""
    times = np.array([a.time_s for a in attacks])
    more = [
        Attack(t, RISE_DB, (-60.0, -60.0, -60.0)) for t, _ in appearing
        if not len(times) or np.abs(times - t).min() > LATER_S
    ]  # fmt: skip
    return sorted([*attacks, *more], key=lambda a: a.time_s)


def _levels(recording: Recording) -> tuple[FloatArray, float]:
    """(dB by bin and step, step in s); column k is the window that begins at k steps."""
    count, step = round(WINDOW_S * recording.rate), round(STEP_S * recording.rate)
    if len(recording.samples) < count + step:
        return np.zeros((1, 0)), step / recording.rate
    pieces = np.lib.stride_tricks.sliding_window_view(recording.samples, count)[::step]
    power = np.abs(np.fft.rfft(pieces * np.hanning(count), axis=1)) ** 2
    low, high = int(LOWEST_HZ * count / recording.rate), int(HIGHEST_HZ * count / recording.rate) + 1
    return 10.0 * np.log10(power[:, low:high].T + 1e-14), step / recording.rate
