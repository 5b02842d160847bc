"""The course of the speed as the mean of all that may be, each weighed by how likely it makes the onsets.

How quickly the speed changes, and whether a wheel swings it, a turn of a hundred strikes seldom settles: the likeliest
single answer is often one of several that are nearly as likely, and takes the onsets' scatter for the disc's. So every
size and pace of the quicker part, with no swing more or with any one of those sought, gives its own course; their mean
is what is to be expected.
Source: Hoeting, Madigan, Raftery and Volinsky, Bayesian model averaging (Statistical Science 14, 1999), equation 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.place.swing import SHARES, Swing

SWING_CHANCE = 0.5  # before anything is heard, of one swing more than those that are clear; chosen


@dataclass(frozen=True)
class CourseGuess:
    """One course that may be. covariance: shape (n, n), of the onsets under it. pace: shape (grid, grid), of the change
    of pace. swings: those that are clear, held fixed."""

    covariance: FloatArray
    pace: FloatArray
    swings: tuple[Swing, ...]


def mean_course(
    courses: Sequence[CourseGuess], residual_s: FloatArray, sums: FloatArray, swings: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """(change of pace on the grid, shape (grid,); the weights by which lines follow from the onsets, shape (n,)).

    residual_s: shape (n,), against a steady turn. sums: shape (n, grid), adds the change up to each onset. swings:
    shape (swings, grid, 2), cosine and sine of every swing sought.
    """
    swung = sums @ swings
    logs, changes, weights = [], [], []
    for course in courses:
        log, weight, size = _with_any_swing(course, residual_s, swung)
        change = course.pace @ (sums.T @ weight.T)
        for swing in course.swings:
            change += swing.share**2 * (swings[swing.index] @ (swung[swing.index].T @ weight.T))
        dots = np.einsum("sij,rsi->rsj", swung, weight[1:].reshape(len(SHARES), len(swings), -1))
        more = np.einsum("sgj,rsj->rsg", swings, dots * size[:, None, None])
        change[:, 1:] += more.reshape(-1, change.shape[0]).T
        logs.append(log)
        changes.append(change)
        weights.append(weight)
    likely = np.concatenate(logs)
    likely = np.exp(likely - likely.max())
    likely /= likely.sum()
    return np.concatenate(changes, axis=1) @ likely, likely @ np.concatenate(weights)


def _with_any_swing(
    course: CourseGuess, residual_s: FloatArray, swung: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(log-probability, inverse covariance times residuals of no swing more and of each swing of each size, the sizes
    squared); shapes (1 + sizes * swings,), (1 + sizes * swings, n), (sizes,)."""
    _, size = np.linalg.slogdet(course.covariance)
    inverse = np.linalg.inv(course.covariance)
    plain = inverse @ residual_s
    cost = -0.5 * float(residual_s @ plain) - 0.5 * float(size)
    solved = np.einsum("ij,sjk->sik", inverse, swung)
    inner, dots = np.einsum("sij,sik->sjk", swung, solved), np.einsum("sij,i->sj", swung, plain)
    logs, weights = [np.array([cost + np.log(1.0 - SWING_CHANCE)])], [plain[None]]
    chance = np.log(SWING_CHANCE / (len(swung) * len(SHARES)))
    for share in SHARES:
        whole = np.eye(2)[None] / share**2 + inner
        says = np.linalg.solve(whole, dots[:, :, None])[:, :, 0]
        gain = 0.5 * np.einsum("sj,sj->s", dots, says) - 0.5 * np.log(np.linalg.det(whole * share**2))
        logs.append(cost + gain + chance)
        weights.append(plain[None] - np.einsum("sij,sj->si", solved, says))
    return np.concatenate(logs), np.concatenate(weights), np.square(SHARES)
