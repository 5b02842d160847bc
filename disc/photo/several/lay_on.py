"""How the marks of one photograph of a face lie on another's: at which turn, and how many of them.

Both are in millimetres about the disc's middle, seen from the same side; only the turn between them is not known. Every
pair of marks at one radius votes for the turn that lays one on the other; the turns with the most votes are made exact
on the marks that then meet, and the one at which the most meet is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FULL_TURN_DEG, FloatArray

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Two readings of one pin, each in its own plane: radii differ by less than this, and laid on one another they meet.
REACH_MM, MEET_MM = 0.25, 0.15
STEP_DEG, TRIED = 0.5, 8  # of the votes, and how many of the best turns are made exact
# Two photographs of a face share two thirds of their marks and more, two faces a fifth at their best turn (21 and 3 of
# 24 pairs of rendered photographs that no network was trained on; what lay between was a rim misread):
# from this part on, and this many, they are one face.
SAME_FACE, FEWEST = 0.5, 6


@dataclass(frozen=True, slots=True)
class LaidPhoto:
    """turn_rad: by which the second marks are turned to lie on the first; share: the part of the smaller set that then
    meets; pairs (k, 2): which of the first meets which of the second."""

    turn_rad: float
    share: float
    pairs: npt.NDArray[np.int_]

    @property
    def fits(self) -> bool:
        """Whether both are of one face."""
        return self.share >= SAME_FACE and len(self.pairs) >= FEWEST


def lay_on(first: FloatArray, second: FloatArray) -> LaidPhoto:
    """first (n, 2), second (m, 2), mm."""
    a, b = _as_complex(first), _as_complex(second)
    best = LaidPhoto(0.0, 0.0, np.zeros((0, 2), int))
    if not len(a) or not len(b):
        return best
    for turn in _turns(a, b):
        pairs = _meeting(a, b * np.exp(1j * turn), 2 * MEET_MM)
        for reach in (2 * MEET_MM, MEET_MM, MEET_MM):
            if not len(pairs):
                break
            # The turn by which all pairs together come nearest.
            turn = float(np.angle(np.sum(a[pairs[:, 0]] * np.conj(b[pairs[:, 1]]))))
            pairs = _meeting(a, b * np.exp(1j * turn), reach)
        share = len(pairs) / min(len(a), len(b))
        if share > best.share:
            best = LaidPhoto(turn, share, pairs)
    return best


def _as_complex(mm: FloatArray) -> npt.NDArray[np.complex128]:
    return np.asarray(mm[:, 0] + 1j * mm[:, 1], np.complex128)


def _turns(a: npt.NDArray[np.complex128], b: npt.NDArray[np.complex128]) -> FloatArray:
    """The likely turns, rad, the most voted first."""
    i, j = np.nonzero(np.abs(np.abs(a)[:, None] - np.abs(b)) < REACH_MM)
    n = int(FULL_TURN_DEG / STEP_DEG)
    votes = np.bincount(((np.angle(a[i] * np.conj(b[j])) / (2 * np.pi) % 1.0) * n).astype(int) % n, minlength=n)
    votes = votes + np.roll(votes, 1) + np.roll(votes, -1)
    peak = votes >= np.maximum(np.roll(votes, 1), np.roll(votes, -1))
    order = np.argsort(-np.where(peak, votes, -1), kind="stable")[:TRIED]
    return np.radians((order + 0.5) * STEP_DEG)


def _meeting(a: npt.NDArray[np.complex128], b: npt.NDArray[np.complex128], reach_mm: float) -> npt.NDArray[np.int_]:
    """Pairs that are each other's nearest, and so near."""
    gap = np.abs(a[:, None] - b)
    j = gap.argmin(1)
    i = np.arange(len(a))
    keep = (gap[i, j] < reach_mm) & (gap.argmin(0)[j] == i)
    return np.stack([i[keep], j[keep]], 1)
