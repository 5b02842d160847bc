"""Small sounds with truth by construction for these tests: clamped-free bars struck in quiet, ticks, knocks.

Partials at 6.267 and 17.55 times the fundamental: roots of cos(x) cosh(x) = -1, squared and divided (Blevins, Formulas
for Natural Frequency and Mode Shape, 1979, table 8-1; from memory).
"""

from __future__ import annotations

import numpy as np

RATE = 32000
RATIOS = (1.0, 6.267, 17.55)


def hz(pitch: float) -> float:
    return 440.0 * 2.0 ** ((pitch - 69.0) / 12.0)


def bar(rng: np.random.Generator, pitch: float, t60_s: float, length_s: float, force: float = 1.0) -> np.ndarray:
    t = np.arange(int(length_s * RATE)) / RATE
    out = np.zeros(len(t))
    for n, ratio in enumerate(RATIOS):
        f = hz(pitch) * ratio
        if f < 0.45 * RATE:
            fall = 6.9078 / (t60_s * (1.0, 0.3, 0.1)[n])
            out += 0.3**n * np.exp(-fall * t) * np.sin(2 * np.pi * f * t + rng.uniform(0, 6.28))
    out *= 1 - np.exp(-t / 0.0005)
    out[: int(0.01 * RATE)] += 0.1 * rng.normal(size=int(0.01 * RATE)) * np.exp(-np.arange(int(0.01 * RATE)) / 60.0)
    return 0.25 * force * out


def dull_click(rng: np.random.Generator) -> np.ndarray:
    n = int(0.05 * RATE)
    return 0.12 * np.convolve(rng.normal(size=n) * np.exp(-np.arange(n) / 200.0), np.ones(6) / 6, "same")


def buzz(rng: np.random.Generator, tone: np.ndarray) -> np.ndarray:
    """Noise that comes and goes with the tone's own swing."""
    n = len(tone)
    swing = np.clip(tone / (np.abs(tone).max() + 1e-9), 0, 1)
    noise = np.diff(rng.normal(size=n + 1))
    return tone + 0.12 * noise * swing


def put(audio: np.ndarray, piece: np.ndarray, at_s: float) -> None:
    start = int(at_s * RATE)
    piece = piece[: max(0, len(audio) - start)]
    audio[start : start + len(piece)] += piece


def ticks(rng: np.random.Generator, n: int, level: float = 0.02) -> np.ndarray:
    """18 000 beats an hour: five clicks a second."""
    out = np.zeros(n)
    t = np.arange(int(0.01 * RATE)) / RATE
    click = np.sin(2 * np.pi * 5200 * t) * np.exp(-t / 0.001)
    for k in range(int(n / RATE * 5)):
        put(out, level * rng.uniform(0.8, 1.2) * click, 0.07 + 0.2 * k)
    return out


def plucked_comb(
    rng: np.random.Generator, pitches: list[float], dead: tuple[int, ...] = (), buzzing: tuple[int, ...] = (),
    gap_s: float = 0.7, t60_s: float = 1.5,
) -> tuple[np.ndarray, list[list[float]]]:  # fmt: skip
    """Each tooth plucked twice in a row; (sound, times by tooth). dead, buzzing: teeth counted from 1."""
    audio = np.zeros(int((len(pitches) * 2 * gap_s * 1.15 + 2.5) * RATE))
    at, times = 0.6, []
    for k, pitch in enumerate(pitches, start=1):
        mine = []
        for wait in (gap_s, gap_s * 1.3):
            length = wait + 0.004
            if k in dead:
                piece = dull_click(rng)
            else:
                piece = bar(rng, pitch, t60_s, length, np.exp(rng.normal(0, 0.1)))
                piece[-200:] *= np.linspace(1, 0, 200)
                piece = buzz(rng, piece) if k in buzzing else piece
            put(audio, piece, at)
            mine.append(at)
            at += wait * np.exp(rng.normal(0, 0.05))
        times.append(mine)
    audio += 1e-5 * rng.normal(size=len(audio))
    return audio, times


def played_turn(
    rng: np.random.Generator, comb: dict[int, float], strikes: list[tuple[float, int]], period_s: float,
    silent: tuple[int, ...] = (), extra: tuple[tuple[float, int], ...] = (), late: dict[int, float] | None = None,
    slowing: float = 0.03,
) -> tuple[np.ndarray, list[tuple[float, float]]]:  # fmt: skip
    """One turn that slows down evenly; (sound, [(onset in s, pitch)]). strikes: (fraction, tooth)."""

    def when(u: float) -> float:
        return 0.8 + period_s * (u - slowing / 2 * u * (1 - u))

    audio = np.zeros(int((when(1.0) + 1.5) * RATE))
    onsets = []
    for k, (u, tooth) in enumerate(strikes):
        if k not in silent:
            onsets.append((when(u) + (late or {}).get(k, 0.0), comb[tooth]))
    onsets += [(when(u), comb[tooth]) for u, tooth in extra]
    for at, pitch in sorted(onsets):
        put(audio, bar(rng, pitch, 1.2, 2.5, np.exp(rng.normal(0, 0.1))), at)
    audio += 1e-4 * rng.normal(size=len(audio))
    return audio, sorted(onsets)


def a_tune(rng: np.random.Generator, teeth: list[int], count: int) -> list[tuple[float, int]]:
    """Strikes on an uneven grid, no tooth twice within three places."""
    places = np.linspace(0.03, 0.95, count)
    strikes, last = [], dict.fromkeys(teeth, -9)
    for k, u in enumerate(places):
        free = [tooth for tooth in teeth if k - last[tooth] >= 3]
        for tooth in rng.choice(free, 2 if k % 4 == 0 else 1, replace=False):
            last[int(tooth)] = k
            strikes.append((float(u), int(tooth)))
    return strikes
