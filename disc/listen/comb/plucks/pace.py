"""How the hand plucks: its pace from pluck to pluck and from tooth to tooth, and what a gap says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.listen.comb.plucks.pluck_start import LIVE_SCORE, SAME_PITCH_SEMITONES, PluckStart
from disc.listen.sound.audio import FloatArray


@dataclass(frozen=True)
class PluckingPace:
    """How the hand plucks: seconds between plucks of one tooth and from tooth to tooth, and the spread of their
    logarithms."""

    within_s: float
    between_s: float
    spread: float


def pace_of(candidates: Sequence[PluckStart], plucks: int) -> tuple[bool, PluckingPace]:
    """(whether each tooth is plucked several times in a row, the hand's pace), from the ringing teeth alone."""
    live = [c for c in candidates if c.tone and c.score >= LIVE_SCORE - 2.0]
    times = np.array([c.time_s for c in live])
    pitches = np.array([c.pitch for c in live], dtype=float)
    gaps = np.diff(times)
    same = np.abs(np.diff(pitches)) < SAME_PITCH_SEMITONES
    usual = float(np.median(gaps)) if len(gaps) else 1.0
    if plucks == 1 or not len(gaps) or same.mean() < 0.2:
        near = gaps[(gaps > 0.5 * usual) & (gaps < 1.6 * usual)] if len(gaps) else np.array([1.0])
        return plucks == 1, PluckingPace(usual, usual, _spread(near))
    within = float(np.median(gaps[same]))
    other = gaps[~same]
    between = float(np.median(other[other < 2.2 * np.percentile(other, 25)])) if len(other) else within
    spread = _spread(gaps[same])
    return True, PluckingPace(within, between, spread)


def _spread(gaps: FloatArray) -> float:
    logs = np.log(np.maximum(gaps, 1e-3))
    return float(np.clip(1.5 * np.median(np.abs(logs - np.median(logs))), 0.10, 0.5)) if len(gaps) else 0.3


def gap_score(gap_s: FloatArray, usual_s: float, spread: float) -> FloatArray:
    """Log-likelihood of a gap, heavy-tailed: a hand may pause. Zero at the usual gap."""
    z = np.log(np.maximum(gap_s, 1e-3) / usual_s) / spread
    return -2.5 * np.log1p(z**2 / 5.0)
