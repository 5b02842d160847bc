"""Whether a tooth buzzes or sets off its neighbour, judged against the other teeth of the same recording.

A clean tooth puts its energy into a few partials. One that touches its damper or is cracked puts noise between them, or
harmonics that the other teeth do not have. What is usual depends on the movement, the room and the microphone, so every
tooth is held against the rest and against its nearest neighbours in pitch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.listen.audio import FloatArray, Recording

# The window begins when the noise of the pluck is over; a buzz goes on with the tone.
CLEAN_FROM_S, CLEAN_TO_S = 0.03, 0.21
BANDS_PER_OCTAVE, BANDS = 2, 10
HIGHEST_BAND_HZ = 11_000.0
HARMONICS = tuple(range(2, 9))
# How far over the usual a buzz stands, dB. Of 63 buzzing and 644 other teeth of the benchmark's first four sets these
# limits name 57 and 5; the lower ones took more clean teeth, the higher ones lost more that buzz.
NOISE_EXCESS_DB = 7.0
LEAST_NOISE_DB = -58.0  # noise this far under the tone is not heard as a buzz; ticks and codecs leave as much
HARMONIC_EXCESS_DB, LEAST_HARMONICS = 14.0, 3
CLIPPED_EXCESS_DB = 10.0  # more is asked where the recorder itself made harmonics
NEIGHBOURS = 2


@dataclass(frozen=True)
class Cleanness:
    """Levels in dB against the strongest partial: between_db of noise between partials, by half octaves up, shape
    (10,); harmonics_db at 2 to 8 times the fundamental, shape (7,); the room's own share in either. nan: not heard."""

    between_db: FloatArray
    between_room_db: FloatArray
    harmonics_db: FloatArray
    harmonics_room_db: FloatArray


def cleanness(recording: Recording, quiet: FloatArray, time_s: float, frequency_hz: float) -> Cleanness:
    """How clean a pluck sounds. quiet: power of the room from quiet_spectrum()."""
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
    return Cleanness(*(_db(x / ground) for x in (between, between_room, harmonics, harmonics_room)))


def quiet_spectrum(recording: Recording) -> FloatArray:
    """Power spectrum of the room: the lower quarter, bin by bin, of windows spread over the recording."""
    count = int(np.clip(recording.length_s * 3, 16, 150))
    times = np.linspace(0.0, max(0.0, recording.length_s - CLEAN_TO_S), count)
    return np.percentile(np.array([_power(recording, t)[0] for t in times]), 25, axis=0)


def buzz_excess(teeth: Sequence[Sequence[Cleanness]], pitches: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(noise, harmonics): by how many dB each tooth stands over the usual, each shape (teeth,).

    teeth: for each its plucks; the cleaner pluck counts, since a knock may spoil one. noise: median over the bands;
    harmonics: of the LEAST_HARMONICS most raised ones, the least raised.
    """
    noise, harmonics = np.zeros(len(teeth)), np.zeros(len(teeth))
    between = _above_room(teeth, "between_db", "between_room_db")
    harmonic = _above_room(teeth, "harmonics_db", "harmonics_room_db")
    for k in range(len(teeth)):
        raised = _excess(between, k, pitches)
        heard = between[k][np.isfinite(between[k])]
        if len(raised) >= 2 and np.median(heard) > LEAST_NOISE_DB:
            noise[k] = np.median(raised)
        raised = np.sort(_excess(harmonic, k, pitches))
        harmonics[k] = raised[-LEAST_HARMONICS] if len(raised) >= LEAST_HARMONICS else 0.0
    return noise, harmonics


def is_buzzing(noise_db: float, harmonics_db: float, clipped: bool = False) -> bool:
    """Whether such an excess is a buzz."""
    more = CLIPPED_EXCESS_DB if clipped else 0.0
    return noise_db > NOISE_EXCESS_DB + more or harmonics_db > HARMONIC_EXCESS_DB + more


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
