"""Where in the music a place of the disc lies: seconds to bar and beat, and how far from the nearest written place.

The tune as read (records.Tune) gives the grid: seconds of a quarter, where bar 1 begins, the metre, and its pace.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from disc.comb.pin_spread import robust_sigma
from disc.frame import FloatArray
from disc.records import Metre, Strike, Tune

LEAST_SIGMA_S = 0.008  # no disc set by hand keeps time better; common practice, no source
FEWEST_FOR_SIGMA = 8  # strikes that tell their own spread; chosen by hand
USUAL_SIGMA_S = 0.02  # where too few strikes tell; the middle of 10 to 30 ms, common practice, no source
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
WRITTEN_PARTS = (1, 2, 4, 3, 8, 6)  # parts of a quarter on which notes are written, in the order of preference
COARSER_PARTS = 4  # of them, those that a place off the grid is named by


@dataclass(frozen=True, slots=True)
class BarGrid:
    """The bars of a tune in seconds, its drift, held notes and slowing end followed.

    sigma_s: spread of the strikes about their written places (setting and reading).
    """

    tune: Tune
    sigma_s: float = USUAL_SIGMA_S

    @property
    def quarter_s(self) -> float:
        """Seconds of a quarter at the usual tempo."""
        return self.tune.quarter_s

    @property
    def metre(self) -> Metre:
        """The time signature."""
        return self.tune.metre

    @property
    def bar_s(self) -> float:
        """Seconds of one bar."""
        return float(self.metre.bar_quarter) * self.quarter_s

    @property
    def beat_quarter(self) -> Fraction:
        """Length of a counted beat: three units in compound metres (6/8, 9/8, 12/8), else one."""
        return counted_beat(self.metre)

    @property
    def beat_s(self) -> float:
        """Seconds of one counted beat."""
        return float(self.beat_quarter) * self.quarter_s

    def quarter_at(self, onset_s: float) -> Fraction:
        """The written place of a time: quarters from the first bar line.

        Of places within two sigmas the one with the smallest denominator is taken, as a copyist would; what is beside
        all of them gets the nearest of the coarser ones.
        """
        exact = self.tune.quarter_at(onset_s)
        places = [Fraction(round(exact * parts), parts) for parts in WRITTEN_PARTS]
        near = [place for place in places if abs(float(place) - exact) * self.quarter_s <= 2.0 * self.sigma_s]
        return near[0] if near else min(places[:COARSER_PARTS], key=lambda place: abs(float(place) - exact))

    def bar_and_beat(self, onset_s: float) -> tuple[int, Fraction]:
        """(bar, beat) of a time: the first full bar is 1 and an upbeat stands in bar 0; beats count from 1."""
        return self.at_quarter(self.quarter_at(onset_s))

    def at_quarter(self, quarter: Fraction) -> tuple[int, Fraction]:
        """(bar, beat) of a written place in quarters from the first bar line."""
        bar, after = self.tune.bar_of(quarter)
        return bar, 1 + after / counted_beat(self.tune.part_at(quarter).metre)


def counted_beat(metre: Metre) -> Fraction:
    """Length of a counted beat in quarters: three units in compound metres."""
    compound = metre.unit >= 8 and metre.beats % 3 == 0 and metre.beats > 3
    return Fraction(12 if compound else 4, metre.unit)


def grid_of(tune: Tune, strikes: Iterable[Strike]) -> BarGrid:
    """The grid of a tune as read, with the spread of the strikes about it."""
    late = late_s(tune, strikes)
    sigma = max(robust_sigma(list(late.values())), LEAST_SIGMA_S) if len(late) >= FEWEST_FOR_SIGMA else USUAL_SIGMA_S
    return BarGrid(tune, sigma)


def late_s(tune: Tune, strikes: Iterable[Strike]) -> dict[int, float]:
    """How late each pin strikes against its written note, seconds by pin id (negative: early). Grace notes are out."""
    onset = {strike.pin_id: strike.onset_s for strike in strikes if strike.pin_id is not None}
    late = {}
    for note in tune.notes:
        for pin in note.pins:
            if pin in onset and not (note.grace or note.rolled):
                late[pin] = onset[pin] - tune.onset_s(note.onset_quarter)
    return late


def beat_lags_s(grid: BarGrid, span_s: float) -> FloatArray:
    """All distances of whole beats within a span, both ways, shape (k,), without 0."""
    count = int(span_s / grid.beat_s)
    steps = np.concatenate([np.arange(-count, 0), np.arange(1, count + 1)])
    return steps * grid.beat_s
