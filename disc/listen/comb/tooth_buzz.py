"""How likely a tooth buzzes: many weak signs, each against what the comb's other teeth of like pitch show.

A tooth that touches its damper, or is cracked, adds noise and whole multiples of its tone, strongest at first; it
trembles; and it rings shorter. What is usual depends on the instrument, the room and the microphone, and changes along
the comb: so each sign is held against a straight line through the nearest teeth in pitch, and its excess against how
far the comb's own teeth stray. None of the signs is sure alone: strings have harmonics, ticks leave noise, teeth ring
unalike. What each sign weighs was fitted (fitted.json).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np

from disc.fitted import fitted_part
from disc.listen.comb.tooth_cleanness import Cleanness, PartialLevels
from disc.listen.sound.audio import FloatArray

FITTED = Path(__file__).with_name("fitted.json")
NEAREST = 6  # teeth in pitch that say what is usual; 4 did worse, 8 alike
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# The line's slope is held back as if two more teeth an octave's third away lay level; strays count by Cauchy's weight.
SLOPE_SEMITONES, SLOPE_RIDGE, LEAST_STRAY, STEPS = 4.0, 1.0, 1.0, 4
ONE_SIDED = 0.6  # at a comb's end the line is led on beyond its teeth: so much of their way lies to one side
ROOM_MARGIN_DB = 1.0  # a window's own noise strays about the room's average; less above it is not counted
LOW_HARMONICS = 7  # 2 to 8 times the tone
STEADY = 3  # so many bands or harmonics must be raised at least as much
SIGNS = (
    *(f"{window} {sign}" for window in ("first", "ring")
      for sign in ("between", "raised", "low", "high", "halfway", "whole")),
    "tremble", "partial tremble", "in step", "quick",
)  # fmt: skip
# Least spreads of the signs among a recording's teeth: dB, and the natural logarithm of the ring time.
LEAST_SPREADS = np.array([2.5] * (len(SIGNS) - 1) + [0.05])
HIGHEST = 8.0  # spreads beyond which a sign counts no more; chosen by hand
# What sounds in the first moments only is a tick: those signs count little beyond the others.
FIRST_SIGNS, FIRST_ALONE = 6, 1.0
# Judged by a fit to the other instruments, precision and recall are .80 each over 0.3; on five drawn sets with the
# grosser buzzes of the first four ways precision fell short of recall at 0.3.
LIKELY = 0.35


def buzz_probability(signs: FloatArray) -> FloatArray:
    """Probability that each tooth buzzes, shape (teeth,). signs: shape (teeth, 16), from buzz_signs()."""
    return np.asarray(1.0 / (1.0 + np.exp(-_log_odds(raised_signs(signs)))))


def _log_odds(raised: FloatArray) -> FloatArray:
    weights, offset = _fitted()
    return np.asarray(raised @ weights + offset)


@cache
def _fitted() -> tuple[FloatArray, float]:
    part = fitted_part(FITTED, "buzz")
    return np.array([part["weights"][sign] for sign in SIGNS]), part["offset"]


def raised_signs(signs: FloatArray) -> FloatArray:
    """How far each sign is raised, in spreads of the recording's own teeth, 0 to HIGHEST; shape (teeth, 16)."""
    middle = np.median(signs, axis=0)
    spread = np.maximum(1.4826 * np.median(np.abs(signs - middle), axis=0), LEAST_SPREADS)
    raised = np.clip((signs - middle) / spread, 0.0, HIGHEST)
    first, later = raised[:, :FIRST_SIGNS], raised[:, FIRST_SIGNS:]
    first = np.minimum(first, later.max(axis=1, keepdims=True) + FIRST_ALONE)
    return np.asarray(np.hstack([first, later]))


def buzz_signs(teeth: Sequence[Sequence[Cleanness]], pitches: FloatArray, t60_s: FloatArray) -> FloatArray:
    """By how much each tooth stands over its like, shape (teeth, 16), in the order of SIGNS: dB; the last one the
    natural logarithm of how much sooner it dies away.

    teeth: for each its plucks; the cleaner pluck counts, since a knock may spoil one. pitches, t60_s: shape (teeth,).
    """
    columns = []
    for window in ("first", "ring"):
        levels = [[getattr(c, window) for c in plucks] for plucks in teeth]
        columns += _signs_of_window(levels, pitches)
    tremble = _excess(_floored([[(c.tremble, c.tremble_room) for c in plucks] for plucks in teeth]), pitches)
    others = [
        _cleaner([[np.array([getattr(c, name)]) for c in plucks] for plucks in teeth])
        for name in ("partial_tremble", "in_step")
    ]
    columns.append(_nth(tremble, 1))
    columns += [np.nan_to_num(_excess(values, pitches)[:, 0]) for values in others]
    columns.append(np.nan_to_num(_excess(-np.log(np.maximum(t60_s, 1e-3))[:, None], pitches)[:, 0]))
    return np.array(columns).T


def _signs_of_window(levels: Sequence[Sequence[PartialLevels]], pitches: FloatArray) -> list[FloatArray]:
    def excess(name: str, room: str) -> FloatArray:
        rows = [[(getattr(w, name), getattr(w, room)) for w in plucks] for plucks in levels]
        return _excess(_floored(rows), pitches)

    between = excess("between", "between_room")
    harmonics = excess("harmonics", "harmonics_room")
    return [
        _usual(between), _nth(between, STEADY),
        _nth(harmonics[:, :LOW_HARMONICS], STEADY), _usual(harmonics[:, LOW_HARMONICS:]),
        _usual(excess("halfway", "harmonics_room")), _usual(excess("whole", "whole_room")),
    ]  # fmt: skip


def _floored(teeth: Sequence[Sequence[tuple[FloatArray, FloatArray]]]) -> FloatArray:
    """Levels by tooth, the cleaner pluck, and none below what the room lets through; shape (teeth, bands)."""
    return _cleaner([[np.maximum(level, room + ROOM_MARGIN_DB) for level, room in plucks] for plucks in teeth])


def _cleaner(teeth: Sequence[Sequence[FloatArray]]) -> FloatArray:
    return np.array([np.fmin.reduce(np.array(plucks), axis=0) for plucks in teeth])


def _excess(levels: FloatArray, pitches: FloatArray) -> FloatArray:
    """Levels less what a line through the nearest teeth in pitch says; nan where fewer than two of those are heard.

    levels: shape (teeth, bands), nan where not heard. The line is fitted by least squares, reweighted so that a
    neighbour that buzzes itself hardly counts; at the comb's ends their median counts if it is higher.
    """
    apart = np.abs(pitches[:, None] - pitches[None])
    np.fill_diagonal(apart, np.inf)
    nearest = np.argsort(apart, axis=1, kind="stable")[:, : min(NEAREST, len(pitches) - 1)]
    x = ((pitches[nearest] - pitches[:, None]) / SLOPE_SEMITONES)[:, :, None]
    values = levels[nearest]
    heard = np.isfinite(values)
    y = np.where(heard, values, 0.0)
    stray = np.where(heard, y - _median(values)[:, None], 0.0)
    at = np.zeros_like(levels)
    for _ in range(STEPS):
        reach = np.maximum(1.4826 * _median(np.where(heard, np.abs(stray), np.nan)), LEAST_STRAY)[:, None]
        weight = heard / (1.0 + (stray / (2.0 * reach)) ** 2)
        s, sx, sxx = weight.sum(1), (weight * x).sum(1), (weight * x * x).sum(1) + SLOPE_RIDGE
        sy, sxy = (weight * y).sum(1), (weight * x * y).sum(1)
        whole = s * sxx - sx**2 + 1e-9
        at, slope = (sxx * sy - sx * sxy) / whole, (s * sxy - sx * sy) / whole
        stray = np.where(heard, y - at[:, None] - slope[:, None] * x, 0.0)
    one_sided = np.abs(x.mean(axis=1)) > ONE_SIDED * np.abs(x).mean(axis=1)
    at = np.where(one_sided, np.maximum(at, _median(values)), at)
    return np.where(heard.sum(axis=1) >= 2, levels - at, np.nan)


def _median(values: FloatArray) -> FloatArray:
    """Median over the second axis of what is heard; 0 where nothing is."""
    missing = np.asarray(~np.isfinite(values).any(axis=1))
    filled = np.where(missing[:, None], 0.0, values)
    return np.asarray(np.nanmedian(filled, axis=1))


def _usual(excess: FloatArray) -> FloatArray:
    return _median(excess[:, :, None])[:, 0]


def _nth(excess: FloatArray, n: int) -> FloatArray:
    """The n-th largest of each row; 0 where fewer are heard."""
    ranked = np.sort(np.where(np.isfinite(excess), excess, -np.inf), axis=1)[:, ::-1]
    return np.where(np.isfinite(ranked[:, n - 1]), ranked[:, n - 1], 0.0)
