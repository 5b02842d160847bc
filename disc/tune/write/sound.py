"""The sound of a comb: each tooth a clamped-free bar, plucked at its tip and left to ring until it is struck again.

Partials 1 : 6.267 : 17.55 (comb/bar.py). The amplitudes follow from the pluck: a bar bent by a force at its free end
and let go holds its modes in proportion to 1 / b_n^4 in displacement, b_n the roots of cos(b) cosh(b) = -1 (mode shapes
of a clamped-free bar all have the same height at the tip; Fletcher and Rossing, The Physics of Musical Instruments,
ch. 2, from memory). What the ear gets is radiated by velocity and by a case that favours high partials, so the heard
share is taken as 1 / b_n^2: a choice by ear, no source.
"""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np

from disc.comb.bar import BAR_RATIOS, frequency_hz, ring_time_s
from disc.frame import FloatArray
from disc.records import Strike

RATE_HZ = 44_100  # compact disc audio, IEC 60908
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
PEAK = 0.89  # one decibel below full scale: no clipping, also after a player's resampling
# (b_1 / b_n)^2 = 1 / ratio: the share of each partial, see above.
SHARES = tuple(1.0 / ratio for ratio in BAR_RATIOS)
# Higher partials die sooner: the time falls with the square root of their frequency, as ring_time_s does.
ATTACK_S = 0.0015  # from silence to full swing, so that no click is heard
DAMP_S = 0.02  # a tooth struck again is first damped in about this time
AFTER_RING_S = 2.0  # silence to let the last note ring
HIGHEST_HZ = 0.45 * RATE_HZ  # partials above are left out, or they would fold back


def render_strikes(strikes: Sequence[Strike], seconds: float | None = None, rate: int = RATE_HZ) -> FloatArray:
    """One turn as sound, shape (n,), -1 to 1, peak PEAK. Strikes of unknown pitch, and those of a
    tooth that gives no tone, are left out; a tooth sounds as loud as its swing, where that is known.

    seconds: length; by default the last strike and the time it rings. Same strikes, same samples.
    """
    sounding = [strike for strike in strikes if strike.pitch is not None and not strike.silent]
    last = max((strike.onset_s for strike in sounding), default=0.0)
    length = max(1, round((seconds if seconds is not None else last + AFTER_RING_S) * rate))
    sound = np.zeros(length)
    free_s = _free_times(sounding)
    for pitch in sorted({strike.pitch for strike in sounding if strike.pitch is not None}):
        mine = [i for i, strike in enumerate(sounding) if strike.pitch == pitch]
        ring = _ring(pitch, max(free_s[i] for i in mine), rate)  # worked out once, however often it is struck
        for i in mine:
            start = round(sounding[i].onset_s * rate)
            tone = _damped(ring, pitch, free_s[i], rate)[: max(0, length - start)]
            swing = sounding[i].swing
            sound[start : start + len(tone)] += tone if swing is None else swing * tone
    peak = float(np.max(np.abs(sound)))
    return sound * (PEAK / peak) if peak > 0 else sound


def _free_times(strikes: Sequence[Strike]) -> list[float]:
    """Seconds each strike may ring before its tooth is struck again; infinite for the last on its tooth."""
    free = [float("inf")] * len(strikes)
    latest: dict[int, int] = {}
    for index in sorted(range(len(strikes)), key=lambda i: strikes[i].onset_s):
        tooth = strikes[index].tooth
        if tooth in latest:
            free[latest[tooth]] = strikes[index].onset_s - strikes[latest[tooth]].onset_s
        latest[tooth] = index
    return free


def tooth_sound(pitch: float, free_s: float = float("inf"), rate: int = RATE_HZ) -> FloatArray:
    """One tooth plucked, shape (n,): n covers its ring, or the time until its damper touches it again."""
    return _damped(_ring(pitch, free_s, rate), pitch, free_s, rate)


def _ring(pitch: float, free_s: float, rate: int) -> FloatArray:
    """A tooth left to ring as long as it does, or until free_s and a damper's time are over."""
    ring_s = ring_time_s(pitch)
    times = np.arange(_count(ring_s, free_s, rate)) / rate
    tone = np.zeros_like(times)
    for ratio, share in zip(BAR_RATIOS, SHARES, strict=True):
        frequency = frequency_hz(pitch) * ratio
        if frequency < min(HIGHEST_HZ, 0.45 * rate):
            decay = np.log(1000.0) / (ring_s / np.sqrt(ratio))  # 60 dB is a factor of 1000
            tone += share * np.exp(-decay * times) * np.sin(2.0 * np.pi * frequency * times)
    begin = round(ATTACK_S * rate) + 1
    tone[:begin] *= np.minimum(1.0, times[:begin] / ATTACK_S)
    return tone


def _damped(ring: FloatArray, pitch: float, free_s: float, rate: int) -> FloatArray:
    """The beginning of a ring, damped when free_s is over."""
    ring_s = ring_time_s(pitch)
    tone = ring[: _count(ring_s, free_s, rate)]
    if free_s >= ring_s:
        return tone
    begin = max(0, int((free_s - DAMP_S) * rate))
    times = np.arange(begin, len(tone)) / rate
    return np.r_[tone[:begin], tone[begin:] * np.clip((free_s - times) / DAMP_S + 0.5, 0.0, 1.0)]


def _count(ring_s: float, free_s: float, rate: int) -> int:
    return int(min(ring_s, free_s + DAMP_S) * rate) + 1


def wav_bytes(sound: FloatArray, rate: int = RATE_HZ) -> bytes:
    """A 16-bit WAV file. sound: shape (n,), -1 to 1; anything beyond is a fault and raises ValueError."""
    if len(sound) and float(np.max(np.abs(sound))) > 1.0:
        raise ValueError("the sound would clip")
    import wave

    samples = np.round(sound * 32767.0).astype("<i2")
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(samples.tobytes())
    return buffer.getvalue()
