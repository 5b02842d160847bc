"""Strains played twice, and the bars as they are printed: repeats folded, with endings of their own where they differ.

A Repeat's start_bar .. end_bar is the first pass as played out, its first ending included; the second pass follows at
once. Where a tune begins with an upbeat, strains part inside the bar, that long before the bar line. Two passes are one
strain although some strikes of either are missing; where they contradict each other they are not folded.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from disc.records import Note, Repeat, Tune, Voice

# Strains have four bars at least, and endings that differ are short. Common practice, no source.
SHORTEST_BARS = 4
LONGEST_BARS = 32
LONGEST_ENDING = 2
# Of the notes of two bars that were meant alike, at least this share is in both: at 15 % of the strikes lost from each,
# 0.85 are on the mean (Dice's coefficient), and one bar in twenty has less than 0.65.
ALIKE = 0.65


@dataclass(frozen=True, slots=True)
class PrintedBar:
    """A bar on paper. start: where its bar line stands, in quarters of the played-out tune; offset and length: where it
    begins and ends after that line (an upbeat begins late, the bar before a repeat sign may end early). notes: what is
    written in it, at the times of its first playing, from both passes. only: the pass (1 or 2) of a pin whose note the
    other pass of a repeat has not.
    """

    number: int
    start: Fraction
    length: Fraction
    offset: Fraction = Fraction(0)
    notes: tuple[Note, ...] = ()
    repeat_start: bool = False
    repeat_end: bool = False
    ending: int | None = None
    only: Mapping[int, int] = field(default_factory=dict)


# ---- finding


def find_repeats(tune: Tune) -> tuple[Repeat, ...]:
    """The strains that are played twice in a row, in order; the longest first where several fit."""
    bars = _bars_from_upbeat(tune)
    found = []
    first = 0
    while first < len(bars):
        repeat = _repeat_at(bars, first)
        if repeat is None:
            first += SHORTEST_BARS
        else:
            found.append(repeat)
            first += 2 * (repeat.end_bar - repeat.start_bar + 1)
    return tuple(found)


BarNotes = dict[tuple[Fraction, int], Voice]


def _bars_from_upbeat(tune: Tune) -> list[BarNotes]:
    """Notes of each bar by place and pitch, bars counted from the upbeat's beginning."""
    bar, upbeat = tune.metre.bar_quarter, tune.upbeat_quarter
    count = _bar_count(tune)
    bars: list[BarNotes] = [{} for _ in range(count)]
    for note in tune.notes:
        if not note.grace:
            number, place = divmod(note.onset_quarter + upbeat, bar)
            bars[int(number)][place, note.pitch] = note.voice
    return bars


def _bar_count(tune: Tune) -> int:
    last = max((note.onset_quarter for note in tune.notes), default=Fraction(0))
    return int((last + tune.upbeat_quarter) // tune.metre.bar_quarter) + 1


def _repeat_at(bars: list[BarNotes], first: int) -> Repeat | None:
    for length in range(min(LONGEST_BARS, (len(bars) - first) // 2), SHORTEST_BARS - 1, -1):
        alike = [_are_alike(bars[first + k], bars[first + length + k]) for k in range(length)]
        ending = 0
        while ending <= LONGEST_ENDING and not alike[length - 1 - ending]:
            ending += 1
        if ending <= min(LONGEST_ENDING, length // 4) and all(alike[: length - ending]):
            return Repeat(first + 1, first + length, ending, ending)
    return None


def _are_alike(one: BarNotes, other: BarNotes) -> bool:
    if not one and not other:
        return True
    both = one.keys() & other.keys()
    if 2 * len(both) < ALIKE * (len(one) + len(other)) and len(one.keys() ^ other.keys()) > 1:
        return False
    return not _contradict(one, other)


def _contradict(one: BarNotes, other: BarNotes) -> bool:
    """Whether somewhere each bar has a melody note that the other has not, though both sound there."""
    only_one, only_other = one.keys() - other.keys(), other.keys() - one.keys()
    mine = {place for place, pitch in only_one if one[place, pitch] is Voice.MELODY}
    return any(place in mine and other[place, pitch] is Voice.MELODY for place, pitch in only_other)


# ---- printing


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A stretch of the played-out tune that is printed: from start to end, with what else is played to its notes."""

    start: Fraction
    end: Fraction
    also: Fraction | None = None  # the second pass comes this much later
    repeat_start: bool = False
    repeat_end: bool = False
    ending: int | None = None


def printed_bars(tune: Tune) -> list[PrintedBar]:
    """All bars to print, in order; bar 0 is the upbeat."""
    bars = []
    for stretch in _stretches(tune):
        bars += _bars_of(stretch, tune)
    return bars


def _stretches(tune: Tune) -> list[_Stretch]:
    bar, upbeat = tune.metre.bar_quarter, tune.upbeat_quarter
    end = _bar_count(tune) * bar - upbeat
    made: list[_Stretch] = []
    place = min(-upbeat, Fraction(0))
    for repeat in tune.repeats:
        start, length = (repeat.start_bar - 1) * bar - upbeat, (repeat.end_bar - repeat.start_bar + 1) * bar
        if start > place:
            made.append(_Stretch(place, start))
        split = start + length - repeat.first_ending * bar + (upbeat if repeat.first_ending else 0)
        plain = repeat.first_ending == 0
        made.append(_Stretch(start, split, also=length, repeat_start=True, repeat_end=plain))
        if not plain:
            made.append(_Stretch(split, start + length, repeat_end=True, ending=1))
            made.append(_Stretch(split + length, start + 2 * length, ending=2))
        place = start + 2 * length
    if end > place:
        made.append(_Stretch(place, end))
    return made


def _bars_of(stretch: _Stretch, tune: Tune) -> list[PrintedBar]:
    bar = tune.metre.bar_quarter
    bars: list[PrintedBar] = []
    place = stretch.start
    while place < stretch.end:
        line = place // bar * bar
        end = min(line + bar, stretch.end)
        written = _written_notes(tune.notes, place, end, stretch.also)
        bars.append(
            PrintedBar(
                int(line // bar) + 1,
                line,
                end - line,
                place - line,
                written,
                repeat_start=stretch.repeat_start and place == stretch.start,
                repeat_end=stretch.repeat_end and end == stretch.end,
                ending=stretch.ending,
                only={} if stretch.also is None else _only_once(written, tune.notes, stretch.also),
            )
        )
        place = end
    return bars


def _written_notes(notes: Iterable[Note], start: Fraction, end: Fraction, also: Fraction | None) -> tuple[Note, ...]:
    """Notes that begin between start and end, joined by those of the second pass."""
    written: dict[tuple[Fraction, int, bool], Note] = {}
    for note in notes:
        moved = note
        if also is not None and start + also <= note.onset_quarter < end + also:
            moved = replace(note, onset_quarter=note.onset_quarter - also)
        elif not start <= note.onset_quarter < end:
            continue
        key = (moved.onset_quarter, moved.pitch, moved.grace)
        known = written.get(key)
        written[key] = moved if known is None else replace(known, pins=(*known.pins, *moved.pins))
    return tuple(sorted(written.values(), key=lambda n: (n.onset_quarter, not n.grace, n.pitch)))


def _only_once(written: Sequence[Note], notes: Iterable[Note], also: Fraction) -> dict[int, int]:
    """The pass, by pin, of each note that stands in one pass of a repeat only."""
    second = (
        {pin for note in notes for pin in note.pins if note.onset_quarter >= written[0].onset_quarter + also}
        if (written)
        else set()
    )
    return {pin: 2 if pin in second else 1 for note in written if len(note.pins) == 1 for pin in note.pins}


def differing_notes(tune: Tune) -> tuple[tuple[int, Note, int], ...]:
    """(bar, note, pass) of every note that one pass of a repeat has and the other has not."""
    return tuple(
        (bar.number, note, bar.only[note.pins[0]])
        for bar in printed_bars(tune)
        for note in bar.notes
        if len(note.pins) == 1 and note.pins[0] in bar.only
    )
