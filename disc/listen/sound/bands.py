"""One tone out of a mixture: its band brought down to zero frequency, and what damped tones stand in it.

The band is cut out of the Fourier transform of the whole recording, so a hundred bands cost little more than one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import ifft, ifftshift, next_fast_len, rfft

from disc.listen.sound.audio import Recording

ComplexArray = npt.NDArray[np.complex128]


def hz_of_pitch(pitch: float) -> float:
    """Frequency of a MIDI number with a fraction (69.0 is A4 at 440 Hz; MIDI Tuning Standard)."""
    return float(440.0 * 2.0 ** ((pitch - 69.0) / 12.0))


def pitch_of_hz(frequency_hz: float) -> float:
    """MIDI number with a fraction of a frequency: the inverse of hz_of_pitch."""
    return float(69.0 + 12.0 * np.log2(frequency_hz / 440.0))


@dataclass(frozen=True)
class Whole:
    """The transform of a whole recording. size: its length in samples, zeros included."""

    bins: ComplexArray
    size: int
    rate: float
    samples: int


def transform(recording: Recording) -> Whole:
    """The Fourier transform of the whole recording, padded to a fast length."""
    count = len(recording.samples)
    size = next_fast_len(count + int(0.5 * recording.rate), real=True)
    return Whole(rfft(recording.samples, size), size, recording.rate, count)


def band(whole: Whole, centre_hz: float, half_width_hz: float) -> tuple[ComplexArray, float]:
    """(envelope, rate): the complex envelope about centre_hz, and its samples a second.

    The band's edges fall off as a raised cosine over the outer half. A tone of amplitude 1 gives an envelope of 1.
    Sample k stands at k / rate seconds.
    """
    step = whole.rate / whole.size
    middle = round(centre_hz / step)
    reach = next_fast_len(max(2, int(half_width_hz / step)))  # a little wider, and several times as fast
    places = np.arange(-reach, reach)
    inside = (middle + places >= 0) & (middle + places < len(whole.bins))
    spread = np.abs(places) / reach
    weight = np.where(spread < 0.5, 1.0, 0.5 + 0.5 * np.cos(np.pi * (spread - 0.5) / 0.5))
    cut = np.zeros(2 * reach, dtype=complex)
    cut[inside] = whole.bins[middle + places[inside]] * weight[inside]
    envelope = ifft(ifftshift(cut), overwrite_x=True) * (2 * reach) / whole.size * 2.0
    rate = 2 * reach * step
    kept = int(whole.samples / whole.rate * rate)
    drift = np.exp(-2j * np.pi * (centre_hz - middle * step) * np.arange(min(kept, 2 * reach)) / rate)
    return envelope[:kept] * drift, rate


@dataclass(frozen=True)
class DampedTone:
    """A tone offset_hz from the band's centre, with amplitude at the start of the piece; t60_s of its decay."""

    offset_hz: float
    t60_s: float
    amplitude: float


# Natural logarithm of 1000: a fall by 60 dB in amplitude; exact by definition.
FALL_60_DB = float(np.log(1000.0))


def damped_tones(piece: ComplexArray, rate: float, most: int = 4) -> list[DampedTone]:
    """Damped tones in a piece of a band, strongest energy first, by the matrix pencil method.

    Source: Hua and Sarkar, Matrix pencil method for estimating parameters of exponentially damped/undamped sinusoids
    in noise, IEEE Trans. ASSP 38 (1990). The order is the number of singular values within 40 dB of the first, at
    most `most`.
    """
    count = len(piece)
    if count < 8:
        return []
    pencil = min(count // 2, 60)
    rows = np.lib.stride_tricks.sliding_window_view(piece, pencil + 1)
    if len(rows) > 400:
        rows = rows[:: len(rows) // 400 + 1]
    _, values, right = np.linalg.svd(rows, full_matrices=False)
    order = int(min(most, max(1, np.sum(values > values[0] * 0.01)), pencil // 2))
    basis = right[:order].T
    poles = np.linalg.eigvals(np.linalg.pinv(basis[:-1]) @ basis[1:])
    poles = poles[np.abs(poles) > 1e-6]
    poles = poles / np.maximum(1.0, np.abs(poles))  # a tone that grows is noise; hold it level
    modes = poles[None, :] ** np.arange(count)[:, None]
    amplitudes, *_ = np.linalg.lstsq(modes, piece, rcond=None)
    tones = []
    for pole, amplitude in zip(poles, amplitudes, strict=True):
        fall = -np.log(np.abs(pole)) * rate
        t60 = FALL_60_DB / fall if fall > 1e-3 else 1e3
        tones.append((abs(amplitude) ** 2 * min(t60, count / rate), pole, amplitude, t60))
    tones.sort(key=lambda item: -item[0])
    return [
        DampedTone(float(np.angle(pole) * rate / (2 * np.pi)), float(t60), float(abs(amplitude)))
        for _, pole, amplitude, t60 in tones
    ]
