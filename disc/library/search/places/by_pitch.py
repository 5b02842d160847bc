"""The print itself, found by exact places: votes of groups of strikes, a likelihood over all strikes, a fine fit.

Votes (vote.py) give trial placements, a likelihood (rate.py) rates them, the best are fitted finely. This finds what
the disc was made from however little of it is left; another version of the tune is found by its melody (lay_tunes.py).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from disc.library.index.groups import BY_PITCH
from disc.library.index.tune_index import Index
from disc.library.records import FloatArray, IntArray
from disc.library.search.asked.disc_pulse import DiscPulse, further_grids
from disc.library.search.asked.query import Query
from disc.library.search.places.align import by_chance, split_tuning
from disc.library.search.places.placed import Effort, PlacedTune, best_of_each, highest, placed_tunes, pulses
from disc.library.search.places.rate import PRESENT, GainPicture, draw, look, rate, rate_places
from disc.library.search.places.vote import candidates

# about a rough start, s: as far as a vote's grid leaves it; chosen by eye on practice discs
FINE_SHIFTS_S = np.array([-0.04, -0.02, 0.0, 0.02, 0.04])
# factors of a rough tempo; half a per cent is 0.1 s in 20 s; chosen likewise
FINE_STRETCHES = np.array([0.994, 0.997, 1.0, 1.003, 1.006])
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
COARSE_SPREAD_S = 0.03  # while tempo and start are known roughly
LEAST_CLAIM, MOST_CLAIM = 2.0, 2.0  # nats; 0, 1 and 2.5 tried on practice discs (severe, seed 11): 0.69, 0.73, 0.73
# Nearly all discs are known by the quick effort; where its first tune does not lead clearly, the search goes on.
# Of 150 discs (seed 143: 60 severe, 60 versions) 150,000 votes at first put none more first than 80,000; fewer further
# on lose one severe disc of 60 each.
QUICK = Effort(grids=1, groups=6_000, votes=80_000, looks=2_500, rated=300, fine=40)
THOROUGH = Effort(grids=2, groups=20_000, votes=500_000, looks=25_000, rated=1_000, fine=60)
FURTHER = Effort(grids=1, groups=12_000, votes=145_000, looks=6_000, rated=500, fine=40)  # for each further pulse


@dataclass(frozen=True, eq=False)
class Strikes:
    """Strikes of known pitch, shape (n,): whole semitones; probability to be of the melody; spread about their places.

    The spread is one for all pulses tried: on a finer grid strikes seem more exact, and scores would not compare.
    """

    onset_s: FloatArray
    pitch: IntArray
    likely: FloatArray
    sigma_s: float

    @cached_property
    def gain(self) -> FloatArray:
        """Nats that a printed note gains by falling exactly on each strike."""
        return strike_gain(self.onset_s, self.pitch, self.sigma_s) + melody_claim(self.likely)

    @cached_property
    def picture(self) -> GainPicture:
        """What a note gains at each pitch and time."""
        return draw(self.onset_s, self.pitch, self.gain, self.sigma_s)

    @cached_property
    def coarse(self) -> GainPicture:
        """The same while tempo and start are known roughly."""
        return draw(self.onset_s, self.pitch, self.gain, max(self.sigma_s, COARSE_SPREAD_S))


def prepare(query: Query, likely: FloatArray) -> Strikes | None:
    """The strikes as the search takes them; None where there is no pulse. likely: to be of the melody."""
    assert query.pitch is not None
    _, pitch = split_tuning(query.pitch)
    grids = pulses(QUICK.grids, query.onset_s)
    return Strikes(query.onset_s, pitch, likely, spread_s(query.onset_s, grids)) if grids else None


def places_by_pitch(index: Index, strikes: Strikes, allowed: np.ndarray | None) -> Iterator[list[PlacedTune]]:
    """Tunes that have a placement worth rating, best first, each with its best placement: with ever more effort."""
    grids: list[DiscPulse] = []
    for effort in (QUICK, THOROUGH):
        grids = pulses(effort.grids, strikes.onset_s)
        yield _rank_with(effort, index, grids, strikes, allowed)
    for grid in further_grids(strikes.onset_s, grids):
        yield _rank_with(FURTHER, index, [grid], strikes, allowed)


def rate_given(
    index: Index, strikes: Strikes, tune: IntArray, shift: IntArray, quarter_s: FloatArray, start_s: FloatArray,
    within_s: FloatArray,
) -> list[PlacedTune]:  # fmt: skip
    """Places found otherwise, rated alike, in their order. within_s: first and last second of each, shape (n, 2)."""
    score, quarter_s, start_s = rate_places(
        index, tune, shift, quarter_s, start_s, strikes.picture, FINE_SHIFTS_S, FINE_STRETCHES, within_s
    )
    return placed_tunes(tune, score, shift, quarter_s, start_s)


def _rank_with(
    effort: Effort, index: Index, grids: list[DiscPulse], strikes: Strikes, allowed: np.ndarray | None
) -> list[PlacedTune]:
    trials = candidates(
        BY_PITCH,
        index.by_pitch,
        grids,
        strikes.pitch,
        np.log(strikes.likely),
        effort.groups,
        effort.votes,
        effort.looks,
        index.stretch,
        allowed,
    )
    if trials.tune.size == 0:
        return []
    trials = trials.part(highest(look(index, trials, grids, strikes.coarse).astype(np.float64), effort.rated))
    score, quarter_s, start_s = rate(index, trials, grids, strikes.coarse, np.zeros(1), np.ones(1))
    best = highest(score, effort.fine)
    tune, shift = trials.tune[best], trials.transposition[best]
    score, quarter_s, start_s = rate_places(
        index, tune, shift, quarter_s[best], start_s[best], strikes.picture, FINE_SHIFTS_S, FINE_STRETCHES
    )
    return best_of_each([one for one in placed_tunes(tune, score, shift, quarter_s, start_s) if one.score > 0])


def spread_s(onset_s: FloatArray, grids: list[DiscPulse]) -> float:
    """Standard deviation of the strikes about the strongest grid, within what pins of this kind show."""
    grid = grids[0]
    off = onset_s - (grid.start_s + grid.place * grid.step_s)
    near = off[np.abs(off) < 0.3 * grid.step_s]
    return float(np.clip(1.2 * np.sqrt(np.mean(near**2)), 0.012, 0.05)) if near.size else 0.03


def strike_gain(onset_s: FloatArray, pitch: IntArray, sigma_s: float) -> FloatArray:
    """Nats that a printed note gains by falling exactly on each strike: its density against that of chance."""
    density = PRESENT / (sigma_s * np.sqrt(2 * np.pi))
    return np.asarray(np.log(density) - np.log(by_chance(onset_s, pitch)))


def melody_claim(likely: FloatArray) -> FloatArray:
    """Nats for explaining a strike by how likely it is of the melody: its log-odds, within limits.

    A tune that leaves the upper strikes unexplained and fits the broken chords below them must not win; but the
    probability is a rule of thumb, hence the limits.
    """
    return np.asarray(np.clip(np.log(likely / (1.0 - likely)), -LEAST_CLAIM, MOST_CLAIM))
