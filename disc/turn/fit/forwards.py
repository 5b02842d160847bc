"""Whether a melody runs forwards: what its turns of pitch and rhythm, its beginning and its end say of it.

A line is cut into steps of two to four notes: degrees of the scale, intervals, changes of length, and some of these
together (GROUPS). Each kind of step carries a weight, positive where printed melodies have it oftener than the same
melodies played backwards: a logistic regression over the steps of several thousand printed tunes and of their
reversals. The sum is the log-odds of running forwards; of the reversed line it is the same with the other sign.
Fitted by tests/bench/fit/fit_forwards.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from disc.fitted import fitted_part
from disc.frame import FloatArray

IntArray = npt.NDArray[np.int64]

FITTED, STEPS = Path(__file__).with_name("forwards.json"), "steps"
# Intervals of -7 to 7 semitones, changes of length by a quarter to four times; chosen.
DEGREES, INTERVALS, LENGTHS = 12, 15, 5
# So often a step counts as its number to this power: a strain played twice says little more than once. Chosen by hand.
AGAIN = 0.7
GROUP = 10**7  # more than any step's number within its group: 12 ** 4 and 12 ** 3 * 5 are the largest, exact
GROUPS = (
    *("2 degrees", "3 degrees", "4 degrees", "3 lengths", "4 lengths", "2 intervals and a length"),
    *("a degree and its length", "3 degrees and a length", "first", "first two", "last", "last two"),
    *("lengths at the beginning", "lengths at the end"),
)


@dataclass(frozen=True, slots=True)
class Steps:
    """Numbers of kinds of steps, ascending, and the weight of each, (n,)."""

    number: IntArray
    weight: FloatArray


@cache
def load_steps() -> Steps:
    """The fitted weights, by group in the file."""
    content = fitted_part(FITTED, STEPS)
    number = [GROUP * k + np.array(content[name]["step"], np.int64) for k, name in enumerate(GROUPS)]
    weight = [np.array(content[name]["weight"], float) for name in GROUPS]
    return Steps(np.concatenate(number), np.concatenate(weight))


def forwards_odds(when: FloatArray, pitch: IntArray, fifths: int) -> float:
    """Log-odds that this line runs forwards. when: ascending, shape (n,), any unit; pitch: whole; n: 4 at least."""
    return odds_by(load_steps(), when, pitch, fifths)


def odds_by(steps: Steps, when: FloatArray, pitch: IntArray, fifths: int) -> float:
    """The same by other weights than the shipped ones."""
    number, more = steps_forwards(when, pitch, fifths)
    at = np.minimum(np.searchsorted(steps.number, number), len(steps.number) - 1)
    known = steps.number[at] == number
    return float(more[known] @ steps.weight[at[known]])


def steps_forwards(when: FloatArray, pitch: IntArray, fifths: int) -> tuple[IntArray, FloatArray]:
    """(numbers of the line's steps, how much oftener each is met forwards than backwards, put to AGAIN)."""
    ways = _steps(when, pitch, fifths), _steps(-when[::-1], pitch[::-1], fifths)
    number, at = np.unique(np.concatenate(ways), return_inverse=True)
    sign = np.repeat([1.0, -1.0], [len(ways[0]), len(ways[1])])
    more = np.bincount(at, sign)
    return number[more != 0], np.sign(more[more != 0]) * np.abs(more[more != 0]) ** AGAIN


def _steps(when: FloatArray, pitch: IntArray, fifths: int) -> IntArray:
    """The number of every step of a line, one after the other in the order of GROUPS."""
    degree = np.asarray((pitch - 7 * fifths) % DEGREES, np.int64)
    half = INTERVALS // 2
    step = np.clip(np.diff(pitch), -half, half).astype(np.int64) + half
    length = np.diff(when)
    most = LENGTHS // 2
    change = np.clip(np.rint(np.log2(length[1:] / length[:-1])), -most, most).astype(np.int64) + most
    of_degrees, of_lengths = (degree, DEGREES), (change, LENGTHS)
    found = (
        *(_run(*of_degrees, many) for many in (2, 3, 4)),
        *(_run(*of_lengths, many) for many in (3, 4)),
        (step[:-1] * INTERVALS + step[1:]) * LENGTHS + change,
        degree[1:-1] * LENGTHS + change,
        _run(*of_degrees, 3) * LENGTHS + change,
        degree[:1],
        _run(*of_degrees, 2)[:1],
        degree[-1:],
        _run(*of_degrees, 2)[-1:],
        _run(*of_lengths, 2)[:1],
        _run(*of_lengths, 2)[-1:],
    )
    return np.concatenate([GROUP * k + numbers for k, numbers in enumerate(found)])


def _run(values: IntArray, kinds: int, many: int) -> IntArray:
    """One number for each so many values that follow one another."""
    number = np.zeros(max(len(values) - many + 1, 0), np.int64)
    for k in range(many):
        number = number * kinds + values[k : k + len(number)]
    return number
