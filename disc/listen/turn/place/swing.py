"""Swings of the speed: a wheel that is not quite round hurries and slows the disc once in each of its own turns.

On the axis of the disc's own position such a swing is a pure tone. A few periods and sizes are tried against what the
smooth course leaves; each is a covariance of rank two (cosine and sine of unknown size), so that its likelihood follows
from the course's alone.
Source: Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), equations A.9 and A.10.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from disc.listen.sound.audio import FloatArray

# Periods sought, s: of the wheels next to the disc, which turn in some seconds; slower is the mainspring's, quicker the
# whirr's (whirr.py). Chosen; a sixth of the turn apart in frequency is finer than any can be told.
SHORTEST_S, LONGEST_S, FINER = 3.0, 25.0, 3.0
SHARES = (0.002, 0.004, 0.008, 0.016)  # of the speed; up to one in a hundred is heard as such. Common practice
# By how much likelier, in nats, the onsets must be: some hundred swings are tried, and one in a hundred of them by
# chance would be more than enough. Chosen.
LEAST_NATS, MOST = 3.0, 2


@dataclass(frozen=True)
class Swing:
    """One of swings_of, by index, and its usual size as a share of the speed."""

    index: int
    share: float


def swings_of(seconds: FloatArray) -> FloatArray:
    """Cosine and sine of every swing sought, shape (swings, n, 2). seconds: shape (n,), the disc's position in seconds
    of its mean speed."""
    length_s = float(seconds[-1] - seconds[0])
    count = max(2, int(FINER * length_s * (1.0 / SHORTEST_S - 1.0 / LONGEST_S)))
    phase = 2.0 * np.pi * np.linspace(1.0 / LONGEST_S, 1.0 / SHORTEST_S, count)[:, None] * seconds[None, :]
    return np.stack([np.cos(phase), np.sin(phase)], axis=2)


def likeliest_swings(
    covariance: FloatArray, residual_s: FloatArray, swung: FloatArray
) -> tuple[tuple[Swing, ...], float]:
    """(the swings under which the residuals are clearly likelier, the clearest first; by how much, in nats and less
    LEAST_NATS for each). covariance: shape (n, n), of the residuals without any; swung: shape (swings, n, 2), what each
    moves them by."""
    found: list[Swing] = []
    gained = 0.0
    total = covariance.copy()
    while len(found) < MOST:
        nats = _gains(total, residual_s, swung)
        index, size = np.unravel_index(int(np.argmax(nats)), nats.shape)
        if nats[index, size] < LEAST_NATS:
            break
        gained += float(nats[index, size]) - LEAST_NATS
        found.append(Swing(int(index), SHARES[int(size)]))
        total = total + SHARES[int(size)] ** 2 * (swung[index] @ swung[index].T)
    return tuple(found), gained


def _gains(covariance: FloatArray, residual_s: FloatArray, swung: FloatArray) -> FloatArray:
    """By how much likelier each swing of each size makes the residuals, nats; shape (swings, sizes)."""
    factor = cho_factor(covariance, lower=True)
    swings, count, _ = swung.shape
    columns = swung.transpose(1, 0, 2).reshape(count, 2 * swings)
    solved = cho_solve(factor, columns).reshape(count, swings, 2)
    inner = np.einsum("skj,ksi->sji", swung, solved)
    dots = np.einsum("k,ksi->si", residual_s, solved)
    gains = np.zeros((swings, len(SHARES)))
    for size, share in enumerate(SHARES):
        whole = np.eye(2)[None] / share**2 + inner
        says = np.einsum("si,si->s", dots, np.linalg.solve(whole, dots[:, :, None])[:, :, 0])
        gains[:, size] = 0.5 * (says - np.log(np.linalg.det(whole * share**2)))
    return gains
