"""What one pluck says of its tooth: pitch and ring time.

Both come from the fundamental's band: damped tones are fitted to it (matrix pencil), neighbours that still ring are
taken off, and the decay of what is left is read. How clean it sounds is judged in tooth_condition.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.listen.sound.audio import FloatArray
from disc.listen.sound.bands import FALL_60_DB, ComplexArray, DampedTone, Whole, band, damped_tones, pitch_of_hz

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# The band reaches over two semitones, so that a neighbour that rings is seen and taken off, not averaged in.
BAND_SHARE = 0.13
# the band's bounds where its share would be too narrow for a decay, too wide for a tone; chosen by hand
NARROWEST_HZ, WIDEST_HZ = 30.0, 160.0
LONGEST_S = 2.5  # of ring that is read; chosen by hand
ATTACK_S = 0.02  # the first noise of the pluck
# The decay is read down to this far below its start, if the noise allows: as ISO 3382-1 reads T20 and T30.
DECAY_RANGE_DB = 30.0
ABOVE_NOISE_DB = 6.0  # where reading the decay ends; chosen by hand
EDC_FROM_DB, EDC_TO_DB = -5.0, -25.0  # from 5 dB down over 20 dB: T20 of ISO 3382-1, from memory
# A tooth's pitch is that of its settled decay: what sampled strings and struck bars glide at first is over by then.
SETTLED_S, SETTLED_SHARE = 0.22, 0.4
PITCH_RANGE_DB = 40.0  # below its loudest the tone still tells its pitch; chosen by hand
PHASE_DOUBT = 0.1  # radians by which a tone strays from an even one, however loud it is
LONGEST_T60_S = 100.0  # a tone that hardly falls while it is heard


@dataclass(frozen=True)
class Sounding:
    """One pluck's fundamental. others: tones beside it as (pitch, level in dB against it, T60 in s)."""

    pitch: float
    t60_s: float
    amplitude: float
    decay_range_db: float
    others: tuple[tuple[float, float, float], ...]


def sounding(whole: Whole, time_s: float, end_s: float, near_hz: float) -> Sounding | None:
    """The fundamental near near_hz between a pluck and the next one; None where too little of it is heard."""
    half_width = float(np.clip(near_hz * BAND_SHARE, NARROWEST_HZ, WIDEST_HZ))
    envelope, rate = band(whole, near_hz, half_width)
    blur = 1.0 / half_width
    first = int((time_s + max(ATTACK_S, blur)) * rate) + 1
    last = int(min(end_s - blur, time_s + LONGEST_S) * rate)
    piece = envelope[first:last]
    if len(piece) < 12:
        return None
    tones = damped_tones(_audible(piece), rate)
    if not tones:
        return None
    main = tones[0]
    alone = _without(piece, tones[1:], main, rate, near_hz)
    noise = _noise(envelope, rate)
    offset, t60, covered = _decay(alone, main, rate, noise)
    frequency = near_hz + offset
    others = tuple(
        (pitch_of_hz(near_hz + tone.offset_hz), float(20 * np.log10(tone.amplitude / main.amplitude)), tone.t60_s)
        for tone in tones[1:]
        if tone.amplitude > 0 and near_hz + tone.offset_hz > 0
    )
    return Sounding(pitch_of_hz(frequency), t60, float(np.abs(alone[:3]).mean()), covered, others)


def _audible(piece: ComplexArray) -> ComplexArray:
    """The piece down to 40 dB under its start: beyond that noise would lead the fit."""
    level = np.abs(piece)
    loud = np.flatnonzero(level > level[: max(3, len(level) // 20)].max() * 0.01)
    return piece[: max(12, int(loud[-1]) + 1)]


def _without(
    piece: ComplexArray, others: list[DampedTone], main: DampedTone, rate: float, near_hz: float
) -> ComplexArray:
    """The piece less every fitted tone that stands a quarter of a semitone or more from the main one."""
    apart = near_hz * (2 ** (0.25 / 12.0) - 1.0)
    beside = [tone for tone in others if abs(tone.offset_hz - main.offset_hz) > apart]
    if not beside:
        return piece
    steps = np.arange(len(piece)) / rate
    modes = np.array([
        np.exp((2j * np.pi * tone.offset_hz - FALL_60_DB / tone.t60_s) * steps) for tone in (main, *beside)
    ])  # fmt: skip
    amounts, *_ = np.linalg.lstsq(modes.T, piece, rcond=None)
    return np.asarray(piece - modes[1:].T @ amounts[1:], dtype=complex)


def _noise(envelope: ComplexArray, rate: float) -> float:
    """RMS of the band where it is quietest: the tenth part of quarter seconds with the least in them."""
    span = max(4, int(0.25 * rate))
    count = len(envelope) // span
    if count < 4:
        return 0.0
    power = np.mean(np.abs(envelope[: count * span].reshape(count, span)) ** 2, axis=1)
    return float(np.sqrt(np.percentile(power, 10)))


def _decay(alone: ComplexArray, main: DampedTone, rate: float, noise: float) -> tuple[float, float, float]:
    """(offset in Hz, T60 in s, range in dB over which the decay was read) of a lone tone."""
    smooth = _smoothed(alone, main.offset_hz, rate)
    level = 20.0 * np.log10(np.abs(smooth) + 1e-12)
    start = float(np.median(level[:3]))
    floor = max(start - DECAY_RANGE_DB, 20.0 * np.log10(noise + 1e-12) + ABOVE_NOISE_DB)
    under = np.flatnonzero(level < floor)
    last = int(under[0]) if len(under) else len(level)
    if last < 8:
        return main.offset_hz, main.t60_s, max(0.0, start - floor)
    times = np.arange(last) / rate
    t60 = ring_time_s(level[:last] - start, rate)
    # The pitch is read farther down than the ring time, as far as the noise lets.
    under = np.flatnonzero(level < max(start - PITCH_RANGE_DB, 20.0 * np.log10(noise + 1e-12) + ABOVE_NOISE_DB))
    last = max(last, int(under[0]) if len(under) else len(level))
    times = np.arange(last) / rate
    doubt = (noise / (np.abs(smooth[:last]) + 1e-12)) ** 2 + PHASE_DOUBT**2
    turn = float(np.polyfit(times, np.unwrap(np.angle(smooth[:last])), 1, w=_settled(times) / np.sqrt(doubt))[0])
    return main.offset_hz + turn / (2.0 * np.pi), float(t60), float(start - level[last - 1])


def _settled(times_s: FloatArray) -> FloatArray:
    """How far each moment after the pluck belongs to the settled decay, 0 to 1: a tooth struck hard glides at first.
    Where a tone is heard so briefly that nothing would be left, its later part counts."""
    middle = min(SETTLED_S, SETTLED_SHARE * float(times_s[-1]))
    return np.asarray(0.02 + 0.98 / (1.0 + np.exp(-(times_s - middle) / (0.2 * middle + 1e-6))))


def ring_time_s(level_db: FloatArray, rate: float) -> float:
    """T60 of a decay given in dB from its start: Schroeder's backward integration, read from -5 to -25 dB.

    What comes after the piece is added as if its last part's slope went on. A decay heard over less than 25 dB is read
    as far as it goes. Source: ISO 3382-1 (T20), from memory.
    """
    times = np.arange(len(level_db)) / rate
    power = 10.0 ** (level_db / 10.0)
    weights = np.sqrt(power)
    whole_slope = float(np.polyfit(times, level_db, 1, w=np.sqrt(weights))[0])
    late = times >= 0.5 * times[-1]
    late_slope = float(np.polyfit(times[late], level_db[late], 1)[0]) if late.sum() >= 4 else whole_slope
    if whole_slope > -0.6:
        return LONGEST_T60_S
    slope = late_slope if 0.25 < late_slope / whole_slope < 4.0 else whole_slope
    end_power = 10.0 ** (float(np.median(level_db[-5:])) / 10.0)
    tail = end_power / (-slope * np.log(10.0) / 10.0)
    left = np.cumsum(power[::-1])[::-1] / rate + tail
    curve = 10.0 * np.log10(left / left[0])
    read = (curve <= EDC_FROM_DB) & (curve >= EDC_TO_DB)
    if read.sum() < 6 or np.ptp(curve[read]) < 3.0:
        read = curve >= EDC_TO_DB
    fall = float(np.polyfit(times[read], curve[read], 1)[0])
    return float(min(LONGEST_T60_S, -60.0 / fall)) if fall < 0 else LONGEST_T60_S


def _smoothed(alone: ComplexArray, offset_hz: float, rate: float) -> ComplexArray:
    """The tone brought to zero frequency and averaged over about 40 ms, without shortening its ends' meaning."""
    steps = np.arange(len(alone)) / rate
    still = alone * np.exp(-2j * np.pi * offset_hz * steps)
    span = max(1, int(0.02 * rate) * 2 + 1)
    if span < 3 or len(still) < 4 * span:
        return still
    kernel = np.hanning(span + 2)[1:-1]
    kernel /= kernel.sum()
    smooth = np.convolve(still, kernel, mode="same")
    weight = np.convolve(np.ones(len(still)), kernel, mode="same")
    return np.asarray(smooth / weight, dtype=complex)
