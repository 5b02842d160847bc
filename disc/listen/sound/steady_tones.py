"""Tones that sound all through a recording: mains hum, a fan. They are no pluck's, wherever they seem to begin.

Hum beats and swells, and at the start of a recording everything is new; but a tooth sounds during a few seconds only.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.beginnings import NewTone

WINDOW_S, MOST_WINDOWS = 0.2, 200  # s, told 5 Hz apart; windows spread over the whole recording (chosen)
# A tone less than this over what is there half the time. In hum, noise and ticks plucks stand 20 dB or more over it,
# hum that beats up to 6 dB (one tuning recording and the bench's hum).
OVER_DB = 9.0


def without_steady(recording: Recording, heard: Sequence[list[NewTone]]) -> list[list[NewTone]]:
    """The tones of each attack without those that sound all the time. recording: as the tones were read from."""
    usual, step_hz = _usual_db(recording)
    if not len(usual):
        return [list(tones) for tones in heard]
    return [
        [t for t in tones if t.level_db > usual[min(round(t.frequency_hz / step_hz), len(usual) - 1)] + OVER_DB]
        for tones in heard
    ]


def _usual_db(recording: Recording) -> tuple[FloatArray, float]:
    """(amplitude that is there half the time, in dB, bin by bin and the next ones beside; Hz of a bin)."""
    count = int(WINDOW_S * recording.rate)
    starts = np.linspace(0, len(recording.samples) - count, MOST_WINDOWS).astype(int)
    if starts[-1] < count:
        return np.zeros(0), 1.0
    window = np.hanning(count)
    pieces = recording.samples[starts[:, None] + np.arange(count)[None, :]]
    size = np.abs(np.fft.rfft(pieces * window, axis=1)) * (2.0 / window.sum())
    middle = np.median(size, axis=0)
    wide = np.maximum(middle, np.maximum(np.r_[middle[1:], 0.0], np.r_[0.0, middle[:-1]]))
    return 20.0 * np.log10(wide + 1e-12), recording.rate / count
