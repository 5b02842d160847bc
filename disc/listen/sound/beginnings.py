"""What begins at an attack: the tone that was not there before, told apart from tones that merely ring on.

Two half windows before the attack say how each tone was ringing; carried on past it, they are what would be there
anyway. What is left after the attack is new. So a second pluck of a ringing tooth is found though nothing gets louder.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.bands import FALL_60_DB

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
HALF_S = 0.1  # half a window: tells tones 20 Hz apart, and a live tooth rings that long
SKIP_S = 0.008  # the noise of the pluck itself is left out
LOWEST_HZ, HIGHEST_HZ = 170.0, 5200.0  # fundamentals of small combs, E3 to E8
PEAKS = 8  # loudest new tones kept of an attack: several teeth and their partials; chosen, fainter ones are never used
RANGE_DB = 40.0  # below the loudest of them; chosen by eye on plucked development recordings, not fitted
SKIRT_HZ, SKIRT_RATIO = 50.0, 4.0  # within five bins of the window, 12 dB down


# A tone this much below the strongest is still taken as the fundamental, if it stands more than a third under it:
# partials of bars lie 2.7 times or more above, a neighbour set off by mistake within a few semitones.
FUNDAMENTAL_RANGE_DB = 15.0
# Struck bars may have partials far louder than the fundamental; but the fundamental outlasts them.
QUIET_FUNDAMENTAL_DB, QUIET_OVER_DB = 32.0, 28.0
# In noise it stands less clear; then it must be louder than a tooth that sympathises (six teeth of one recording).
LESS_QUIET_DB, LESS_CLEAR_DB = 26.0, 15.0
# So far under the loudest at least, to be its fundamental; chosen by hand, beyond neighbours set off.
PARTIAL_SEMITONES = 6.0


@dataclass(frozen=True)
class NewTone:
    """A tone that begins: level_db of what is new, over_db above the noise beside it, share new of what sounds (0 to
    about 1), t60_s from its first fifth of a second."""

    frequency_hz: float
    level_db: float
    over_db: float
    share: float
    t60_s: float
    growth_db: float = 0.0  # of this tone from before to after
    later_db: float = 0.0  # of this tone from the first tenth of a second to the second


def quiet_fundamental(tones: list[NewTone], loud: NewTone) -> NewTone | None:
    """A tone far below a loud one and much weaker, but outlasting it; believed only if other teeth have it."""
    found = None
    for tone in tones:
        below = 12.0 * np.log2(loud.frequency_hz / tone.frequency_hz)
        outlasts = tone.t60_s > 1.5 * loud.t60_s and tone.share > 0.4
        lack_db = loud.level_db - tone.level_db
        clear = lack_db < QUIET_FUNDAMENTAL_DB and tone.over_db > QUIET_OVER_DB
        clear = clear or (lack_db < LESS_QUIET_DB and tone.over_db > LESS_CLEAR_DB)
        if below > PARTIAL_SEMITONES and clear and outlasts:
            found = tone if found is None or tone.frequency_hz < found.frequency_hz else found
    return found


# Sampled strings have whole-number partials, bars do not: 6.27 and 17.5 times the fundamental.
HARMONICS, HARMONIC_CENTS, HARMONIC_RANGE_DB = (2, 3, 4, 5), 8.0, 35.0


def harmonic_fundamental(tones: list[NewTone], chosen: NewTone) -> NewTone | None:
    """The tone of which the chosen one is a whole-number partial, if such a one begins with it; to be believed only of
    an instrument that has such partials."""
    found = None
    for tone in tones:
        clear = tone.over_db > 15.0 and tone.share > 0.5 and tone.level_db > chosen.level_db - HARMONIC_RANGE_DB
        if _is_whole(chosen, tone) and clear and tone.growth_db > 6.0 and tone.t60_s > chosen.t60_s:
            found = tone if found is None or tone.frequency_hz < found.frequency_hz else found
    return found


def has_harmonics(tones: list[NewTone], chosen: NewTone) -> bool:
    """Whether the chosen tone stands in whole-number relation to another that begins with it."""
    return any(
        tone.over_db > 15.0 and (_is_whole(tone, chosen) or _is_whole(chosen, tone)) for tone in tones if tone != chosen
    )


def _is_whole(upper: NewTone, lower: NewTone) -> bool:
    ratio = upper.frequency_hz / lower.frequency_hz
    return round(ratio) in HARMONICS and abs(1200.0 * np.log2(ratio / round(ratio))) < HARMONIC_CENTS


def for_fundamentals(recording: Recording) -> Recording:
    """The recording at a rate that just holds the fundamentals: four times less to compute."""
    from scipy.signal import resample_poly

    down = int(recording.rate // (2.2 * HIGHEST_HZ))
    if down < 2:
        return recording
    return Recording(resample_poly(recording.samples, 1, down), recording.rate / down)


def new_tones(recording: Recording, time_s: float, most: int = PEAKS) -> list[NewTone]:
    """Tones that begin at an attack, strongest first, out of so many peaks at most. recording: best from
    for_fundamentals."""
    rate = recording.rate
    half, skip = int(HALF_S * rate), int(SKIP_S * rate)
    at = round(time_s * rate)
    after = _piece(recording.samples, at + skip, 2 * half)
    window = np.hanning(2 * half)
    size = 1 << int(np.ceil(np.log2(4 * half)))
    spectrum = np.abs(np.fft.rfft(after * window, size)) * (2.0 / window.sum())
    tones = []
    for place, frequency in _peaks(spectrum, rate / size, most):
        tones.append(_judge(recording.samples, rate, at, frequency, spectrum, place, rate / size))
    return sorted((t for t in tones if t is not None), key=lambda t: -t.level_db)


def fundamental(tones: list[NewTone]) -> NewTone | None:
    """The tone that a tooth's pitch is read from: the strongest, or the lowest of those nearly as strong."""
    if not tones:
        return None
    best = tones[0]
    for tone in tones[1:]:
        below = 12.0 * np.log2(best.frequency_hz / tone.frequency_hz)
        strong = tone.level_db > tones[0].level_db - FUNDAMENTAL_RANGE_DB and tone.over_db > 15.0
        if below > PARTIAL_SEMITONES and tone.share > 0.4 and strong:
            best = tone
    return best


def _piece(samples: FloatArray, start: int, count: int) -> FloatArray:
    """count samples from start, silence outside the recording."""
    piece = np.zeros(count)
    first, last = max(0, start), min(len(samples), start + count)
    if last > first:
        piece[first - start : last - start] = samples[first:last]
    return piece


def _peaks(spectrum: FloatArray, step_hz: float, most: int) -> list[tuple[int, float]]:
    """The strongest spectral peaks as (bin, frequency), refined by a parabola through the logarithms."""
    low, high = int(LOWEST_HZ / step_hz), min(len(spectrum) - 2, int(HIGHEST_HZ / step_hz))
    inside = spectrum[low:high]
    top = (inside >= spectrum[low - 1 : high - 1]) & (inside > spectrum[low + 1 : high + 1])
    places = np.flatnonzero(top) + low
    places = places[spectrum[places] > spectrum[low:high].max() * 10 ** (-RANGE_DB / 20)]
    best = _without_skirts(places[np.argsort(-spectrum[places])], spectrum, step_hz, most)
    found = []
    for k in best:
        a, b, c = np.log(spectrum[k - 1 : k + 2] + 1e-15)
        shift = 0.5 * (a - c) / (a - 2 * b + c) if a - 2 * b + c < 0 else 0.0
        found.append((int(k), float((k + shift) * step_hz)))
    return found


def _without_skirts(places: npt.NDArray[np.int_], spectrum: FloatArray, step_hz: float, most: int) -> list[int]:
    """Peaks (strongest first) without those on the skirts of a much stronger one: a tone that decays or is cut off
    spreads beside itself."""
    kept: list[int] = []
    for k in places:
        near = [other for other in kept if abs(other - k) * step_hz < SKIRT_HZ]
        if all(spectrum[other] < spectrum[k] * SKIRT_RATIO for other in near):
            kept.append(int(k))
        if len(kept) == most:
            break
    return kept


def _judge(
    samples: FloatArray, rate: float, at: int, frequency: float, spectrum: FloatArray, place: int, step_hz: float
) -> NewTone | None:
    half, skip = int(HALF_S * rate), int(SKIP_S * rate)
    starts = (at - skip - 2 * half, at - skip - half, at + skip, at + skip + half)
    first, second, third, fourth = (_amplitude(samples, start, half, frequency, rate) for start in starts)
    expected = 0.0 + 0.0j
    if abs(first) > 0:
        ratio = second / first
        ratio = ratio / max(1.0, abs(ratio))
        expected = second * ratio ** ((half + 2 * skip) / half)
    fresh = third - expected
    if abs(third) <= 0 or abs(fresh) <= 0:
        return None
    noise = _beside(spectrum, place, step_hz)
    fall = np.log(max(abs(third), 1e-12) / max(abs(fourth), 1e-12)) / HALF_S
    t60 = FALL_60_DB / fall if fall > 0.05 else 100.0
    return NewTone(
        frequency, float(20 * np.log10(abs(fresh))), float(20 * np.log10(spectrum[place] / noise)),
        float(min(2.0, abs(fresh) / abs(third))), float(t60),
        float(20 * np.log10(abs(third) / max(abs(second), 1e-12))),
        float(20 * np.log10(max(abs(fourth), 1e-12) / abs(third))),
    )  # fmt: skip


def _amplitude(samples: FloatArray, start: int, count: int, frequency: float, rate: float) -> complex:
    """Complex amplitude of a tone in a Hann window, its phase counted from the recording's beginning."""
    piece = _piece(samples, start, count)
    window = np.hanning(count)
    turns = np.exp(-2j * np.pi * frequency / rate * (start + np.arange(count)))
    return complex(np.sum(piece * window * turns) * 2.0 / window.sum())


def _beside(spectrum: FloatArray, place: int, step_hz: float) -> float:
    """The usual magnitude 30 to 200 Hz beside a peak: what noise or a click puts there."""
    near, far = int(30.0 / step_hz), int(200.0 / step_hz)
    sides = np.r_[spectrum[max(0, place - far) : max(0, place - near)], spectrum[place + near : place + far]]
    return float(np.median(sides)) + 1e-12 if len(sides) else 1e-12
