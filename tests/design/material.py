"""Invented combs and tunes for the tests and the bench. Everything is drawn from a generator passed in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.records import Comb, Plate, Side, Tooth, Turns

MAJOR = (0, 2, 4, 5, 7, 9, 11)
# Chromatic notes a "mixed" comb has first: raised fourth, flat seventh, raised first and fifth of the home key.
EXTRAS = (6, 10, 1, 8)


@dataclass(frozen=True)
class CombSpec:
    """lowest: MIDI number of the home note; octaves of the scale; extras: how many chromatic classes; teeth in all."""

    name: str
    teeth: int
    lowest: int
    scale_notes: int
    extras: int
    diameter_mm: float
    turns: Turns


# The lists of pitches were fixed before any tune was tried on them. Watches' combs lie high, about G4 to G7.
COMBS = (
    CombSpec("18 diatonic", 18, 72, 13, 0, 26.0, Turns.CLOCKWISE),
    CombSpec("22 mixed", 22, 67, 14, 2, 28.0, Turns.COUNTERCLOCKWISE),
    CombSpec("25 diatonic", 25, 67, 17, 0, 30.0, Turns.CLOCKWISE),
    CombSpec("30 mixed", 30, 65, 17, 3, 34.0, Turns.COUNTERCLOCKWISE),
)


def comb_pitches(spec: CombSpec) -> list[int]:
    """The scale, the chromatic extras of its middle octave, then second teeth from the middle outwards."""
    scale = [spec.lowest + 12 * (i // 7) + MAJOR[i % 7] for i in range(spec.scale_notes)]
    extras = [spec.lowest + 12 + step for step in EXTRAS[: spec.extras]]
    single = sorted(scale + extras)
    middle = spec.lowest + 14
    doubled = sorted(scale, key=lambda p: (abs(p - middle), p))[: spec.teeth - len(single)]
    return sorted(single + doubled)


def make_comb(spec: CombSpec, rng: np.random.Generator) -> tuple[Comb, Plate]:
    """Teeth in turn on both faces, each face's tracks spread evenly with some unevenness, tips on a slanting line."""
    plate = Plate(spec.diameter_mm, spec.turns, thickness_mm=1.0, bore_mm=3.0, rest_arc_deg=14.0)
    pitches = comb_pitches(spec)
    cents = rng.uniform(-25, 10)
    teeth = []
    for side_number, side in enumerate(Side):
        numbers = [i for i in range(len(pitches)) if i % 2 == side_number]
        inner, outer = 0.30 * plate.radius_mm, 0.92 * plate.radius_mm
        step = (outer - inner) / (len(numbers) - 1)
        radii = inner + step * (np.arange(len(numbers)) + rng.uniform(-0.15, 0.15, len(numbers)))
        if side_number == 0:
            radii = radii[::-1]
        angles = rng.uniform(0, 360) + rng.choice([-1, 1]) * rng.uniform(3.0, 5.0) * np.arange(len(numbers))
        for number, r, angle in zip(numbers, radii, angles, strict=True):
            pitch = pitches[number] + (cents + rng.normal(0, 5)) / 100
            teeth.append(Tooth(number + 1, side, round(float(r), 3), round(float(angle % 360), 2), round(pitch, 2)))
    return Comb(tuple(sorted(teeth, key=lambda t: t.number))), plate
