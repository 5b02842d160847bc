"""Where in the music a place of the disc sounds: bar and beat, and how that is said. The only home of both.

A pin that plays a note of the tune has that note's written place; any other place of the disc (an empty hole, a spot
where a pin is wanted) is named by its time on the tune's bars (bars.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from disc.records import Tune
from disc.turn.bars import BarGrid

# Fractions of a beat that have a sign of their own, by definition.
ONE_SIGN = {Fraction(0): "", Fraction(1, 2): "½", Fraction(1, 4): "¼", Fraction(3, 4): "¾"}


@dataclass(frozen=True, slots=True)
class MusicPlace:
    """bar 0 is the upbeat; beat counts from 1 in counted beats (two in 6/8). exact: a note of the tune as written."""

    bar: int
    beat: Fraction
    exact: bool

    @property
    def words(self) -> str:
        """As a musician says it: "bar 12, beat 2½", "upbeat, beat 3"."""
        return place_words(self.bar, self.beat)


def place_at(tune: Tune, grid: BarGrid, onset_s: float, pin_id: int | None = None) -> MusicPlace:
    """The place of a pin by its note, or, where it plays none, of a time in seconds."""
    quarter = None if pin_id is None else next((n.onset_quarter for n in tune.notes if pin_id in n.pins), None)
    bar, beat = grid.at_quarter(grid.quarter_at(onset_s) if quarter is None else quarter)
    return MusicPlace(bar, beat, quarter is not None)


def place_words(bar: int | None, beat: Fraction | None) -> str:
    """Bar and beat in words; empty where they are not known."""
    if bar is None:
        return ""
    where = "upbeat" if bar == 0 else f"bar {bar}"
    return where if beat is None else f"{where}, beat {beat_words(beat)}"


def beat_words(beat: Fraction) -> str:
    """A beat as it is said: "2", "2½", "2 3/8"."""
    whole, rest = divmod(beat, 1)
    return f"{whole}{ONE_SIGN.get(rest, f' {rest.numerator}/{rest.denominator}')}"
