"""How each pitch of the comb rings in this recording: its exact frequency and how fast it dies away.

Read from the strikes already found, each from what follows it until something else of the same pitch begins. With the
exact frequency ringing is carried on exactly, so that nothing seems to begin where nothing does; and what begins can be
held against how its tooth usually sounds: a partial of another tooth stands some cents off and dies away sooner.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.listen.sound.audio import FloatArray
from disc.listen.sound.bands import ComplexArray, Whole, band
from disc.listen.turn.place.tones import CLOSE_SEMITONES, Tones

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# What follows a strike is read over so long, and no less than so long.
LONGEST_S, SHORTEST_S = 0.35, 0.09
# Half the distance to the next pitch, within these: wider lets the neighbour in, narrower blurs the strike.
NARROWEST_HZ, WIDEST_HZ = 12.0, 60.0
# What rang before must be weaker than this against what rings after, or its phase is in the way.
MOST_BEFORE = 0.35
FARTHEST_CENTS = 20.0  # a refined frequency lies no farther from the line of the spectrum
FEWEST = 3  # strikes that a tooth's own offset is taken from; chosen by hand


@dataclass(frozen=True)
class Trait:
    """How one beginning went on: cents off the pitch's frequency and fall in dB a second. level: its amplitude."""

    cents: float
    fall_db_s: float
    level: float


@dataclass(frozen=True)
class Strand:
    """The narrow band of one pitch: envelope at rate, centred on hz, blurred by blur_s."""

    hz: float
    envelope: ComplexArray
    rate: float
    blur_s: float

    def trait(self, time_s: float, end_s: float) -> Trait | None:
        """How what begins at time_s goes on until end_s; None where that cannot be told."""
        first = max(0, int((time_s + self.blur_s + 0.01) * self.rate) + 1)
        last = min(int((min(end_s, time_s + LONGEST_S) - self.blur_s) * self.rate), len(self.envelope))
        if (last - first) / self.rate < SHORTEST_S or last - first < 6:
            return None
        piece = self.envelope[first:last]
        size = np.abs(piece)
        at = max(0, int((time_s - self.blur_s - 0.01) * self.rate))
        before = float(np.abs(self.envelope[at]))
        level = float(size[: max(2, len(size) // 4)].mean())
        if level <= 0.0 or before > MOST_BEFORE * level:
            return None
        times = np.arange(len(piece)) / self.rate
        turn = float(np.polyfit(times, np.unwrap(np.angle(piece)), 1, w=size)[0]) / (2 * np.pi)
        fall = float(np.polyfit(times, 20 * np.log10(size + 1e-12), 1, w=size)[0])
        if self.hz + turn <= 0:
            return None
        return Trait(float(1200 * np.log2((self.hz + turn) / self.hz)), -fall, level)


def strand(whole: Whole, all_hz: FloatArray, hz: float) -> Strand:
    """The narrow band about hz that leaves out the other pitches of the comb."""
    apart = np.abs(all_hz - hz)
    near = apart[apart > 0.015 * hz]
    half = float(np.clip(0.5 * near.min() if len(near) else WIDEST_HZ, NARROWEST_HZ, WIDEST_HZ))
    envelope, rate = band(whole, hz, half)
    return Strand(hz, envelope, rate, 0.75 / half)


def refined(whole: Whole, tones: Tones, struck: Sequence[tuple[float, int]]) -> list[list[float]]:
    """The frequencies at which each group of teeth rings, from its strikes. struck: (time in s, tooth)."""
    rung = []
    for k, teeth in enumerate(tones.teeth):
        line = strand(whole, tones.hz, float(tones.hz[k]))
        mine = sorted((t, tooth) for t, tooth in struck if tooth in teeth)
        ends = [*(t for t, _ in mine[1:]), np.inf][: len(mine)]
        cents: dict[int, list[float]] = {}
        for (t, tooth), end in zip(mine, ends, strict=True):
            trait = line.trait(t, end)
            if trait is not None and abs(trait.cents) < FARTHEST_CENTS:
                cents.setdefault(tooth, []).append(trait.cents)
        off = sorted(float(np.median(c)) for c in cents.values() if len(c) >= FEWEST)
        every = [c for row in cents.values() for c in row]
        off = off or ([float(np.median(every))] if len(every) >= FEWEST else [])
        rung.append(_apart([float(tones.hz[k] * 2 ** (c / 1200)) for c in off]) if off else list(tones.rung_hz[k]))
    return rung


def _apart(frequencies: list[float]) -> list[float]:
    """Frequencies too near to be told apart become one."""
    kept: list[list[float]] = []
    for hz in frequencies:
        if kept and 12 * np.log2(hz / kept[-1][0]) < CLOSE_SEMITONES:
            kept[-1].append(hz)
        else:
            kept.append([hz])
    return [float(np.mean(row)) for row in kept]
