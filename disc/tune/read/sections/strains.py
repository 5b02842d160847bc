"""Strains played twice, and the bars as they are printed: repeats folded, with endings of their own where they differ.

A Repeat's start_bar .. end_bar is the first pass as played out, its first ending included; the second pass follows at
once. Where a tune begins with an upbeat, strains part inside the bar, that long before the bar line. Two passes are one
strain although some strikes of either are missing; where they contradict each other they are not folded.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from disc.records import Note, Repeat, Section, Tune, Voice

# Strains have four bars at least, and endings that differ are short. Common practice, no source.
SHORTEST_BARS = 4
LONGEST_BARS = 32  # of a strain; common practice, no source
LONGEST_ENDING = 2  # bars of an ending; common practice, no source
# Of the notes of two bars that were meant alike, at least this share is in both: at 15 % of the strikes lost from each,
# 0.85 are on the mean (Dice's coefficient), and one bar in twenty has less than 0.65: chosen by that.
ALIKE = 0.65
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
FEWEST_OF_VOICE = 8  # notes of both passes, before a voice is judged by itself
# Of the places of a voice, those at which each pass has a note that the other has not: with 15 % of the strikes lost,
# two notes to a place give .03 of them, three .09; another accompaniment gives more, and would be all small notes.
REPLACED = 0.125
PLACES = 96  # places of a quarter told apart: eighths of a triplet


@dataclass(frozen=True, slots=True)
class PrintedBar:
    """A bar on paper. start: where its bar line stands, in quarters of the played-out tune; offset and length: where it
    begins and ends after that line (an upbeat begins late, the bar before a repeat sign may end early). notes: what is
    written in it, at the times of its first playing, from both passes. only: the pass (1 or 2) of a pin whose note the
    other pass of a repeat has not. part: the section it stands in; opens: the first bar of that section on paper.
    """

    part: Section
    number: int
    start: Fraction
    length: Fraction
    offset: Fraction = Fraction(0)
    notes: tuple[Note, ...] = ()
    repeat_start: bool = False
    repeat_end: bool = False
    ending: int | None = None
    only: Mapping[int, int] = field(default_factory=dict)
    opens: bool = False


# ---- finding


def find_repeats(tune: Tune) -> tuple[Repeat, ...]:
    """The strains that are played twice in a row, in order; the longest first where several fit."""
    found = []
    for span in spans_of(tune):
        bars = _bars_from_upbeat(span, tune.notes)
        first = 0
        while first < len(bars):
            repeat = _repeat_at(bars, first)
            if repeat is None:
                first += SHORTEST_BARS
            else:
                before = span.part.bar - 1
                found.append(replace(repeat, start_bar=repeat.start_bar + before, end_bar=repeat.end_bar + before))
                first += 2 * (repeat.end_bar - repeat.start_bar + 1)
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Span:
    """A section with where it begins and ends, in quarters: its upbeat included, the next one's left out."""

    part: Section
    start: Fraction
    end: Fraction


def spans_of(tune: Tune) -> tuple[Span, ...]:
    """The sections of a tune, in order. The last bar is shorter by the length of the upbeat, where that leaves room."""
    parts = tune.parts
    starts = [part.line_quarter - part.upbeat_quarter for part in parts]
    return tuple(
        Span(part, start, end) for part, start, end in zip(parts, starts, [*starts[1:], _end_of(tune)], strict=True)
    )


def _end_of(tune: Tune) -> Fraction:
    last = max((note.onset_quarter for note in tune.notes), default=Fraction(0))
    part = tune.parts[-1]
    bar = part.metre.bar_quarter
    full = part.line_quarter + ((last - part.line_quarter) // bar + 1) * bar
    return full - part.upbeat_quarter if last < full - part.upbeat_quarter else full


BarNotes = dict[tuple[int, int], Voice]


def _bars_from_upbeat(span: Span, notes: Iterable[Note]) -> list[BarNotes]:
    """Notes of each bar by place and pitch, bars counted from the upbeat's beginning; places in whole numbers."""
    bar = span.part.metre.bar_quarter
    count = int((span.end - span.start - Fraction(1, 96)) // bar) + 1 if span.end > span.start else 0
    bars: list[BarNotes] = [{} for _ in range(count)]
    for note in notes:
        if not note.grace and span.start <= note.onset_quarter < span.end:
            number, place = divmod(note.onset_quarter - span.start, bar)
            bars[int(number)][round(place * PLACES), note.pitch] = note.voice
    return bars


def _repeat_at(bars: list[BarNotes], first: int) -> Repeat | None:
    for length in range(min(LONGEST_BARS, (len(bars) - first) // 2), SHORTEST_BARS - 1, -1):
        alike = [_are_alike(bars[first + k], bars[first + length + k]) for k in range(length)]
        ending = 0
        while ending <= LONGEST_ENDING and not alike[length - 1 - ending]:
            ending += 1
        same = length - ending
        if ending > min(LONGEST_ENDING, length // 4) or not all(alike[:same]):
            continue
        if all(_voice_agrees(bars[first : first + same], bars[first + length :][:same], voice) for voice in Voice):
            return Repeat(first + 1, first + length, ending, ending)
    return None


def _voice_agrees(one: Sequence[BarNotes], other: Sequence[BarNotes], voice: Voice) -> bool:
    """Whether a voice is the same in both passes, over all their bars: a tune that comes back with another
    accompaniment is no repeat, though in each bar most notes are the same.
    """
    shared, sounding = 0, 0
    places, replaced = 0, 0
    for mine, theirs in zip(one, other, strict=True):
        here = {key for key, of in mine.items() if of is voice}
        there = {key for key, of in theirs.items() if of is voice}
        shared += len(here & theirs.keys()) + len(there & mine.keys())
        sounding += len(here) + len(there)
        places += len({place for place, _ in here | there})
        replaced += len({place for place, _ in here - theirs.keys()} & {place for place, _ in there - mine.keys()})
    return sounding < FEWEST_OF_VOICE or (shared >= ALIKE * sounding and replaced <= max(1, REPLACED * places))


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
class _PrintedStretch:
    """A stretch of the played-out tune that is printed: from start to end, with what else is played to its notes."""

    start: Fraction
    end: Fraction
    also: Fraction | None = None  # the second pass comes this much later
    repeat_start: bool = False
    repeat_end: bool = False
    ending: int | None = None


def printed_bars(tune: Tune) -> list[PrintedBar]:
    """All bars to print, in order; bar 0 is the upbeat."""
    bars: list[PrintedBar] = []
    for span in spans_of(tune):
        inside = [r for r in tune.repeats if tune.part_at(tune.line_of(r.start_bar)).bar == span.part.bar]
        # a section may end within the last bar of a repeat: what follows is not its second pass's
        notes = [note for note in tune.notes if note.onset_quarter < span.end]
        made = [bar for stretch in _stretches(span, inside) for bar in _bars_of(stretch, span.part, tune, notes)]
        bars += [replace(bar, opens=index == 0) for index, bar in enumerate(made)]
    return bars


def _stretches(span: Span, repeats: Iterable[Repeat]) -> list[_PrintedStretch]:
    bar, upbeat, line = span.part.metre.bar_quarter, span.part.upbeat_quarter, span.part.line_quarter
    made: list[_PrintedStretch] = []
    place = span.start
    for repeat in repeats:
        start = line + (repeat.start_bar - span.part.bar) * bar - upbeat
        length = (repeat.end_bar - repeat.start_bar + 1) * bar
        if start > place:
            made.append(_PrintedStretch(place, start))
        split = start + length - repeat.first_ending * bar + (upbeat if repeat.first_ending else 0)
        plain = repeat.first_ending == 0
        made.append(_PrintedStretch(start, split, also=length, repeat_start=True, repeat_end=plain))
        if not plain:
            made.append(_PrintedStretch(split, start + length, repeat_end=True, ending=1))
            made.append(_PrintedStretch(split + length, min(start + 2 * length, span.end), ending=2))
        place = start + 2 * length
    if span.end > place:
        made.append(_PrintedStretch(place, span.end))
    return made


def _bars_of(stretch: _PrintedStretch, part: Section, tune: Tune, notes: Sequence[Note]) -> list[PrintedBar]:
    bars: list[PrintedBar] = []
    place = stretch.start
    while place < stretch.end:
        number, _ = tune.bar_of(place)
        line = tune.line_of(number)
        end = min(tune.line_of(number + 1), stretch.end)
        written = _written_notes(notes, place, end, stretch.also)
        bars.append(
            PrintedBar(
                part,
                number,
                line,
                end - line,
                place - line,
                written,
                repeat_start=stretch.repeat_start and place == stretch.start,
                repeat_end=stretch.repeat_end and end == stretch.end,
                ending=stretch.ending,
                only={} if stretch.also is None else _only_once(written, notes, stretch.also),
            )
        )
        place = end
    return bars


def _written_notes(notes: Iterable[Note], start: Fraction, end: Fraction, also: Fraction | None) -> tuple[Note, ...]:
    """Notes that begin between start and end, joined by those of the second pass.

    An ornament may strike a pitch twice before its note: the first of one pass is joined with the first of the other.
    """
    written: dict[tuple[Fraction, int, bool, int], Note] = {}
    graces: Counter[tuple[bool, Fraction, int]] = Counter()
    for note in notes:
        moved = note
        if also is not None and start + also <= note.onset_quarter < end + also:
            moved = replace(note, onset_quarter=note.onset_quarter - also)
        elif not start <= note.onset_quarter < end:
            continue
        same = (moved is note, moved.onset_quarter, moved.pitch)
        key = (moved.onset_quarter, moved.pitch, moved.grace, graces[same] if moved.grace else 0)
        graces[same] += moved.grace
        known = written.get(key)
        written[key] = moved if known is None else _both(known, moved)
    in_time = {id(note): (note.onset_s or 0.0) if note.grace else 0.0 for note in written.values()}
    return tuple(sorted(written.values(), key=lambda n: (n.onset_quarter, not n.grace, in_time[id(n)], n.pitch)))


def _both(one: Note, other: Note) -> Note:
    """One written note for two strikes; it sounds if either does."""
    return replace(one, pins=(*one.pins, *other.pins), silent=one.silent and other.silent)


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
