"""Grace notes, slides, turns, mordents and trills of the melody: quick notes close in pitch that lead to a note proper.

Comes in: the melody's strikes, before any grid is known, since ornaments keep no grid and would spoil it. Goes out: for
each ornament its strikes and the note it belongs to. A run of written notes may be as quick: quick_groups is a first
guess, without which the turn's grid is found; on that grid small_notes.py tells small from written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray

BoolArray = npt.NDArray[np.bool_]

# An ornament's notes follow each other, and lead to their note, within this; common practice, no source.
QUICK_S = (0.03, 0.118)
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
TOGETHER_S = 0.03  # two melody strikes closer than this are one double stop
# Semitones: of a single grace; from note to note; of a whole group. On 90 melodies of the tuning half with ornaments
# (bench/truth/music_turns.py) singles a third away or nearer were such in .55 of 244, wider ones in .04 of 26.
WIDEST_SINGLE, WIDEST_STEP, WIDEST_GROUP = 3, 4, 5
MOST_BEFORE = 4  # notes of a turn before its note
LEADING_S = 0.135  # of a small note from its note; QUICK_S and a setting error, chosen
LEAST_TRILL = 6  # notes from which it is a trill; common practice, no source
# The note proper lasts longer than what leads to it, and the ornament comes after a pause as long at least.
# On the same melodies a single note that lasts half as long as the next, or longer, was an ornament in .16 of 25, a
# group whose notes last a third of it or longer in .15 of 19.
LONGER_AFTER, LONGER_AFTER_GROUP, LONGER_BEFORE = 2.0, 3.0, 1.2
RUN_ALIKE = 0.2  # a group as quick as the turn's fast runs, to this share, is a piece of one
GAP_SPREAD_S = 0.025  # one gap's: the ornaments' own and two setting errors
SLACK_S = 0.004  # by which gaps may differ from a step of the grid besides; chosen by hand
ERRORS = 2.0  # of the mean gap, within which it is a step of the grid; chosen by hand
# Chance of being melody from which a strike may be a small note of it. On 60 melodies of the tuning half with ornaments
# 237 of 337 candidates were such; from 0.1 on 202 of 300, from none on 250 of 420.
LEAST_MELODY = 0.01
# of the mean gap, at most off a step; how much slower than QUICK_S steps are asked. By hand
NEAR_SHARE, SLOWER = 0.15, 1.2
WRITTEN_PARTS = (2, 3, 4, 6, 8)  # of a known quarter


@dataclass(frozen=True, slots=True)
class Ornament:
    """graces: strikes by index, in order of time; note: the strike they belong to."""

    graces: tuple[int, ...]
    note: int


def quick_groups(onset_s: FloatArray, pitch: FloatArray, is_melody: BoolArray) -> list[Ornament]:
    """All that may be ornaments. onset_s in order, shape (n,) each; strikes of rolls must not be counted as melody."""
    line = _line(onset_s, pitch, is_melody)
    made: list[Ornament] = []
    runs_s: list[float] = []
    for first, last in _chains(onset_s, line):
        chain = line[first : last + 1]
        gaps = np.diff(onset_s[chain])
        if len(chain) >= LEAST_TRILL:
            if _is_trill(pitch[chain]):
                made.append(Ornament(tuple(chain[1:]), chain[0]))
            else:
                runs_s.append(float(gaps.mean()))
            continue
        after = float(onset_s[line[last + 1]] - onset_s[chain[-1]]) if last + 1 < len(line) else np.inf
        before = float(onset_s[chain[0]] - onset_s[line[first - 1]]) if first else np.inf
        graces = _leading(onset_s[chain], pitch[chain], before, after)
        if graces:
            made.append(Ornament(tuple(chain[-1 - graces : -1]), chain[-1]))
    return [o for o in made if not any(abs(_gap_s(o, onset_s) / run - 1.0) < RUN_ALIKE for run in runs_s)]


def _leading(onset_s: FloatArray, pitch: FloatArray, before_s: float, after_s: float) -> int:
    """How many notes of a chain lead to its last; the most that can. The note before them may be near as well."""
    gaps = np.diff(onset_s)
    for start in range(len(pitch) - 1):
        here = gaps[start:]
        pause = before_s if start == 0 else float(gaps[start - 1])
        longer = LONGER_AFTER if len(here) == 1 else LONGER_AFTER_GROUP
        long_enough = after_s >= longer * here.mean() and pause >= LONGER_BEFORE * here[0]
        if len(here) <= MOST_BEFORE and long_enough and _is_close(pitch[start:]):
            return len(here)
    return 0


def with_leading(onset_s: FloatArray, pitch: FloatArray, is_melody: BoolArray, may_be: BoolArray) -> BoolArray:
    """The melody (is_melody) with single strikes that lead to one of its notes in haste, close in pitch and with none
    beside them: an accompaniment has no such notes, and what tells voices apart knows long notes best. may_be: which
    are no sure accompaniment.
    """
    made = is_melody.copy()
    count = len(onset_s)
    for i in reversed(range(count - 1)):
        alone = (i == 0 or onset_s[i] - onset_s[i - 1] > TOGETHER_S) and onset_s[i + 1] - onset_s[i] > TOGETHER_S
        if made[i] or not alone or not may_be[i]:
            continue
        near = [j for j in range(i + 1, min(count, i + 4)) if onset_s[j] - onset_s[i] <= QUICK_S[1] and made[j]]
        made[i] = bool(near) and 0 < abs(pitch[near[0]] - pitch[i]) <= WIDEST_STEP
    return made


def _line(onset_s: FloatArray, pitch: FloatArray, is_melody: BoolArray) -> list[int]:
    """The melody's strikes, of those that sound together the highest."""
    line: list[int] = []
    for index in np.flatnonzero(is_melody).tolist():
        if line and onset_s[index] - onset_s[line[-1]] < TOGETHER_S:
            if pitch[index] > pitch[line[-1]]:
                line[-1] = index
        else:
            line.append(index)
    return line


def _chains(onset_s: FloatArray, line: Sequence[int]) -> list[tuple[int, int]]:
    """(first, last) places in the line of notes that follow each other in haste, two at least."""
    found = []
    first = 0
    for place in range(1, len(line) + 1):
        if place < len(line) and onset_s[line[place]] - onset_s[line[place - 1]] <= QUICK_S[1]:
            continue
        if place - first >= 2:
            found.append((first, place - 1))
        first = place
    return found


def _is_close(pitch: FloatArray) -> bool:
    """Whether the notes go by steps (a single one by a fourth at most) and stay within a fourth."""
    steps = [abs(float(b - a)) for a, b in pairwise(pitch)]
    if len(steps) == 1:
        return 0 < steps[0] <= WIDEST_SINGLE
    return max(steps) <= WIDEST_STEP and min(steps) > 0 and float(np.ptp(pitch)) <= WIDEST_GROUP


def _is_trill(pitch: FloatArray) -> bool:
    """Two neighbouring pitches in turn, but for the last notes, which may close it."""
    body = pitch[:-2]
    step = abs(float(body[1] - body[0]))
    return 0 < step <= 2 and bool((body[2:] == body[:-2]).all())


def _gap_s(ornament: Ornament, onset_s: FloatArray) -> float:
    chain = sorted((*ornament.graces, ornament.note))
    return float(onset_s[chain[-1]] - onset_s[chain[0]]) / (len(chain) - 1)


def ornaments_of(
    onset_s: FloatArray, pitch: FloatArray, line: npt.NDArray[np.int64], small: BoolArray
) -> list[Ornament]:
    """The small notes of a line with the note proper that each group of them belongs to.

    line: strikes by index, in order; small: shape as line. The notes of a trill belong to the note before them, all
    others to the one they lead to, or in a hurry follow; what is near to neither is no ornament.
    """
    made: list[Ornament] = []
    edges = np.flatnonzero(np.diff(np.r_[False, small, False]))
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        group = line[first:end].tolist()
        before = int(line[first - 1]) if first else None
        after = int(line[end]) if end < len(line) else None
        shakes = before is not None and len(group) + 1 >= LEAST_TRILL and _is_trill(pitch[[before, *group]])
        leads = after is not None and onset_s[after] - onset_s[group[-1]] <= LEADING_S
        follows = before is not None and onset_s[group[0]] - onset_s[before] <= LEADING_S
        if shakes or (follows and not leads):
            made.append(Ornament(tuple(group), int(before or 0)))
        elif leads and after is not None:
            made.append(Ornament(tuple(group), after))
    return made


def told_from_written(groups: Sequence[Ornament], onset_s: FloatArray, quarter_s: float) -> list[Ornament]:
    """Those that keep no place of a quarter of known length.

    Singles and groups are judged each as a whole, by their mean haste against the quarter's parts: one gap alone tells
    little.
    """
    kept: list[Ornament] = []
    for kind in ([g for g in groups if len(g.graces) == 1], [g for g in groups if len(g.graces) > 1]):
        gaps = np.array([_gap_s(group, onset_s) for group in kind])
        if len(gaps) and not _is_written(gaps, [quarter_s / parts for parts in WRITTEN_PARTS]):
            kept += kind
    return kept


def _is_written(gaps_s: FloatArray, steps: Sequence[float]) -> bool:
    """Whether these gaps are on the whole as long as one of these steps."""
    within_s = ERRORS * GAP_SPREAD_S / np.sqrt(len(gaps_s)) + SLACK_S
    mean_s = float(gaps_s.mean())
    nearest = min((abs(mean_s - step) for step in steps if step <= QUICK_S[1] * SLOWER), default=np.inf)
    return nearest < min(within_s, NEAR_SHARE * mean_s + SLACK_S)
