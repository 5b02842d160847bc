"""How clean one pluck sounds: what lies between its partials and at whole multiples of its tone, how steadily it rings.

A clean tooth puts its energy into a few partials that die away evenly. One that touches its damper or is cracked adds
noise, strongest at first while it swings wide; whole multiples of its tone, since it touches once a period; and a
trembling of the tone itself. All levels are in dB against the strongest partial; nothing is judged here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, sosfiltfilt

from disc.listen.sound.audio import FloatArray, Recording

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Windows after the pluck, in s: its first moments, where what rattles is loudest; and the settled ring.
FIRST_S, RING_S = (0.008, 0.068), (0.03, 0.21)
# Of the noise above the tone, the lowest so far over it; chosen by hand.
BANDS_PER_OCTAVE, BANDS, BANDS_FROM_OCTAVES = 2, 10, 0.25
HIGHEST_BAND_HZ = 11_000.0  # phones pass little above; chosen by hand
HARMONICS = tuple(range(2, 26))  # of the fundamental, what rattles makes them; chosen by hand
# What rang on from before is taken off, but never more than this share of the power is kept back.
LEAST_LEFT = 0.03
# A trembling of the tone: equal sidebands so far from it, in Hz. Below, sampled strings and courses beat by themselves;
# a neighbour that rings lies to one side only.
TREMBLE_HZ = ((14.0, 35.0), (35.0, 70.0), (70.0, 120.0))
PARTIAL_TREMBLE_HZ = (14.0, 100.0)  # the same of a partial; chosen by hand
TREMBLE_SHARE = 0.33  # of the tone's frequency, beyond which its sidebands would be something else
CARRIER_HZ = 8.0  # about the tone, that is the tone itself; chosen by hand
# after the pluck: listened from, to, and for at least; chosen by hand
TREMBLE_FROM_S, TREMBLE_TO_S, LEAST_TREMBLE_S = 0.03, 0.45, 0.2
# What swells in step with the tone: noise above it, at most so long after the pluck.
STEP_FROM_S, STEP_TO_S, STEP_LOWEST_HZ, STEP_OVER = 0.03, 0.45, 1500.0, 2.5
LEAST_STEP_S = 0.1  # of it to tell anything; chosen by hand


@dataclass(frozen=True)
class PartialLevels:
    """One window of a pluck, in dB against its strongest partial; nan where not heard.

    between, whole: the usual and the total power by half octaves up, shape (10,); harmonics: at 2 to 25 times the
    tone, halfway: half a multiple below each, shape (24,). *_room: the room's own share in each.
    """

    between: FloatArray
    between_room: FloatArray
    whole: FloatArray
    whole_room: FloatArray
    harmonics: FloatArray
    halfway: FloatArray
    harmonics_room: FloatArray


@dataclass(frozen=True)
class Cleanness:
    """How clean a pluck sounds. tremble: sidebands of the tone by TREMBLE_HZ, dB against it, shape (3,), tremble_room:
    what was there before; partial_tremble: those of the loudest partial above. in_step: how far what sounds above the
    tone swells once in each of its periods, against other rhythms, in dB. nan: not heard."""

    first: PartialLevels
    ring: PartialLevels
    tremble: FloatArray
    tremble_room: FloatArray
    partial_tremble: float
    in_step: float


@dataclass(frozen=True)
class Room:
    """Power spectra of the recording's quiet moments, for the two windows."""

    first: FloatArray
    ring: FloatArray


def room_of(recording: Recording) -> Room:
    """The room: the lower quarter, bin by bin, of windows spread over the recording."""
    count = int(np.clip(recording.length_s * 3, 16, 150))
    times = np.linspace(0.0, max(0.0, recording.length_s - 0.4), count)

    def quiet(window_s: tuple[float, float]) -> FloatArray:
        spectra = [_power(recording, t - window_s[0], window_s)[0] for t in times]
        return np.asarray(np.percentile(np.array(spectra), 25, axis=0))

    return Room(quiet(FIRST_S), quiet(RING_S))


def cleanness(recording: Recording, room: Room, time_s: float, end_s: float, frequency_hz: float) -> Cleanness:
    """How clean a pluck at time_s sounds that is heard until end_s."""
    tremble, tremble_room, partial = _tremble(recording, time_s, end_s, frequency_hz)
    return Cleanness(
        _levels(recording, room.first, time_s, FIRST_S, frequency_hz),
        _levels(recording, room.ring, time_s, RING_S, frequency_hz),
        tremble,
        tremble_room,
        partial,
        _in_step(recording, time_s, end_s, frequency_hz),
    )


def _levels(
    recording: Recording, quiet: FloatArray, time_s: float, window_s: tuple[float, float], frequency_hz: float
) -> PartialLevels:
    power, step = _new_power(recording, time_s, window_s)
    ground = power[int(0.7 * frequency_hz / step) :].max() + 1e-20
    top = min(HIGHEST_BAND_HZ, 0.44 * recording.rate)
    bands = np.full((4, BANDS), np.nan)
    for k in range(BANDS):
        low = frequency_hz * 2 ** (BANDS_FROM_OCTAVES + k / BANDS_PER_OCTAVE)
        high = low * 2 ** (1 / BANDS_PER_OCTAVE)
        if high <= top:
            new, room = power[int(low / step) : int(high / step)], quiet[int(low / step) : int(high / step)]
            # The quiet quarter of noise lies under its mean: 1.4 times.
            bands[:, k] = np.median(new), np.median(room), new.sum(), 1.4 * room.sum()
    lines = np.full((3, len(HARMONICS)), np.nan)
    lobe_hz = 1.5 / (window_s[1] - window_s[0])  # half a main lobe: Blackman, three bins of the unpadded window
    for k, n in enumerate(HARMONICS):
        if n * frequency_hz <= top:
            at, half = (_near(m * frequency_hz, lobe_hz, step) for m in (n, n - 0.5))
            lines[:, k] = power[at].max(), power[half].max(), 3.0 * quiet[at].mean()
    return PartialLevels(*(_db(row / ground) for row in bands), *(_db(row / ground) for row in lines))


def _tremble(
    recording: Recording, time_s: float, end_s: float, frequency_hz: float
) -> tuple[FloatArray, FloatArray, float]:
    """(sidebands of the tone in dB, the same before the pluck, those of the loudest partial above)."""
    tremble, room = np.full(len(TREMBLE_HZ), np.nan), np.full(len(TREMBLE_HZ), np.nan)
    length_s = min(end_s - time_s - 0.01, TREMBLE_TO_S)
    if length_s < LEAST_TREMBLE_S:
        return tremble, room, float("nan")
    window_s = (TREMBLE_FROM_S, length_s)
    power, step = _power(recording, time_s, window_s)
    before, _ = _power(recording, time_s - length_s - 0.005, window_s)
    new = np.maximum(power - before, LEAST_LEFT * power)
    carrier = _carrier(power, frequency_hz, step)
    for k, (low, high) in enumerate(TREMBLE_HZ):
        high = min(high, frequency_hz * TREMBLE_SHARE)
        if high > low:
            tremble[k] = _db(_both_sides(new, frequency_hz, low, high, step) / carrier)
            room[k] = _db(_both_sides(before, frequency_hz, low, high, step) / carrier)
    lowest = int(1.3 * frequency_hz / step)
    above = power[lowest : int(min(9000.0, 0.44 * recording.rate) / step)]
    partial_hz = (lowest + int(np.argmax(above))) * step if len(above) else frequency_hz
    low, high = PARTIAL_TREMBLE_HZ[0], min(PARTIAL_TREMBLE_HZ[1], 0.3 * frequency_hz)
    partial = _both_sides(power, partial_hz, low, high, step) / _carrier(power, partial_hz, step)
    return tremble, room, float(_db(partial))


def _carrier(power: FloatArray, frequency_hz: float, step_hz: float) -> float:
    low, high = (int((frequency_hz + off) / step_hz) for off in (-CARRIER_HZ, CARRIER_HZ))
    return float(power[max(0, low) : high + 1].sum()) + 1e-20


def _both_sides(power: FloatArray, frequency_hz: float, low_hz: float, high_hz: float, step_hz: float) -> float:
    """Power that stands alike on both sides of a tone, low_hz to high_hz from it."""
    off = np.arange(low_hz, high_hz, step_hz)
    places = np.arange(len(power)) * step_hz
    sides = [np.interp(frequency_hz + sign * off, places, power) for sign in (1, -1)]
    return float(np.minimum(*sides).sum())


def _in_step(recording: Recording, time_s: float, end_s: float, frequency_hz: float) -> float:
    """How much of the swelling of what sounds above a tone goes with the tone's own period, against the rhythms beside
    it, in dB; nan where too little is heard. A damper that touches, or a crack that rattles, sounds once a period."""
    rate = recording.rate
    low, high = max(STEP_LOWEST_HZ, STEP_OVER * frequency_hz), min(HIGHEST_BAND_HZ, 0.44 * rate)
    first, last = int((time_s + STEP_FROM_S) * rate), int(min(end_s - 0.01, time_s + STEP_TO_S) * rate)
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


def _new_power(recording: Recording, time_s: float, window_s: tuple[float, float]) -> tuple[FloatArray, float]:
    """Power spectrum of what a pluck brings: what rang on from before (a buzzing neighbour, say) is taken off."""
    power, step = _power(recording, time_s, window_s)
    before, _ = _power(recording, time_s - window_s[1] - 0.005, window_s)
    return np.maximum(power - before, LEAST_LEFT * power), step


def _power(recording: Recording, time_s: float, window_s: tuple[float, float]) -> tuple[FloatArray, float]:
    """(power spectrum of a window that begins and ends so long after a moment, Hz of a bin)."""
    count = int((window_s[1] - window_s[0]) * recording.rate)
    start = int((time_s + window_s[0]) * recording.rate)
    piece = np.zeros(count)
    first, last = max(0, start), min(len(recording.samples), start + count)
    if last > first:
        piece[first - start : last - start] = recording.samples[first:last]
    size = 1 << (int(np.ceil(np.log2(count))) + 1)
    window = np.blackman(count)
    return np.abs(np.fft.rfft(piece * window, size) * (2.0 / window.sum())) ** 2, recording.rate / size


def _near(frequency_hz: float, lobe_hz: float, step_hz: float) -> slice:
    low, high = (frequency_hz - lobe_hz) / step_hz, (frequency_hz + lobe_hz) / step_hz
    return slice(max(0, int(np.floor(low))), int(np.ceil(high)) + 1)


def _db(power: FloatArray | float) -> FloatArray:
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-14)))
