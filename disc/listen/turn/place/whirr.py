"""The speed curve in full, from the whirr of the wheelwork where it can be heard.

The wheels' tooth noise rises and falls with the speed. On the axis of the disc's own position, known roughly from the
strikes, such a tone is a sharp line while ringing teeth and mains hum are smeared; on the axis of time it is the other
way round. Lines that are clearly sharper on the disc's axis are the whirr; how their phase runs ahead or behind is the
speed that the strikes alone are too few to show. If none is found nothing is added. The whirr may be a tone or noise
that swells with each tooth; both are looked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import median_filter
from scipy.signal import butter, fftconvolve, resample_poly, sosfiltfilt

from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.bands import ComplexArray
from disc.listen.turn.place.speed import Motion

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
RATE = 4000.0  # samples a second on either axis: wheels' tooth frequencies lie well below 2 kHz
LOWEST_HZ, HIGHEST_HZ = 20.0, 1800.0  # lines sought: wheels' tooth frequencies (chosen; under half of RATE)
HALF_BAND_HZ = 9.0  # flutter up to about 8 Hz passes
# over the spectrum about it, and sharper by turns than by seconds: a wheel's line. Chosen by eye
CLEAR_DB, SHARPER_DB = 16.0, 4.0
MOST_LINES = 6  # followed; one says the speed, more only steady it (chosen)
# A line is followed only if it stands this far over the noise within the band its flutter needs; below, its phase says
# more of the noise than of the wheels, and the strikes' own curve is nearer the truth (development recordings).
LEAST_SNR_DB = 8.0
STEP_S = 0.02  # of the curve as it is given; chosen by hand
# The whirr agrees with itself: lines whose speed curves differ by more than this (rms) from the others are not it.
AGREE = 0.004
# Of the speed against the strikes' own curve, rms; of a line that no other confirms. The tuning recordings flutter by
# less than 0.005; a lone line that was none of the whirr's showed 0.016.
LARGEST_CHANGE, LARGEST_ALONE = 0.02, 0.01
SMOOTH_S = 0.06  # over which a line's phase is smoothed; chosen by hand
SLOW_SPAN_S = 6.0  # the strikes' own curve follows changes slower than this
# Of the strikes' spread about their own course that about the whirr's may be. Chosen on 14 turns: of one it came to 1.5
# and the slow course was wrong, of all others to 1.2 at most, and it was right within .01 to .05 % (.04 to .15 % by the
# strikes alone).
MOST_BESIDE = 1.3
LASTS_SHARE = 0.75  # of the time a whirr is there; a tooth's partial comes and goes


@dataclass(frozen=True)
class Whirr:
    """times_s, ratio: speed against the strikes' slow curve, shape (n,). lines_hz: where the lines stand at the mean
    speed."""

    times_s: FloatArray
    ratio: FloatArray
    lines_hz: tuple[float, ...]


def find_whirr(recording: Recording, motion: Motion, onsets_s: FloatArray, turns: FloatArray) -> Whirr | None:
    """The whirr's speed against the motion's; None where no whirr is heard. onsets_s, turns: shape (n,), of the strikes
    that were heard on the motion: when, and where the disc was to be; by them a slow course of the whirr is tried."""
    first, last = float(motion.knots_s[0]), float(motion.knots_s[-1])
    first, last = max(0.0, first), min(recording.length_s, last)
    if last - first < 8.0:
        return None
    mean_turns_s = float(np.diff(motion.position(np.array([first, last])))[0] / (last - first))
    times = np.arange(first, last, 1.0 / RATE)
    course = (motion.position(times) - motion.position(np.array([first]))[0]) / mean_turns_s
    best: Whirr | None = None
    for sound in (_tones(recording), _swelling(recording)):
        found = _follow(sound, recording.rate, times, course)
        if found is not None and (best is None or len(found.lines_hz) > len(best.lines_hz)):
            best = found
    return None if best is None else _with_slow_course(best, motion, onsets_s, turns)


def _with_slow_course(whirr: Whirr, motion: Motion, onsets_s: FloatArray, turns: FloatArray) -> Whirr:
    """The whirr with its slow course as well, if the strikes lie about that nearly as they do about their own; else
    without. The wheels turn as the disc does, while pins stand some hundredths of a second beside their places."""
    grid = whirr.times_s
    change = (whirr.ratio - 1.0) * motion.speed(grid)
    ahead = np.r_[0.0, np.cumsum(0.5 * (change[1:] + change[:-1]) * np.diff(grid))]
    beside = motion.position(onsets_s) - turns
    moved = beside + np.interp(onsets_s, grid, ahead - ahead.mean())
    if np.std(moved) < MOST_BESIDE * np.std(beside):
        return whirr
    return replace(whirr, ratio=1.0 + _without_slow(whirr.ratio - 1.0, STEP_S))


def _without_slow(change: FloatArray, step_s: float) -> FloatArray:
    """What is quicker than the strikes' own curve follows."""
    span = np.hanning(int(SLOW_SPAN_S / step_s))
    return np.asarray(change - fftconvolve(change, span / span.sum(), mode="same"))


def _tones(recording: Recording) -> FloatArray:
    return recording.samples


def _swelling(recording: Recording) -> FloatArray:
    """How the hiss above 3 kHz swells: its level, evened out so that strikes and ticks do not rule."""
    top = 0.45 * recording.rate
    if top < 4000.0:
        return np.zeros(len(recording.samples))
    sos = butter(3, [3000.0, min(12_000.0, top)], "bandpass", fs=recording.rate, output="sos")
    power = sosfiltfilt(sos, recording.samples) ** 2
    smooth = sosfiltfilt(butter(2, HIGHEST_HZ, fs=recording.rate, output="sos"), power).clip(1e-16)
    level = np.log(smooth)
    return level - sosfiltfilt(butter(1, 5.0, fs=recording.rate, output="sos"), level)


def _follow(sound: FloatArray, rate: float, times: FloatArray, course: FloatArray) -> Whirr | None:
    down = max(1, int(rate // RATE))
    low = resample_poly(sound, 1, down) if down > 1 else sound
    low_rate = rate / down
    even = np.interp(times, np.arange(len(low)) / low_rate, low)
    # The same sound on the disc's axis: sample where the course passes even steps.
    steps = np.arange(0.0, course[-1], 1.0 / RATE)
    at = np.interp(steps, course, times)
    turned = np.interp(at, np.arange(len(low)) / low_rate, low)
    even, turned = _levelled(even), _levelled(turned)
    followed = [(hz, _phase_speed(turned, hz)) for hz in _sharp_lines(even, turned)]
    lines = [(hz, curve, trust) for hz, (curve, trust, lasts) in followed if lasts]
    kept = _agreeing([(curve, trust) for _, curve, trust in lines])
    if not kept:
        return None
    # A line of n times the frequency shows the speed n times as finely. Where none can be trusted nothing is added.
    weights = np.array([lines[k][0] ** 2 * lines[k][2] for k in kept])
    curves = np.array([lines[k][1] for k in kept])
    none = 0.05 * np.median(weights.sum(axis=0))
    ratio = (np.sum(weights * curves, axis=0) + none) / (weights.sum(axis=0) + none)
    ratio = ratio - float(np.mean(ratio - 1.0))  # the strikes know the time of a turn better
    grid = np.arange(times[0], times[-1], STEP_S)
    position = np.interp(grid, times, course)
    return Whirr(grid, np.interp(position, steps, ratio), tuple(round(float(lines[k][0]), 1) for k in kept))


def _levelled(sound: FloatArray) -> FloatArray:
    """Loud moments (strikes) held down, so that what goes on all the time counts."""
    span = int(0.05 * RATE)
    power = np.convolve(sound**2, np.ones(span) / span, mode="same")
    return sound / np.sqrt(power + 0.1 * power.mean() + 1e-20)


def _sharp_lines(even: FloatArray, turned: FloatArray) -> list[float]:
    """Frequencies of lines clearly sharper on the disc's axis than on that of time."""
    count = min(len(even), len(turned))
    window = np.hanning(count)
    step = RATE / count
    reach = max(3, int(25.0 / step))
    found: list[float] = []
    spectra = [20 * np.log10(np.abs(np.fft.rfft(x[:count] * window)) + 1e-12) for x in (turned, even)]
    prominence = [s - median_filter(s, 2 * reach + 1) for s in spectra]
    low, high = int(LOWEST_HZ / step), int(HIGHEST_HZ / step)
    for k in np.argsort(-prominence[0][low:high])[:2000] + low:
        over = prominence[0][k]
        if over < CLEAR_DB or len(found) == MOST_LINES:
            break
        hz = k * step
        near = slice(max(0, k - reach), k + reach + 1)
        if over - prominence[1][near].max() < SHARPER_DB or any(abs(hz - f) < 2 * HALF_BAND_HZ for f in found):
            continue
        found.append(hz)
    return found


def _band(turned: FloatArray, centre_hz: float, sos: FloatArray) -> ComplexArray:
    still = turned * np.exp(-2j * np.pi * centre_hz * np.arange(len(turned)) / RATE)
    return np.asarray(sosfiltfilt(sos, still.real) + 1j * sosfiltfilt(sos, still.imag))


def _phase_speed(turned: FloatArray, hz: float) -> tuple[FloatArray, FloatArray, bool]:
    """One line's (speed against the course, trust 0 to 1, whether it lasts), on the disc's axis, steps of 1 / RATE."""
    sos = butter(3, HALF_BAND_HZ, fs=RATE, output="sos")
    envelope = _band(turned, hz, sos)
    kernel = np.hanning(int(SMOOTH_S * RATE))
    kernel /= kernel.sum()
    power = np.convolve(np.abs(envelope) ** 2, kernel, mode="same")
    beside = [np.abs(_band(turned, hz + side * 3 * HALF_BAND_HZ, sos)) ** 2 for side in (-1, 1)]
    noise = float(np.median(beside)) / 0.69 + 1e-20  # of exponential power the median is 0.69 of the mean
    usual = float(np.median(power))
    lasts = usual > noise * 10 ** (LEAST_SNR_DB / 10) and float(np.mean(power > 0.2 * usual)) > LASTS_SHARE
    # A tooth that rings in the band stands above the line's even level: its phase says nothing of the wheels.
    trust = 1.0 / (1.0 + (power / (2.0 * usual + 1e-20)) ** 4) * (power / (power + noise))
    turn = np.angle(envelope[1:] * np.conj(envelope[:-1])) * RATE / (2 * np.pi)
    weight = np.abs(envelope[1:]) ** 2
    slow = np.convolve(turn * weight, kernel, mode="same") / (np.convolve(weight, kernel, mode="same") + 1e-20)
    return np.r_[slow[0], slow] / hz + 1.0, trust, lasts


def _agreeing(curves: Sequence[tuple[FloatArray, FloatArray]]) -> list[int]:
    """The largest set of lines whose speed curves agree with its first member's, where both can be trusted."""
    best: list[int] = []
    for _k, (curve, trust) in enumerate(curves):
        if np.average((curve - 1.0) ** 2, weights=trust) > LARGEST_CHANGE**2:
            continue
        mine = []
        for j, (other, other_trust) in enumerate(curves):
            both = trust * other_trust + 1e-9
            if np.average((other - curve) ** 2, weights=both) < AGREE**2:
                mine.append(j)
        if len(mine) == 1 and np.average((curve - 1.0) ** 2, weights=trust) > LARGEST_ALONE**2:
            continue
        if len(mine) > len(best):
            best = mine
    return best
