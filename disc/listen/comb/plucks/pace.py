"""How the hand plucks: its pace from pluck to pluck, how pitches go from tooth to tooth, and what gap and step say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.listen.comb.plucks.pluck_start import LIVE_SCORE, SAME_PITCH_SEMITONES, PluckStart
from disc.listen.sound.audio import FloatArray

# Unless said otherwise: chosen by hand on drawn combs; not fitted.
SOONEST = -20.0  # the most that a pluck far too soon counts against it
FEWEST_STEPS, LEAST_STEP_SPREAD, WIDEST_SPREAD = 5, 1.5, 6.0  # steps, semitones: from which a comb has a course


@dataclass(frozen=True)
class PluckingPace:
    """How the hand plucks: seconds between plucks of one tooth and from tooth to tooth, and the spread of their
    logarithms. step, step_spread: semitones from one tooth to the next; None where pitches go anyhow."""

    within_s: float
    between_s: float
    spread: float
    step: float = 0.0
    step_spread: float | None = None


def pace_of(candidates: Sequence[PluckStart], plucks: int) -> tuple[bool, PluckingPace]:
    """(whether each tooth is plucked several times in a row, the hand's pace), from the ringing teeth alone."""
    live = [c for c in candidates if c.tone and c.score >= LIVE_SCORE - 2.0]
    times = np.array([c.time_s for c in live])
    pitches = np.array([c.pitch for c in live], dtype=float)
    gaps = np.diff(times)
    steps = np.diff(pitches)
    same = np.abs(steps) < SAME_PITCH_SEMITONES
    course = _course(steps if plucks == 1 else steps[~same])
    usual = float(np.median(gaps)) if len(gaps) else 1.0
    if plucks == 1 or not len(gaps) or same.mean() < 0.2:
        near = gaps[(gaps > 0.5 * usual) & (gaps < 1.6 * usual)] if len(gaps) else np.array([1.0])
        return plucks == 1, PluckingPace(usual, usual, _spread(near), *course)
    within = float(np.median(gaps[same]))
    other = gaps[~same]
    between = float(np.median(other[other < 2.2 * np.percentile(other, 25)])) if len(other) else within
    spread = _spread(gaps[same])
    return True, PluckingPace(within, between, spread, *course)


def _spread(gaps: FloatArray) -> float:
    logs = np.log(np.maximum(gaps, 1e-3))
    return float(np.clip(1.5 * np.median(np.abs(logs - np.median(logs))), 0.10, 0.5)) if len(gaps) else 0.3


def _course(steps: FloatArray) -> tuple[float, float | None]:
    """(usual step from tooth to tooth in semitones, its spread; None where most steps are wide or too few)."""
    if len(steps) < FEWEST_STEPS:
        return 0.0, None
    usual = float(np.median(steps))
    spread = float(1.5 * np.median(np.abs(steps - usual)))
    return usual, max(LEAST_STEP_SPREAD, spread) if spread < WIDEST_SPREAD else None


def gap_score(gap_s: FloatArray, usual_s: float, spread: float) -> FloatArray:
    """Log-likelihood of a gap. Zero at the usual gap; heavy-tailed above it, since a hand may pause, but hardly plucks
    much sooner than it is used to."""
    z = np.log(np.maximum(gap_s, 1e-3) / usual_s) / spread
    heavy = _heavy(z)
    return np.where(z < 0.0, np.minimum(heavy, np.maximum(SOONEST, -0.5 * z**2 + 2.0)), heavy)


def step_score(step: FloatArray, teeth: int, pace: PluckingPace) -> FloatArray:
    """Log-likelihood of a step in semitones over so many teeth, heavy-tailed; NaN, where a tooth has no tone, says
    nothing."""
    if pace.step_spread is None:
        return np.zeros(len(step))
    return np.nan_to_num(_heavy((step - teeth * pace.step) / (pace.step_spread * np.sqrt(teeth))))


def _heavy(z: FloatArray) -> FloatArray:
    return np.asarray(-2.5 * np.log1p(z**2 / 5.0))
