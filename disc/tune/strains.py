"""Bars as they are printed: the tune's repeats folded, with first and second endings where the passes differ."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from disc.records import Note, Tune


@dataclass(frozen=True, slots=True)
class PrintedBar:
    """A bar on paper. start: where its bar line stands, in quarters of the played-out tune; offset: where it begins
    after that line (an upbeat bar starts late). notes: what is written in it, at the times of its first playing.
    """

    number: int
    start: Fraction
    length: Fraction
    offset: Fraction = Fraction(0)
    notes: tuple[Note, ...] = ()
    repeat_start: bool = False
    repeat_end: bool = False
    ending: int | None = None


def printed_bars(tune: Tune) -> list[PrintedBar]:
    """All bars to print, in order; bar 0 is the upbeat."""
    bar = tune.metre.bar_quarter
    last = max((note.onset_quarter for note in tune.notes), default=Fraction(0))
    count = int(last // bar) + 1
    bars = []
    early = min((note.onset_quarter for note in tune.notes), default=Fraction(0))
    if early < 0:
        upbeat = max(tune.upbeat_quarter, -early)
        bars.append(PrintedBar(0, -bar, bar, bar - upbeat, _between(tune, -bar, Fraction(0))))
    for number in range(1, count + 1):
        start = (number - 1) * bar
        bars.append(PrintedBar(number, start, bar, Fraction(0), _between(tune, start, start + bar)))
    return bars


def _between(tune: Tune, start: Fraction, end: Fraction) -> tuple[Note, ...]:
    return tuple(note for note in tune.notes if start <= note.onset_quarter < end)
