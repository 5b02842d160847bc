"""How likely the onsets of a turn are under one guess at what moves them, and the likeliest guess.

What moves them: the course of the speed (one of several sizes and paces, with swings of wheels that are not round), the
onsets' own scatter, and how much pitches and pins differ in lateness.
Source: Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), equation 2.30.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.place.swing import Swing, likeliest_swings

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
ONSET_SPREADS_S = (0.001, 0.002, 0.004, 0.008, 0.012)  # sigmas tried of onsets about the motion; chosen by hand
# All strikes of a pitch may be late alike: a low tooth speaks late, a tip stands a little off its place.
PITCH_SPREADS_S = (0.0005, 0.002, 0.006, 0.02)
PIN_SPREADS_S = (0.0, 0.003, 0.006, 0.012)  # a pin's place on a photograph is off by 12 ms usually (strike_steps.py)


@dataclass(frozen=True)
class Onsets:
    """Strikes to lay a course through; shape (n,) each. residual_s: against a steady turn. moved: shape (courses, n,
    n), covariance of what each course that may be moves them by. swung: shape (swings, n, 2), what each swing, cosine
    and sine, moves them by. alike, again: shape (n, n), 1 where two have one pitch, one pin; again is None where no
    pin comes round again. doubt: by how much more than usual each onset's variance is."""

    residual_s: FloatArray
    turns: FloatArray
    moved: FloatArray
    swung: FloatArray
    alike: FloatArray | None
    again: FloatArray | None
    doubt: FloatArray

    def only(self, keep: npt.NDArray[np.bool_]) -> Onsets:
        """Some of them."""
        if keep.all():
            return self
        both = np.ix_(keep, keep)
        moved = np.array([m[both] for m in self.moved])
        alike = None if self.alike is None else self.alike[both]
        again = None if self.again is None else self.again[both]
        swung = self.swung[:, keep]
        return Onsets(self.residual_s[keep], self.turns[keep], moved, swung, alike, again, self.doubt[keep])


@dataclass(frozen=True)
class Guess:
    """What may move the onsets: index of the course, spread of single onsets and of the pitches' and the pins' own
    lateness, s; the swings that are taken."""

    course: int
    spread_s: float
    pitch_spread_s: float
    pin_spread_s: float = 0.0
    swings: tuple[Swing, ...] = ()


def likeliest(onsets: Onsets, before: Guess) -> Guess:
    """A likelier guess than the one before, one part of it after the other."""
    best = _best(onsets, [replace(before, spread_s=s) for s in ONSET_SPREADS_S])
    if onsets.alike is not None:
        best = _best(onsets, [replace(best, pitch_spread_s=p) for p in PITCH_SPREADS_S])
    if onsets.again is not None:
        best = _best(onsets, [replace(best, pin_spread_s=p) for p in PIN_SPREADS_S])
    plain = [replace(best, course=k, swings=()) for k in range(len(onsets.moved))]
    return min((_with_swing(onsets, guess) for guess in plain), key=lambda pair: pair[1])[0]


def _with_swing(onsets: Onsets, guess: Guess) -> tuple[Guess, float]:
    """(the guess with the swings that make the onsets clearly likelier, its cost)."""
    swings, nats = likeliest_swings(covariance(guess, onsets), onsets.residual_s, onsets.swung)
    return replace(guess, swings=swings), _cost(guess, onsets) - nats


def _best(onsets: Onsets, guesses: Sequence[Guess]) -> Guess:
    return min(guesses, key=lambda guess: _cost(guess, onsets))


def _cost(guess: Guess, onsets: Onsets) -> float:
    """Negative log-likelihood of the onsets, less a constant."""
    factor, _ = cho_factor(covariance(guess, onsets), lower=True, overwrite_a=True, check_finite=False)
    weights = cho_solve((factor, True), onsets.residual_s, check_finite=False)
    return 0.5 * float(onsets.residual_s @ weights) + float(np.sum(np.log(np.diag(factor))))


def covariance(guess: Guess, onsets: Onsets) -> FloatArray:
    """Covariance of the onsets under a guess, shape (n, n)."""
    total = onsets.moved[guess.course] + 1.0 + np.outer(onsets.turns, onsets.turns)
    total += np.diag(guess.spread_s**2 * onsets.doubt)
    for swing in guess.swings:
        total += swing.share**2 * (onsets.swung[swing.index] @ onsets.swung[swing.index].T)
    if onsets.again is not None and guess.pin_spread_s:
        total += guess.pin_spread_s**2 * onsets.again
    return total if onsets.alike is None else total + guess.pitch_spread_s**2 * onsets.alike
