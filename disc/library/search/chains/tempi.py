"""At what tempo a print may lie on a disc: its own note lengths against the disc's, whatever they are written as.

How often each length stands in the disc's melody and in a print's are two rows of counts over the logarithm of time;
slid along each other they agree best at the print's tempo on the disc. No range of quarters is assumed: a tune written
in breves is as good as one in sixteenths.
"""

from __future__ import annotations

import numpy as np

from disc.library.records import FloatArray, IntArray
from disc.library.search.chains.chain import LEVELS, LEVELS_AN_OCTAVE, level_of

SMOOTH = np.array([0.25, 0.7, 1.0, 0.7, 0.25])  # twelfths of an octave to either side: pins are not exact
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
# Seconds of a quarter looked at: from a tune in breves on a quick disc to one in 32nds on a slow one.
QUICKEST_S, SLOWEST_S = 0.03, 8.0
APART = 3  # levels between two tempi of one print
_LOW, _HIGH = (int(np.rint(LEVELS_AN_OCTAVE * np.log2(s))) for s in (QUICKEST_S, SLOWEST_S))


def trial_tempi(disc_s: FloatArray, note_quarter: FloatArray, start: IntArray, most: int) -> FloatArray:
    """Seconds of a quarter of each print, likeliest first, shape (prints, most).

    disc_s: times from note to note of the disc's melody. note_quarter: those of all prints, end to end (the first note
    of each has 0). start: first note of each print, shape (prints + 1,).
    """
    heard = np.convolve(np.bincount(level_of(disc_s), minlength=LEVELS), SMOOTH, mode="same")
    prints = start.size - 1
    owner = np.repeat(np.arange(prints), np.diff(start))
    real = note_quarter > 0
    cell = owner[real] * LEVELS + level_of(note_quarter[real])
    lengths = np.bincount(cell, minlength=prints * LEVELS).reshape(prints, LEVELS).astype(np.float64)
    shifts = np.arange(_LOW, _HIGH + 1)
    # What the disc has at each printed length if a quarter lasts 2**(shift / 12) seconds; nothing beyond the levels.
    around = np.concatenate([np.zeros(LEVELS), heard, np.zeros(LEVELS)])
    slid = np.lib.stride_tricks.sliding_window_view(around, LEVELS)[LEVELS + shifts]
    agree = lengths @ slid.T
    out = np.empty((prints, most))
    row = np.arange(prints)
    for k in range(most):
        best = np.argmax(agree, axis=1)
        out[:, k] = 2.0 ** (shifts[best] / LEVELS_AN_OCTAVE)
        for near in range(-APART, APART + 1):
            agree[row, np.clip(best + near, 0, shifts.size - 1)] = -1.0
    return out
