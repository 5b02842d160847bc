"""What the rest of the tune says about one place: where else the music runs the same way, is this strike there?

Self-similarity at lags found from the disc itself. For a place x (time, pitch) and every lag of whole beats, the
strikes around x are laid over those around x + lag; where they agree beyond chance, the two places are taken for the
same material, with a probability. Each such place votes whether the strike at x belongs there. A wide window finds
strains played twice, a narrow one over the low strikes alone finds the figure of a running accompaniment.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.records import Comb, Strike
from disc.turn.bars import BarGrid, beat_lags_s

BoolArray = npt.NDArray[np.bool_]

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# Of strikes that belong to the same material, so many are found again: some pins are gone, some endings differ.
FOUND_AGAIN = 0.88
PRIOR_SAME = 0.05  # of two places a lag apart, before looking: dances repeat a bar about once in twenty lags
# Strikes within this many sigmas (of the difference of two) are the same place of the grid.
TOLERANCE_SIGMAS = 3.2
MOST_OF_BEAT, MOST_AND_S = 0.12, 0.03  # of the beat, and s more, that they may be apart at most
LARGEST_ODDS = 40  # log-odds beyond which the exponential would run over
# Votes count as if half a vote at the base rate had been cast before: one sure repeat is then odds of some 10 to 1.
VOTES_BEFORE = 0.5


@dataclass(frozen=True, slots=True)
class StrikesHeard:
    """All strikes of a turn as arrays, shape (n,): times (s), what they sound as whole numbers, their teeth.

    sound: rounded MIDI pitch; of a tooth without one, a number of its own (see sounds_of_teeth).
    """

    t_s: FloatArray
    sound: npt.NDArray[np.int64]
    tooth: npt.NDArray[np.int64]
    grid: BarGrid

    @property
    def tolerance_s(self) -> float:
        """Two strikes nearer than this are at the same place, wherever they are."""
        return min(TOLERANCE_SIGMAS * math.sqrt(2.0) * self.grid.sigma_s, MOST_OF_BEAT * self.grid.beat_s + MOST_AND_S)

    @property
    def base_rate(self) -> dict[int, float]:
        """How often a moment with any strike has this sound, by sound."""
        moments = max(len(np.unique(np.round(self.t_s / (2 * self.tolerance_s)))), 1)
        values, counts = np.unique(self.sound, return_counts=True)
        return {int(v): min(c / moments, 0.5) for v, c in zip(values, counts, strict=True)}


def hear(strikes: Sequence[Strike], grid: BarGrid, sound_of_tooth: dict[int, int]) -> StrikesHeard:
    """The strikes as arrays."""
    teeth = np.array([strike.tooth for strike in strikes], dtype=np.int64)
    sound = np.array([sound_of_tooth[strike.tooth] for strike in strikes], dtype=np.int64)
    return StrikesHeard(np.array([strike.onset_s for strike in strikes], dtype=float), sound, teeth, grid)


def sounds_of_teeth(comb: Comb) -> dict[int, int]:
    """What each tooth sounds: its pitch rounded; where it has none, a sound of its own, below all pitches."""
    return {tooth.number: -tooth.number if tooth.pitch is None else round(tooth.pitch) for tooth in comb.teeth}


@dataclass(frozen=True, slots=True)
class Window:
    """Which strikes around a place tell that two places are the same material.

    half_s: reach on either side. lowest, highest: only strikes whose sound lies so far from the place's own, semitones.
    """

    half_s: float
    lowest: int | None = None
    highest: int | None = None


@dataclass(frozen=True, slots=True)
class Votes:
    """The votes on n places over k lags. same: probability that x + lag is the same material, shape (n, k).

    present: the strike stands at x + lag. inside: x + lag lies within the tune. lags_s: shape (k,).
    """

    same: FloatArray
    present: BoolArray
    inside: BoolArray
    lags_s: FloatArray

    def log_odds(self, base_rate: FloatArray) -> FloatArray:
        """ln odds that the strike belongs, over the odds of its base rate (shape (n,)); 0 where nothing votes."""
        votes = np.where(self.inside, self.same, 0.0)
        yes = (votes * self.present).sum(axis=1)
        no = (votes * ~self.present).sum(axis=1)
        odds = (yes + VOTES_BEFORE * base_rate) / (no + VOTES_BEFORE * (1.0 - base_rate))
        return np.log(odds) - np.log(base_rate / (1.0 - base_rate))

    def best_witness(self, row: int) -> tuple[float, float] | None:
        """(lag in seconds, probability that it is the same material) of the surest place that has the strike."""
        votes = np.where(self.inside[row] & self.present[row], self.same[row], 0.0)
        best = int(np.argmax(votes)) if votes.size else -1
        return (float(self.lags_s[best]), float(votes[best])) if best >= 0 and votes[best] > 0.0 else None


def vote(heard: StrikesHeard, t_s: FloatArray, sound: npt.NDArray[np.int64], window: Window) -> Votes:
    """Votes on places given by time and sound, shapes (n,); strikes of the same sound at a place itself are ignored."""
    lags = beat_lags_s(heard.grid, float(np.ptp(heard.t_s)) if heard.t_s.size else 0.0)
    table = _scores(heard, lags)
    near = heard.tolerance_s
    low, high = heard.t_s.min() - near, heard.t_s.max() + near
    present = _present(heard, t_s[:, None] + lags[None, :], sound)
    there = t_s[:, None] + lags[None, :]
    inside = (there >= low) & (there <= high)
    score = np.zeros((len(t_s), len(lags)))
    above = heard.sound[None, :] - sound[:, None]
    eligible = np.ones(above.shape, dtype=bool)
    if window.lowest is not None:
        eligible &= above >= window.lowest
    if window.highest is not None:
        eligible &= above <= window.highest
    same_sound = heard.sound[None, :] == sound[:, None]
    gap = heard.t_s[None, :] - t_s[:, None]  # (n, m)
    own = same_sound & (np.abs(gap) < near)
    weight = np.where(eligible & ~own, _bell(gap, window.half_s), 0.0)
    score += weight @ table.here_to_there
    for k, lag in enumerate(lags):  # strikes around x + lag, laid over those around x
        beyond = gap - lag
        weight = _bell(beyond, window.half_s)
        weight[~eligible | (same_sound & (np.abs(beyond) < near))] = 0.0
        score[:, k] += weight @ table.there_to_here[:, k]
    log_odds = 0.5 * score + np.log(PRIOR_SAME / (1.0 - PRIOR_SAME))
    return Votes(1.0 / (1.0 + np.exp(-np.clip(log_odds, -LARGEST_ODDS, LARGEST_ODDS))), present, inside, lags)


@dataclass(frozen=True, slots=True)
class _Scores:
    """What each strike says for "the same material", nats, shape (m, k): at lag k, and at minus lag k."""

    here_to_there: FloatArray
    there_to_here: FloatArray


def _scores(heard: StrikesHeard, lags: FloatArray) -> _Scores:
    rate = heard.base_rate
    base = np.array([rate[int(s)] for s in heard.sound])[:, None]
    yes, no = np.log(FOUND_AGAIN / base), np.log((1.0 - FOUND_AGAIN) / (1.0 - base))
    near = heard.tolerance_s
    low, high = heard.t_s.min() - near, heard.t_s.max() + near

    def one_way(shift: FloatArray) -> FloatArray:
        at = heard.t_s[:, None] + shift[None, :]
        found = _present(heard, at, heard.sound)
        return np.where((at >= low) & (at <= high), np.where(found, yes, no), 0.0)

    return _Scores(one_way(lags), one_way(-lags))


def _present(heard: StrikesHeard, at_s: FloatArray, sound: npt.NDArray[np.int64]) -> BoolArray:
    """Whether a strike of each row's sound lies within the tolerance of each time, shapes (n, k) and (n,)."""
    found = np.zeros(at_s.shape, dtype=bool)
    for value in np.unique(sound):
        times = np.sort(heard.t_s[heard.sound == value])
        rows = sound == value
        if times.size:
            found[rows] = nearest_gap(times, at_s[rows]) < heard.tolerance_s
    return found


def nearest_gap(times: FloatArray, at_s: FloatArray) -> FloatArray:
    """Distance from each time to the nearest of the sorted times, which must not be empty."""
    after = np.clip(np.searchsorted(times, at_s), 0, len(times) - 1)
    before = np.clip(after - 1, 0, None)
    return np.minimum(np.abs(times[after] - at_s), np.abs(times[before] - at_s))


def _bell(gap_s: FloatArray, half_s: float) -> FloatArray:
    """Weights falling evenly to 0 at half_s."""
    return np.clip(1.0 - np.abs(gap_s) / half_s, 0.0, None)
