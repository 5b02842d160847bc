"""Recordings of the sample's comb and of its turn, made of plain decaying tones with known times and pitches."""

from __future__ import annotations

import wave
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from .sample import TRUTH

RATE = 22_050
# Partials of a clamped-free bar, roots of cos(x) cosh(x) = -1 squared and divided: Blevins, Formulas for Natural
# Frequency and Mode Shape (1979), table 8-1; from memory. Their strength and fall are made up.
PARTIALS = ((1.0, 1.0, 0.9), (6.267, 0.25, 0.25))
PITCHES = {tooth["number"]: float(tooth["pitch"]) for tooth in TRUTH["comb"]}


def pluck(pitch: float, rng: np.random.Generator, length_s: float = 1.1) -> np.ndarray:
    """One tooth plucked."""
    t = np.arange(int(length_s * RATE)) / RATE
    frequency = 440.0 * 2.0 ** ((pitch - 69.0) / 12.0)
    out = np.zeros(len(t))
    for ratio, share, t60_s in PARTIALS:
        if frequency * ratio < 0.45 * RATE:
            out += share * np.exp(-6.9 * t / t60_s) * np.sin(2 * np.pi * frequency * ratio * t + rng.uniform(0, 6.28))
    return out * (1 - np.exp(-t / 0.0005)) * np.minimum(1.0, (length_s - t) / 0.05)


def write_recording(path: Path, strikes: Iterable[tuple[float, int]], length_s: float) -> Path:
    """A WAV file of strikes (second, tooth) over a little noise."""
    rng = np.random.default_rng(5)
    audio = 0.0005 * rng.normal(size=int(length_s * RATE))
    for at_s, tooth in strikes:
        piece = 0.25 * rng.uniform(0.85, 1.15) * pluck(PITCHES[tooth], rng)
        start = int(at_s * RATE)
        piece = piece[: max(0, len(audio) - start)]
        audio[start : start + len(piece)] += piece
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((np.clip(audio, -1, 1) * 32000).astype("<i2").tobytes())
    return path
