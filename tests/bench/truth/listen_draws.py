"""Sets of recordings drawn from a seed: combs plucked in turn and recorded turns, each with surroundings of its own.

A set is named once and never changed. Which of them were looked at while the program was made, listen.py says.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tests.bench.truth.listen_buzz import WAYS
from tests.bench.truth.listen_set import Spec, plucked, turn

# General MIDI programs that are struck or plucked and have one pitch: celesta, glockenspiel, music box, vibraphone,
# marimba, xylophone, dulcimer, nylon guitar, harp, koto, kalimba, and of the electric pianos the one like a bar.
PROGRAMS = (8, 9, 10, 11, 12, 13, 15, 24, 46, 107, 108, 4)
CONTAINERS = ("wav", "wav", "mp3", "m4a", "ogg", "wav24", "stereo", "flac")


def draw(letter: str, seed: int, fonts: Sequence[str]) -> list[Spec]:
    """Twelve recordings: half of them of bars, the others of sampled instruments; two of each six in noise of 15 dB."""
    rng = np.random.default_rng(seed)
    voices = [f"{rng.choice(fonts)}-{p}" for p in rng.choice(PROGRAMS, 6, replace=False)]
    order = rng.permutation(6)
    specs: list[Spec] = []
    for k in range(6):
        voice = voices[k // 2] if k % 2 else "bar"
        specs.append((plucked, _plucked(rng, f"{letter}{k + 1}", seed * 100 + k, voice, int(order[k]) < 2)))
    for k in range(6):
        voice = voices[3 + k // 2] if k % 2 else "bar"
        specs.append((turn, _turn(rng, f"{letter}{k + 7}", seed * 100 + 50 + k, voice, int(order[k]) < 2)))
    return specs


# Every instrument the fonts give that is struck or plucked, one each: music box, kalimba, celesta, glockenspiel,
# vibraphone, harp, dulcimer, marimba, xylophone, nylon guitar; and two of bars.
WIDE = (10, 108, 8, 9, 11, 46, 15, 12, 13, 24)


def draw_wide(letter: str, seed: int, fonts: Sequence[str]) -> list[Spec]:
    """Twelve combs and twelve turns, each of another instrument; four of each twelve in noise of 15 dB."""
    rng = np.random.default_rng(seed)
    specs: list[Spec] = []
    for make, kind in ((plucked, _plucked), (turn, _turn)):
        voices = rng.permutation([*(f"{rng.choice(fonts)}-{p}" for p in WIDE), "bar", "bar"])
        for k, voice in enumerate(voices):
            number = k + 1 + (12 if kind is _turn else 0)
            specs.append((make, kind(rng, f"{letter}{number}", seed * 100 + number, str(voice), k % 3 == 0)))
    return specs


# Others that are plucked or struck, for fitting alone: tubular bells, pianos, harpsichord, clavinet, guitars, acoustic
# bass, pizzicato, sitar, banjo, shamisen, koto, steel drums.
OTHERS = (14, 0, 4, 5, 6, 7, 25, 26, 27, 28, 45, 104, 105, 106, 107, 114, 32)
FITTED_TEETH = 26


def draw_buzzing(letter: str, seed: int) -> list[dict]:
    """Some 170 combs of many instruments whose teeth buzz in many ways, three in a row of one instrument; a third in
    noise of 15 dB, and with three in ten only the first four ways."""
    rng = np.random.default_rng(seed)
    fonts = ("fluid", "tim", "muse")
    chunks = [[f"{font}-{p}"] * 3 for p in WIDE for font in fonts]
    chunks += [[f"{rng.choice(fonts)}-{p}"] * 3 for p in OTHERS]
    chunks += [["bar"] * 3] * 10
    voices = [voice for k in rng.permutation(len(chunks)) for voice in chunks[k]]
    combs = []
    for k, voice in enumerate(voices):
        comb = _plucked(rng, f"{letter}{k:03d}", seed * 1000 + k, voice, k % 3 == 0)
        if k >= 25:  # the first ones were made before the teeth were limited
            comb["teeth"] = min(comb["teeth"], FITTED_TEETH)
        comb["ways"] = tuple(WAYS)[:4] if rng.random() < 0.3 else tuple(WAYS)
        combs.append(comb)
    return combs


def draw_weak(letter: str, seed: int, fonts: Sequence[str]) -> list[Spec]:
    """Twelve turns as in draw_wide, each with four strikes and two teeth that are weak every time."""
    turns = [(make, arguments) for make, arguments in draw_wide(letter, seed, fonts) if make is turn]
    return [(make, {**arguments, "weak": 4}) for make, arguments in turns]


def _plucked(rng: np.random.Generator, name: str, seed: int, voice: str, noisy: bool) -> dict:
    return {
        "name": f"{name}-{voice}", "seed": seed, "voice_name": voice, "teeth": int(rng.integers(16, 38)),
        "noise_db": 15.0 if noisy else None,
        "tick": float(rng.uniform(0.02, 0.06)) if noisy or rng.random() < 0.5 else 0.0,
        "knocks": int(rng.integers(0, 6)), "hum": 0.015 if rng.random() < 0.2 else 0.0,
        "container": str(rng.choice(CONTAINERS)), "rate": int(rng.choice([44100, 44100, 48000, 22050])),
        "clip": bool(rng.random() < 0.1), "damped": bool(rng.random() < 0.75),
        "gap": float(rng.choice([0.0, 0.0, 0.6, 0.8])), "room": float(rng.choice([0.0, 0.05, 0.15])),
    }  # fmt: skip


def _turn(rng: np.random.Generator, name: str, seed: int, voice: str, noisy: bool) -> dict:
    teeth = int(rng.integers(16, 36))
    late, turns = ((0.0, 1.0), (0.0, 1.0), (float(rng.uniform(0.2, 0.5)), 1.7), (0.0, 2.0))[rng.choice(4)]
    rate = int(rng.choice([44100, 44100, 48000, 22050]))
    said = (None, None, None, {44100: 48000, 48000: 44100, 22050: 24000}[rate])[rng.choice(4)]
    return {
        "name": f"{name}-{voice}", "seed": seed, "voice_name": voice, "teeth": teeth,
        "count": int(teeth * rng.uniform(3.5, 5.0)), "noise_db": 15.0 if noisy else None,
        "tick": float(rng.uniform(0.02, 0.05)) if noisy or rng.random() < 0.5 else 0.0,
        "knocks": int(rng.integers(0, 5)), "whirr": float(rng.choice([0.0, 0.0, 0.12, 0.25])),
        "container": str(rng.choice(CONTAINERS)), "rate": rate, "said_rate": said, "late": late, "turns": turns,
        "clip": bool(rng.random() < 0.1), "sympathy": float(rng.choice([0.0, 0.04, 0.1])),
        "room": float(rng.choice([0.0, 0.05, 0.15])),
    }  # fmt: skip


THIRD = draw("a", 31, ("fluid", "tim")) + draw("b", 32, ("fluid", "tim"))
FOURTH = draw("c", 41, ("fluid", "tim")) + draw("d", 42, ("fluid", "tim"))
FIFTH = draw("x", 97, ("muse",)) + draw("y", 98, ("muse", "fluid", "tim"))
SIXTH = draw_wide("e", 61, ("fluid", "tim", "muse"))
SEVENTH = draw_wide("m", 271, ("fluid", "tim", "muse"))
EIGHTH = draw_wide("n", 372, ("fluid", "tim", "muse"))
NINTH = draw_wide("o", 473, ("fluid", "tim", "muse"))
LAST = draw_wide("u", 815, ("fluid", "tim", "muse"))
# Combs alone.
COMBS = [spec for spec in draw_wide("s", 614, ("fluid", "tim", "muse")) if spec[0] is plucked]
# Turns alone.
TURNS = [
    spec
    for letter, seed in (("r", 711), ("s", 712))
    for spec in draw_wide(letter, seed, ("fluid", "tim", "muse"))
    if spec[0] is turn
]
WEAK = draw_weak("v", 571, ("fluid", "tim", "muse"))
WEAK_UNSEEN = draw_weak("w", 713, ("fluid", "tim", "muse"))
