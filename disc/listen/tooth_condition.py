"""Whether a tooth buzzes or sets off its neighbour, judged against the other teeth of the same recording.

A clean tooth puts its energy into a few partials. One that touches its damper or is cracked puts noise between them, or
harmonics that the other teeth do not have. What is usual depends on the movement, the room and the microphone, so every
tooth is held against the rest and against its nearest neighbours in pitch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, sosfiltfilt

from disc.listen.audio import FloatArray, Recording

# The window begins when the noise of the pluck is over; a buzz goes on with the tone.
CLEAN_FROM_S, CLEAN_TO_S = 0.03, 0.21
BANDS_PER_OCTAVE, BANDS = 2, 10
HIGHEST_BAND_HZ = 11_000.0
HARMONICS = tuple(range(2, 9))
LEAST_NOISE_DB = -58.0  # noise this far under the tone is not heard as a buzz; ticks and codecs leave as much
LEAST_HARMONICS = 3
NEIGHBOURS = 2
# What swells in step with the tone: noise above it, at most so long after the pluck.
STEP_TO_S, STEP_LOWEST_HZ, STEP_OVER = 0.45, 1500.0, 2.5
LEAST_STEP_S = 0.1


@dataclass(frozen=True)
class Cleanness:
    """Levels in dB against the strongest partial: between_db of noise between partials, by half octaves up, shape
    (10,); harmonics_db at 2 to 8 times the fundamental, shape (7,); the room's own share in either. in_step_db: how far
    what sounds above the tone swells once in each of its periods, against other rhythms. nan: not heard."""

    between_db: FloatArray
    between_room_db: FloatArray
    harmonics_db: FloatArray
    harmonics_room_db: FloatArray
    in_step_db: float


def cleanness(recording: Recording, quiet: FloatArray, time_s: float, end_s: float, frequency_hz: float) -> Cleanness:
    """How clean a pluck sounds that is heard until end_s. quiet: power of the room from quiet_spectrum()."""
    power, step = _power(recording, time_s)
    # What rang on from before (a buzzing neighbour, say) is not this pluck's.
    before, _ = _power(recording, time_s - CLEAN_TO_S - 0.005)
    power = np.maximum(power - before, 0.03 * power)
    ground = power[int(0.7 * frequency_hz / step) :].max() + 1e-20
    top = min(HIGHEST_BAND_HZ, 0.44 * recording.rate)
    between, between_room = np.full(BANDS, np.nan), np.full(BANDS, np.nan)
    for k in range(BANDS):
        low = frequency_hz * 2 ** (0.25 + k / BANDS_PER_OCTAVE)
        high = low * 2 ** (1 / BANDS_PER_OCTAVE)
        if high <= top:
            inside = slice(int(low / step), int(high / step))
            between[k], between_room[k] = np.median(power[inside]), np.median(quiet[inside])
    harmonics, harmonics_room = np.full(len(HARMONICS), np.nan), np.full(len(HARMONICS), np.nan)
    for k, n in enumerate(HARMONICS):
        if n * frequency_hz <= top:
            near = _near(n * frequency_hz, step)
            harmonics[k], harmonics_room[k] = power[near].max(), 3.0 * quiet[near].mean()
    in_step = _in_step_db(recording, time_s, end_s, frequency_hz)
    return Cleanness(
        _db(between / ground),
        _db(between_room / ground),
        _db(harmonics / ground),
        _db(harmonics_room / ground),
        in_step,
    )


def _in_step_db(recording: Recording, time_s: float, end_s: float, frequency_hz: float) -> float:
    """How much of the swelling of what sounds above a tone goes with the tone's own period, against the rhythms beside
    it, in dB; nan where too little is heard. A damper that touches, or a crack that rattles, sounds once a period."""
    rate = recording.rate
    low, high = max(STEP_LOWEST_HZ, STEP_OVER * frequency_hz), min(HIGHEST_BAND_HZ, 0.44 * rate)
    first, last = int((time_s + CLEAN_FROM_S) * rate), int(min(end_s - 0.01, time_s + STEP_TO_S) * rate)
    last = min(last, len(recording.samples))
    if high < 1.3 * low or last - first < LEAST_STEP_S * rate:
        return float("nan")
    margin = min(first, int(0.05 * rate))
    sos = butter(3, [low, high], "bandpass", fs=rate, output="sos")
    above = sosfiltfilt(sos, recording.samples[first - margin : last + margin])[margin : margin + last - first]
    power = above**2
    kernel = np.hanning((int(4 * rate / frequency_hz) | 1) + 2)[1:-1]
    slow = np.convolve(power, kernel, "same") / np.convolve(np.ones(len(power)), kernel, "same")
    size = 1 << int(np.ceil(np.log2(4 * len(power))))
    rhythm = np.abs(np.fft.rfft((power - slow) * np.hanning(len(power)), size)) ** 2
    step = rate / size

    def usual(*shares: float) -> float:
        return float(rhythm[int(shares[0] * frequency_hz / step) : int(shares[1] * frequency_hz / step) + 1].mean())

    beside = 0.5 * (usual(0.55, 0.8) + usual(1.2, 1.45))
    return float(10.0 * np.log10(usual(0.97, 1.03) / (beside + 1e-30) + 1e-9))


def quiet_spectrum(recording: Recording) -> FloatArray:
    """Power spectrum of the room: the lower quarter, bin by bin, of windows spread over the recording."""
    count = int(np.clip(recording.length_s * 3, 16, 150))
    times = np.linspace(0.0, max(0.0, recording.length_s - CLEAN_TO_S), count)
    return np.percentile(np.array([_power(recording, t)[0] for t in times]), 25, axis=0)


def buzz_excess(teeth: Sequence[Sequence[Cleanness]], pitches: FloatArray, t60_s: FloatArray) -> FloatArray:
    """By how much each tooth stands over the usual, shape (teeth, 4): noise and harmonics in dB, how far noise swells
    in step with the tone in dB, and by what power of e it dies away sooner.

    teeth: for each its plucks; the cleaner pluck counts, since a knock may spoil one. noise: median over the bands;
    harmonics: of the LEAST_HARMONICS most raised ones, the least raised.
    """
    excess = np.zeros((len(teeth), 4))
    between = _above_room(teeth, "between_db", "between_room_db")
    harmonic = _above_room(teeth, "harmonics_db", "harmonics_room_db")
    steps = [[c.in_step_db for c in plucks if np.isfinite(c.in_step_db)] for plucks in teeth]
    step = np.array([[min(found, default=np.nan)] for found in steps])
    quick = -np.log(np.maximum(t60_s, 1e-3))[:, None]
    for k in range(len(teeth)):
        raised = _excess(between, k, pitches)
        heard = between[k][np.isfinite(between[k])]
        if len(raised) >= 2 and np.median(heard) > LEAST_NOISE_DB:
            excess[k, 0] = np.median(raised)
        raised = np.sort(_excess(harmonic, k, pitches))
        excess[k, 1] = raised[-LEAST_HARMONICS] if len(raised) >= LEAST_HARMONICS else 0.0
        for column, values in ((2, step), (3, quick)):
            excess[k, column] = _excess(values, k, pitches)[:1].sum()
    return excess


def _above_room(teeth: Sequence[Sequence[Cleanness]], name: str, room_name: str) -> FloatArray:
    """Levels by tooth and band, the cleaner pluck, and none below what the room lets through; shape (teeth, bands)."""
    rows = []
    for plucks in teeth:
        levels = np.array([np.maximum(getattr(c, name), getattr(c, room_name) + ROOM_MARGIN_DB) for c in plucks])
        rows.append(levels.min(axis=0))
    return np.array(rows)


# A window's own noise strays about the room's average; less than this above it is not counted.
ROOM_MARGIN_DB = 1.0


def _excess(levels: FloatArray, k: int, pitches: FloatArray) -> FloatArray:
    """By how much tooth k stands over the median of all and of its neighbours in pitch; bands not heard left out."""
    others = np.flatnonzero(np.arange(len(levels)) != k)
    if len(others) < 4:
        return np.zeros(0)
    near = others[np.argsort(np.abs(pitches[others] - pitches[k]), kind="stable")][: 2 * NEIGHBOURS]
    heard = np.isfinite(levels[k])
    counted = heard & (np.isfinite(levels[others]).sum(axis=0) >= 3) & (np.isfinite(levels[near]).sum(axis=0) >= 1)
    usual = np.nanmedian(levels[np.ix_(others, np.flatnonzero(counted))], axis=0)
    beside = np.nanmedian(levels[np.ix_(near, np.flatnonzero(counted))], axis=0)
    return levels[k, counted] - np.maximum(usual, beside)


def _power(recording: Recording, time_s: float) -> tuple[FloatArray, float]:
    count = int((CLEAN_TO_S - CLEAN_FROM_S) * recording.rate)
    start = max(0, int((time_s + CLEAN_FROM_S) * recording.rate))
    piece = np.zeros(count)
    part = recording.samples[start : start + count]
    piece[: len(part)] = part
    size = 1 << int(np.ceil(np.log2(count)))
    return np.abs(np.fft.rfft(piece * np.blackman(count), size)) ** 2, recording.rate / size


def _near(frequency_hz: float, step_hz: float) -> slice:
    """Bins within a main lobe's half width (Blackman: three bins of the unpadded window) of a frequency."""
    middle, reach = frequency_hz / step_hz, 1.5 / ((CLEAN_TO_S - CLEAN_FROM_S) * step_hz)
    return slice(max(0, int(np.floor(middle - reach))), int(np.ceil(middle + reach)) + 1)


def _db(power: FloatArray) -> FloatArray:
    return 10.0 * np.log10(np.maximum(power, 1e-20))
