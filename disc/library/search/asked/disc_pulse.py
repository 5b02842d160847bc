"""The disc's own grid: the steady pulse on which its strikes stand, found without knowing the tune.

A disc turns steadily, so its strikes stand at whole steps of one pulse, each a little off. Summing the strikes as unit
arrows that turn at a trial rate gives a long arrow where the rate is a pulse of the tune (a periodogram of events, the
Rayleigh test; from memory: Fisher, Statistical Analysis of Circular Data, 1993). On the grid a strike's place is a
whole number, and shapes of groups are exact again, which jitter would blur.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.library.records import FloatArray, IntArray

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
# Pulses looked for, per second: from a quarter at 70 a minute to sixteenths at 180 a minute.
SLOWEST_HZ, FASTEST_HZ = 1.2, 12.0
OVERSAMPLING = 4.0  # trial rates within the width of one peak


@dataclass(frozen=True, slots=True, eq=False)
class DiscPulse:
    """One pulse. place: whole step of each strike, shape (n,). step_s: seconds of a step. strength: 0 to 1.

    division: how many of its steps make one of the pulse that was found.
    """

    place: IntArray
    step_s: float
    start_s: float
    strength: float
    division: int = 1


def find_grids(onset_s: FloatArray, most: int) -> list[DiscPulse]:
    """The strongest pulses, strongest first; empty for fewer than four strikes."""
    if onset_s.size < 4:
        return []
    span = max(float(onset_s[-1] - onset_s[0]), 2.0)
    rates = np.arange(SLOWEST_HZ, FASTEST_HZ, 1.0 / (OVERSAMPLING * span))
    strength = _strength(onset_s - onset_s[0], rates)
    peaks = np.flatnonzero((strength[1:-1] >= strength[:-2]) & (strength[1:-1] > strength[2:])) + 1
    best = peaks[np.argsort(-strength[peaks], kind="stable")[:most]]
    return [_fitted(onset_s, float(rates[i]), float(strength[i])) for i in best]


# A pulse is divided only where the strikes keep to its parts at least this well; below, more than one in a hundred
# would be set to the wrong part (of Gaussian errors: exp(-2 pi**2 s**2) = 0.5 at s = 0.19 steps).
FIRM = 0.5
FINEST = 4  # parts a pulse is divided into at most (chosen, not fitted)
CLEARLY_LESS = 0.6  # of the error that the whole pulse seems to have, or it is not divided; chosen by hand
PULSES_FOUND = 8  # among which unlike ones are sought
SAME_STEP = 0.01  # steps this near, relative to each other, are one
LIKE = 0.04  # rates this near a whole multiple of another, relative to it, are the same pulse


def divided(onset_s: FloatArray, grid: DiscPulse) -> DiscPulse:
    """The pulse in halves, thirds or quarters where strikes stand on them as exactly as on the pulse itself.

    Errors of s steps leave an arrow of exp(-2 pi**2 s**2 k**2) at k times the rate. Where strikes stand between the
    steps, the pulse itself makes them seem large and its parts do not; a part is taken only if they seem clearly less,
    since on a finer grid than there is the same errors set strikes wrong.
    """
    turn = 2j * np.pi * (onset_s - grid.start_s) / grid.step_s
    strength = {k: float(abs(np.exp(k * turn).mean())) for k in range(1, FINEST + 1)}
    seeming = {k: -np.log(max(s, 1e-9)) / k**2 for k, s in strength.items() if k == 1 or s >= FIRM}
    best = min(seeming, key=lambda k: (k > 1 and seeming[k] > CLEARLY_LESS * seeming[1], seeming[k], k))
    return in_parts(onset_s, grid, best)


def in_parts(onset_s: FloatArray, grid: DiscPulse, parts: int) -> DiscPulse:
    """The pulse in so many parts, whether strikes stand on them or not."""
    step_s = grid.step_s / parts
    place = np.round((onset_s - grid.start_s) / step_s).astype(np.int64)
    strength = float(abs(np.exp(2j * np.pi * (onset_s - grid.start_s) / step_s).mean()))
    return DiscPulse(place, step_s, grid.start_s, strength, parts)


# Pulses by strength and the parts they are taken in where the likeliest pulses led to no tune. Of 300 severe discs
# (seed 131) the two likeliest pulses set seven tenths of the melody on its places in 91 %, these besides in 96 %; more
# pulses and parts, 97 %.
FURTHER = ((0, 2), (0, 4), (2, 2))


def further_grids(onset_s: FloatArray, tried: list[DiscPulse]) -> list[DiscPulse]:
    """More pulses to try, unlike those tried."""
    pulses = unlike(find_grids(onset_s, PULSES_FOUND), 1 + max(number for number, _ in FURTHER))
    grids = [in_parts(onset_s, pulses[number], parts) for number, parts in FURTHER if number < len(pulses)]
    steps = np.array([grid.step_s for grid in tried])
    return [grid for grid in grids if not (np.abs(grid.step_s / steps - 1.0) < SAME_STEP).any()]


def unlike(grids: list[DiscPulse], most: int) -> list[DiscPulse]:
    """The first grids of which none is a whole multiple or part of another."""
    kept: list[DiscPulse] = []
    for grid in grids:
        ratios = np.array([max(grid.step_s / other.step_s, other.step_s / grid.step_s) for other in kept])
        if len(kept) < most and (np.abs(ratios - np.round(ratios)) > LIKE).all():
            kept.append(grid)
    return kept


def _strength(onset_s: FloatArray, rates: FloatArray) -> FloatArray:
    """Length of the mean arrow at each rate; the arrows are turned step by step, which spares the exponentials."""
    arrow = np.exp(2j * np.pi * rates[0] * onset_s)
    block = 32
    step = 2j * np.pi * (rates[1] - rates[0]) * onset_s
    ramp, jump = np.exp(np.arange(block)[:, None] * step), np.exp(block * step)
    sums = []
    for _ in range(-(-rates.size // block)):
        sums.append(np.abs((ramp * arrow).sum(axis=1)))  # no matrix product: it would wake threads for a few strikes
        arrow = arrow * jump
    return np.concatenate(sums)[: rates.size] / onset_s.size


def _fitted(onset_s: FloatArray, rate: float, strength: float) -> DiscPulse:
    """Rate and phase drawn to the strikes by least squares; strikes far off the grid count little."""
    middle = float(onset_s.mean())
    t = onset_s - middle
    for _ in range(3):
        phase = float(np.angle(np.exp(2j * np.pi * rate * t).mean())) / (2 * np.pi)
        off = t * rate - phase
        off -= np.round(off)
        weight = np.exp(-((off / 0.25) ** 2))
        slope = float((weight * off * t).sum() / max((weight * t * t).sum(), 1e-9))
        rate -= slope
    phase = float(np.angle(np.exp(2j * np.pi * rate * t).mean())) / (2 * np.pi)
    place = np.round(t * rate - phase).astype(np.int64)
    first = int(place[0])
    return DiscPulse(place - first, 1.0 / rate, middle + (phase + first) / rate, strength)
