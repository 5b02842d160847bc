"""A buzz in many ways, so that nothing is fitted to one of them: what touches, rattles, roughens or rings along.

Each way takes (rng, clean note, its pitch) and gives the buzzing note. Levels reach from just audible to gross. Which
are near to nature: the stop, the bursts and the ragged stop (a damper or a crack meets the tooth once a period while it
swings wide enough); the others are what buzzes are commonly imitated by.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal

from tests.bench.truth.listen_sounds import RATE, add_buzz, hz

Buzz = Callable[[np.random.Generator, np.ndarray, float], np.ndarray]


def envelope_of(audio: np.ndarray) -> np.ndarray:
    """The slow level of a note, below 40 Hz."""
    level = np.abs(signal.hilbert(audio))
    return signal.sosfiltfilt(signal.butter(1, 40, fs=RATE, output="sos"), level).clip(0)


def noise_between(rng: np.random.Generator, n: int, low_hz: float, high_hz: float) -> np.ndarray:
    """Band noise of RMS 1."""
    noise = signal.sosfilt(signal.butter(2, [low_hz, high_hz], "bandpass", fs=RATE, output="sos"), rng.normal(size=n))
    return noise / (noise.std() + 1e-12)


def stop(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """A stop at a fixed place on one side: the wide swings early on hit it, the late ones do not."""
    limit = rng.uniform(0.15, 0.6) * np.abs(audio[: RATE // 5]).max()
    return np.where(audio > limit, limit + rng.uniform(0.0, 0.4) * (audio - limit), audio)


def ragged_stop(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """The same with a soft or rough edge that strays from period to period, and the click of each touch."""
    n = len(audio)
    periods = int(n / RATE * hz(pitch)) + 1
    stray = np.interp(np.arange(n), np.arange(0, n, RATE / hz(pitch)), rng.normal(1, 0.15, periods))
    limit = rng.uniform(0.2, 0.6) * np.abs(audio[: RATE // 5]).max() * stray
    over = (audio - limit).clip(0)
    click = np.diff(over, prepend=0.0).clip(0) * np.sqrt(RATE / 1000) * rng.normal(size=n)
    return audio - rng.uniform(0.5, 1.0) * over + rng.uniform(0.1, 0.5) * click


def bursts(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """A burst of noise at each touch, once a period, while the tone is louder than a threshold."""
    n = len(audio)
    level = envelope_of(audio)
    over = (level - rng.uniform(0.0, 0.4) * level[: RATE // 5].max()).clip(0)
    period = RATE / hz(pitch)
    places = np.arange(rng.uniform(0, period), n - 1, period)
    places = places + rng.normal(0, 0.03 * period, len(places))
    hits = np.zeros(n)
    at = places.astype(int).clip(0, n - 1)
    hits[at] = over[at] * np.exp(rng.normal(0, 0.3, len(at)))
    shape = np.exp(-np.arange(int(0.006 * RATE)) / (rng.uniform(0.0002, 0.0015) * RATE))
    low = rng.uniform(800, 3000)
    noise = noise_between(rng, n, low, low * rng.uniform(2.5, 6))
    return audio + rng.uniform(0.15, 0.7) * signal.fftconvolve(hits, shape)[:n] * noise


def sidebands(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """A swelling of the whole note at a fixed rate that soon dies away."""
    t = np.arange(len(audio)) / RATE
    depth = rng.uniform(0.3, 1.0) * np.exp(-t / rng.uniform(0.1, 0.8))
    return audio * (1 + depth * np.sin(2 * np.pi * rng.uniform(18, 130) * t + rng.uniform(0, 6)))


def rough(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """Swelling as if by a wheel: steady, not a sine."""
    t = np.arange(len(audio)) / RATE
    shape = signal.sawtooth(2 * np.pi * rng.uniform(15, 100) * t + rng.uniform(0, 6), rng.choice([0.1, 0.5, 1.0]))
    return audio * (1 - rng.uniform(0.2, 0.8) * (0.5 + 0.5 * shape))


def harmonics(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """A row of whole-number partials that die away sooner than the tone."""
    t = np.arange(len(audio)) / RATE
    level = envelope_of(audio)
    out, top, slope = audio.copy(), int(rng.integers(5, 25)), rng.uniform(0.0, 1.2)
    loud, quick = 10 ** (-rng.uniform(8, 26) / 20), rng.uniform(0.5, 6.0)
    for n in range(2, top):
        if n * hz(pitch) < 0.45 * RATE:
            partial = np.sin(2 * np.pi * n * hz(pitch) * t + rng.uniform(0, 6))
            out += loud * n**-slope * level * np.exp(-quick * t) * partial
    return out


def driven(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """Bent alike to both sides, however loud."""
    level = envelope_of(audio) + 1e-9
    drive, lean = rng.uniform(1.5, 5.0), rng.uniform(0.0, 0.5)
    return (np.tanh(drive * audio / level + lean) - np.tanh(lean)) * level / np.tanh(drive)


def hiss(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """Noise that goes with the tone, not gated."""
    level = envelope_of(audio)
    low = rng.uniform(500, 3000)
    noise = noise_between(rng, len(audio), low, min(low * rng.uniform(2, 8), 15000))
    return audio + 10 ** (-rng.uniform(8, 24) / 20) * noise * level ** rng.uniform(1.0, 1.6) / level.max() ** 0.3


def waving_noise(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """Noise that swells once a period, softly."""
    t = np.arange(len(audio)) / RATE
    low = rng.uniform(1000, 4000)
    noise = noise_between(rng, len(audio), low, min(low * rng.uniform(2, 5), 15000))
    swell = (0.5 + 0.5 * np.sin(2 * np.pi * hz(pitch) * t)) ** rng.choice([1, 2, 6])
    return audio + rng.uniform(0.08, 0.4) * noise * swell * envelope_of(audio)


def every_second(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """It touches at every second or third swing."""
    t = np.arange(len(audio)) / RATE
    gate = np.sin(2 * np.pi * hz(pitch) / rng.choice([2, 3]) * t) > rng.uniform(0.3, 0.8)
    noise = noise_between(rng, len(audio), 1200, 9000)
    level = envelope_of(audio)
    return audio * (1 - rng.uniform(0.2, 0.6) * gate) + rng.uniform(0.0, 0.35) * noise * gate * level


def rattle(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
    """Something loose beside it: bursts at its own uneven rate."""
    n, rate = len(audio), rng.uniform(20, 120)
    times = np.cumsum(rng.normal(1 / rate, 0.25 / rate, int(n / RATE * rate * 1.5) + 2).clip(0.2 / rate))
    hits = np.zeros(n)
    at = (times[times < n / RATE - 0.01] * RATE).astype(int)
    hits[at] = np.exp(rng.normal(0, 0.4, len(at)))
    count = np.arange(900)
    ring = np.exp(-count / rng.uniform(20, 200)) * np.sin(2 * np.pi * rng.uniform(2000, 7000) / RATE * count)
    return audio + rng.uniform(0.15, 0.6) * signal.fftconvolve(hits, ring)[:n] * envelope_of(audio)


def first_ways(kind: int) -> Buzz:
    """One of the four ways of the first sets."""

    def way(rng: np.random.Generator, audio: np.ndarray, pitch: float) -> np.ndarray:
        return add_buzz(rng, audio, pitch, kind)

    return way


WAYS: dict[str, Buzz] = {
    "gated": first_ways(0), "contact": first_ways(1), "unsteady": first_ways(2), "impacts": first_ways(3),
    "stop": stop, "ragged": ragged_stop, "bursts": bursts, "sidebands": sidebands, "rough": rough,
    "harmonics": harmonics, "driven": driven, "hiss": hiss, "waving": waving_noise, "second": every_second,
    "rattle": rattle,
}  # fmt: skip
