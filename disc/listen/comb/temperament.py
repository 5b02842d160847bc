"""A comb's own temperament: its common pitch, and how far each tooth stands from the nearest scale.

The common pitch is the A that makes the deviations from equal semitones smallest (least absolute, so that a few teeth
out of tune do not drag it), and then the same is tried for other historic scales; the nearest is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.listen.sound.audio import FloatArray

# Cents above the tonic's own equal-tempered places for the twelve semitones from C, against equal temperament with A
# at zero after shifting. Equal by definition. Quarter-comma meantone: eleven fifths narrowed by a quarter of the
# syntonic comma (81/80), Eb to G#; Pythagorean: eleven pure fifths (3/2), Eb to G#; just: 5-limit ratios. Computed
# below from those definitions, not copied.
NAMES = ("equal", "quarter-comma meantone", "Pythagorean", "just (5-limit)", "sixth-comma meantone")
# Common pitch is sought this far about 440 Hz: history knows about 390 to 465 Hz (common practice, no source).
LOWEST_A_HZ, HIGHEST_A_HZ = 390.0, 470.0
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Another scale than the equal one is named only if it brings the usual deviation down by this share.
CLEARLY_NEARER = 0.6
# A scale on another tonic with its A a semitone off is the same scale: the A nearer 440 Hz is named.
FAR_CENTS = 3000.0
MOST_CENTS = 25.0  # a quarter tone off is out of tune in any scale


@dataclass(frozen=True)
class Temperament:
    """scale: the nearest one. tonic: pitch class it is built on (None for equal). a_hz: the common pitch.

    deviations_cents: by tooth, None where there is no pitch. usual_cents: median of their absolute values.
    """

    scale: str
    tonic: int | None
    a_hz: float
    deviations_cents: tuple[float | None, ...]
    usual_cents: float


def temperament_of(pitches: Sequence[float | None]) -> Temperament | None:
    """The nearest scale and common pitch. pitches: MIDI numbers with fractions. None with fewer than three."""
    known = np.array([p for p in pitches if p is not None], dtype=float)
    if len(known) < 3:
        return None
    best: tuple[float, str, int | None, float] | None = None
    for name in NAMES:
        for tonic in (None,) if name == "equal" else range(12):
            shift, usual = _fit(known, scale_cents(name, tonic or 0))
            cost = usual / (1.0 if name == "equal" else CLEARLY_NEARER) * (1.0 + abs(shift) / FAR_CENTS)
            if best is None or cost < best[0]:
                best = (cost, name, tonic, shift)
    assert best is not None
    _, name, tonic, shift = best
    scale = scale_cents(name, tonic or 0)
    deviations = [
        None if p is None else round(float(deviation_cents(np.array([p]), scale, shift)[0]), 2) for p in pitches
    ]
    usual = float(np.median([abs(d) for d in deviations if d is not None]))
    return Temperament(name, tonic, round(440.0 * 2 ** (shift / 1200.0), 2), tuple(deviations), round(usual, 2))


def scale_cents(name: str, tonic: int) -> FloatArray:
    """Deviation from equal temperament of the pitch classes C to B, cents, A at zero; shape (12,)."""
    fifth = {
        "equal": 700.0,
        "Pythagorean": 1200 * np.log2(3 / 2),
        "quarter-comma meantone": 1200 * np.log2(3 / 2) - 0.25 * 1200 * np.log2(81 / 80),
        "sixth-comma meantone": 1200 * np.log2(3 / 2) - 1200 * np.log2(81 / 80) / 6,
    }.get(name)
    if fifth is not None:
        # From three fifths below the tonic (Eb where it is C) to eight above (G#).
        above = {int(7 * k % 12): (k * fifth) % 1200.0 for k in range(-3, 9)}
    else:
        ratios = (1, 16 / 15, 9 / 8, 6 / 5, 5 / 4, 4 / 3, 45 / 32, 3 / 2, 8 / 5, 5 / 3, 9 / 5, 15 / 8)
        above = {k: 1200 * np.log2(r) for k, r in enumerate(ratios)}
    cents = np.array([above[(k - tonic) % 12] - 100.0 * ((k - tonic) % 12) for k in range(12)])
    cents = (cents + 600.0) % 1200.0 - 600.0
    return cents - cents[9]


def _fit(pitches: FloatArray, scale: FloatArray) -> tuple[float, float]:
    """(shift of A in cents, mean absolute deviation, a tooth counting MOST_CENTS at most) of the best common pitch."""
    shift = shift_of(pitches, scale)
    return shift, float(np.mean(np.minimum(np.abs(deviation_cents(pitches, scale, shift)), MOST_CENTS)))


def shift_of(pitches: FloatArray, scale: FloatArray) -> float:
    """The common pitch that suits a scale best: shift of A from 440 Hz in cents. pitches: MIDI numbers."""
    low, high = (1200 * np.log2(a / 440.0) for a in (LOWEST_A_HZ, HIGHEST_A_HZ))
    shifts = np.arange(low, high, 1.0)
    # Of shifts a semitone apart only the note names differ: the one nearest 440 Hz is taken first.
    costs = _mean_off(pitches, scale, shifts)
    order = np.argsort(costs.round(3) + 1e-6 * np.abs(shifts), kind="stable")
    near = shifts[order[0]]
    candidates = [s for s in shifts if costs[int(np.argmin(np.abs(shifts - s)))] < costs[order[0]] + 0.5]
    near = min(candidates, key=abs)
    fine = np.arange(near - 8.0, near + 8.0, 0.05)
    costs = _mean_off(pitches, scale, fine)
    return float(np.mean(fine[costs <= costs.min() + 1e-9]))


def _mean_off(pitches: FloatArray, scale: FloatArray, shifts: FloatArray) -> FloatArray:
    """The mean distance of the pitches from the scale's nearest notes at each shift, cents, shape of shifts."""
    places = np.sort(np.arange(0, 141) * 100.0 + scale[np.arange(0, 141) % 12])
    cents = pitches[:, None] * 100.0 - shifts[None, :]
    above = np.clip(np.searchsorted(places, cents), 1, len(places) - 1)
    return np.asarray(np.minimum(np.abs(cents - places[above - 1]), np.abs(cents - places[above])).mean(axis=0))


def deviation_cents(pitches: FloatArray, scale: FloatArray, shift: float) -> FloatArray:
    """Cents from the nearest note of a scale whose A is shifted."""
    notes = np.arange(0, 141)
    places = notes * 100.0 + scale[notes % 12] + shift
    cents = pitches * 100.0
    nearest = np.argmin(np.abs(cents[:, None] - places[None, :]), axis=1)
    return cents - places[nearest]
