"""Places in a recording where something begins: sharp rises of the level in any of three bands; ticks are marked.

Even a dead tooth clicks when the pin lets go, and a live one sets its tone against what was there before, so a rise of
the level finds every pluck; most rises are something else (ticks, knocks, noise) and are sorted out by comb/plucks/.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.listen.sound.audio import FloatArray, Recording

STEP_S = 0.002  # of the levels; a pluck's rise takes some ms (chosen by eye on development recordings)
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Fundamentals; their partials; the noise of the pluck itself.
BANDS_HZ = ((250.0, 1000.0), (1000.0, 3000.0), (3000.0, 12_000.0))
# The level is held against the most of this long before it, so that the roughness of noise does not count.
BEFORE_S = 0.04
# A rise smaller than this is not looked at: noise in a 2 ms step exceeds it some times a second, a pluck always.
LEAST_RISE_DB = 5.0
APART_S = 0.03  # two attacks nearer than this are one; chosen by hand


@dataclass(frozen=True)
class Attack:
    """A place where something begins. rise_db: the largest rise in a band. levels_db: of the three bands just after.
    tick: whether it belongs to an even train of ticks."""

    time_s: float
    rise_db: float
    levels_db: tuple[float, float, float]
    tick: bool = False


def band_levels(recording: Recording) -> tuple[FloatArray, float]:
    """(dB, step in s): level of each band in steps of about 2 ms; shape (3, steps)."""
    from scipy.ndimage import uniform_filter1d  # loaded only where a recording is heard
    from scipy.signal import butter, sosfilt

    step = max(1, round(STEP_S * recording.rate))
    count = len(recording.samples) // step
    levels = np.full((len(BANDS_HZ), count), -140.0)
    for row, (low, high) in enumerate(BANDS_HZ):
        top = min(high, 0.45 * recording.rate)
        if top <= low * 1.2:
            continue  # a low sample rate leaves this band out
        sos = butter(2, [low, top], "bandpass", fs=recording.rate, output="sos")
        power = sosfilt(sos, recording.samples) ** 2
        mean = power[: count * step].reshape(count, step).mean(axis=1)
        levels[row] = 10.0 * np.log10(uniform_filter1d(mean, 2) + 1e-14)
    return levels, step / recording.rate


def rises_db(level_db: FloatArray, step_s: float) -> FloatArray:
    """By how much the level stands over the most of the time just before; same shape, never negative."""
    from scipy.ndimage import maximum_filter1d

    reach = round(BEFORE_S / step_s)
    before = maximum_filter1d(level_db, reach, origin=(reach - 1) // 2)
    before = np.roll(before, 2)
    before[:2] = level_db[:2]
    return np.maximum(0.0, level_db - before)


def find_attacks(recording: Recording) -> list[Attack]:
    """All places where something begins, in time order, with ticks marked."""
    from scipy.signal import find_peaks

    levels, step_s = band_levels(recording)
    rises = np.array([rises_db(level, step_s) for level in levels])
    # The peak of a rise comes some milliseconds after its foot, in the lower bands more: the foot is taken.
    total = rises.max(axis=0)
    at, _ = find_peaks(total, height=LEAST_RISE_DB, distance=max(1, int(APART_S / step_s)))
    found = []
    for k in at:
        after = levels[:, k : k + 5].max(axis=1)
        found.append(Attack(_foot(rises, int(k)) * step_s, float(total[k]), tuple(float(v) for v in after)))  # type: ignore[arg-type]
    return mark_ticks(found)


def _foot(rises: FloatArray, peak: int) -> int:
    """The first step near a peak at which any band has risen by half as much."""
    start = max(0, peak - 6)
    early = rises[:, start : peak + 1].max(axis=0)
    return start + int(np.argmax(early >= 0.5 * early[-1]))


def mark_ticks(attacks: list[Attack]) -> list[Attack]:
    """The same attacks, those of an even train marked."""
    times = np.array([a.time_s for a in attacks])
    high = np.array([a.levels_db[2] for a in attacks])
    marks = even_train(times, np.ones(len(times)))
    if marks.sum() < 10:
        return attacks
    # A pluck that falls on a tick is louder or lower in tone than the ticks are.
    usual = np.median(high[marks])
    spread = max(2.0, 1.5 * float(np.median(np.abs(high[marks] - usual))))
    ticks = marks & (np.abs(high - usual) < 2.5 * spread)
    return [Attack(a.time_s, a.rise_db, a.levels_db, bool(tick)) for a, tick in zip(attacks, ticks, strict=True)]


def even_train(times_s: FloatArray, weights: FloatArray) -> npt.NDArray[np.bool_]:
    """Which events belong to a train of ticks: 3.5 to 10.5 a second (14 400 to 36 000 beats an hour and a margin).

    Tick and tock may be unevenly spaced, so the train has two places in each double period. Returns shape (n,); all
    False where no period gathers far more events than chance would.
    """
    marks = np.zeros(len(times_s), dtype=bool)
    if len(times_s) < 20:
        return marks
    span = float(times_s[-1] - times_s[0])
    beats_hz = np.arange(3.5, 10.5, 0.1 / span)  # fine enough that a train stays in step over the whole recording
    strength = np.array([abs(np.sum(weights * np.exp(2j * np.pi * times_s * f))) for f in beats_hz]) / weights.sum()
    best = int(np.argmax(strength))
    # The largest of many thousand chance sums stays below 4 / sqrt(n) (Rayleigh: exp(-16) each).
    if strength[best] < 4.0 / np.sqrt(len(times_s)) or strength[best] < 0.15:
        return marks
    double_s = 2.0 / beats_hz[best]
    phase = times_s / double_s % 1.0
    for _ in range(2):
        inside = np.flatnonzero(~marks)
        histogram, edges = np.histogram(phase[inside], bins=200, range=(0, 1), weights=weights[inside])
        smooth = histogram + np.roll(histogram, -1) + np.roll(histogram, 1)
        centre = 0.5 * (edges[int(np.argmax(smooth))] + edges[int(np.argmax(smooth)) + 1])
        gap = np.abs((phase - centre + 0.5) % 1.0 - 0.5) * double_s
        marks |= gap < 0.006
    return marks
