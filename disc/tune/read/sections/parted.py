"""A turn written in sections: two tunes one after the other, each with its own bars, or bar lines that a person moved.

Comes in: the strikes of a turn, or a tune as read. Goes out: one Tune whose later sections say where their bar lines
stand (records.Section). The quarters go on through all of it; between two tunes they run as fast or as slowly as the
silence there makes them, which the tune's pace tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from disc.errors import BadInput
from disc.records import Metre, Section, Tune
from disc.tune.read.sections.strains import find_repeats
from disc.tune.write.lengths import beat_quarter


def join_tunes(tunes: Sequence[Tune]) -> Tune:
    """Tunes that follow each other in one turn as one, each a section after a double bar. Bars are counted on."""
    first = tunes[0]
    notes = list(first.notes)
    sections: list[Section] = []
    pace = list(_knots(first, Fraction(0)))
    repeats, held = list(first.repeats), list(first.held)
    slowing = first.slowing_quarter
    line, bar, before = Fraction(0), 1, first
    for tune in tunes[1:]:
        count = _whole_bars(before, tune.upbeat_quarter)
        line, bar, before = line + count * before.metre.bar_quarter, bar + count, tune
        notes += [replace(note, onset_quarter=note.onset_quarter + line) for note in tune.notes]
        sections.append(
            Section(line, bar, tune.metre, tune.key, tune.quarter_s, tune.upbeat_quarter, tune.title, titled=True)
        )
        pace += [knot for knot in _knots(tune, line) if knot[0] > pace[-1][0] and knot[1] > pace[-1][1]]
        repeats += [replace(r, start_bar=r.start_bar + bar - 1, end_bar=r.end_bar + bar - 1) for r in tune.repeats]
        held += [quarter + line for quarter in tune.held]
        slowing = None if tune.slowing_quarter is None else tune.slowing_quarter + line
    return replace(
        first,
        notes=tuple(notes),
        sections=tuple(sections),
        pace=tuple(pace),
        repeats=tuple(repeats),
        held=tuple(held),
        slowing_quarter=slowing,
    )


def _whole_bars(tune: Tune, next_upbeat: Fraction) -> int:
    """Bars from a tune's first line to the next tune's, whose upbeat must not begin before this tune's last note."""
    bar = tune.metre.bar_quarter
    last = max((note.onset_quarter for note in tune.notes), default=Fraction(0))
    count = int(last // bar) + 1
    return count if count * bar - next_upbeat > last else count + -(-next_upbeat // bar)


def _knots(tune: Tune, line: Fraction) -> list[tuple[float, float]]:
    """The tune's pace, or its first and last written place where it is steady, counted from a later line."""
    knots = tune.pace
    if not knots:
        places = [note.onset_quarter for note in tune.notes]
        knots = tuple((float(q), tune.onset_s(q)) for q in (min(places), max(places)))
    return [(quarter + float(line), at_s) for quarter, at_s in knots]


# ---- by hand


def with_metre_at(tune: Tune, bar: int, metre: Metre) -> Tune:
    """The tune with another metre from a bar's line on, to the next section. Raises BadInput if it has no such bar."""
    _check_bar(tune, bar)
    if bar <= 1:
        return _barred_again(replace(tune, metre=metre), 1)
    line = tune.line_of(bar)
    part = tune.part_at(line)
    section = replace(part, line_quarter=line, bar=bar, metre=metre, upbeat_quarter=Fraction(0), title="", titled=False)
    if part.bar == bar:
        section = replace(part, metre=metre)
    return _barred_again(_with_section(tune, section), bar)


def with_bar_moved(tune: Tune, bar: int, beats: Fraction) -> Tune:
    """The tune with a bar's line, and all after it to the next section, later by so many beats (earlier: negative).

    The bar before becomes longer or shorter. Raises BadInput if there is no such bar, or nothing is left of the one
    before.
    """
    _check_bar(tune, bar)
    line = tune.line_of(bar)
    part = tune.part_at(line)
    moved = line + beats * beat_quarter(part.metre)
    if bar == 1:
        return _all_moved(tune, moved)
    if moved <= tune.line_of(bar - 1):
        raise BadInput(f"bar {bar} cannot begin {-beats} beats earlier: nothing would be left of bar {bar - 1}.")
    section = replace(part, line_quarter=moved, bar=bar, upbeat_quarter=Fraction(0), title="", titled=False)
    if part.bar == bar:
        section = replace(part, line_quarter=moved)
    return _barred_again(_with_section(tune, section), bar)


def _all_moved(tune: Tune, moved: Fraction) -> Tune:
    """Every bar line of the first section later by `moved`: quarters are counted from the new first line."""
    bar = tune.metre.bar_quarter
    notes = tuple(replace(note, onset_quarter=note.onset_quarter - moved) for note in tune.notes)
    early = -min(note.onset_quarter for note in notes)
    shift = Fraction(0)
    if early >= bar:  # a whole bar and more before the first line: the line before it becomes the first
        shift = early // bar * bar
    elif early < 0 and -early >= bar:
        shift = -(-early // bar) * bar
    off = moved - shift
    notes = tuple(replace(note, onset_quarter=note.onset_quarter + shift) for note in notes)
    upbeat = max(Fraction(0), -min(note.onset_quarter for note in notes))
    made = replace(
        tune,
        notes=notes,
        upbeat_quarter=upbeat % bar,
        start_s=tune.onset_s(off),
        pace=tuple((quarter - float(off), at_s) for quarter, at_s in tune.pace),
        held=tuple(quarter - off for quarter in tune.held),
        slowing_quarter=None if tune.slowing_quarter is None else tune.slowing_quarter - off,
        sections=tuple(replace(part, line_quarter=part.line_quarter - off) for part in tune.sections),
    )
    return _barred_again(made, 1)


def _check_bar(tune: Tune, bar: int) -> None:
    last, _ = tune.bar_of(max(note.onset_quarter for note in tune.notes))
    if not 1 <= bar <= last:
        raise BadInput(f"the tune has no bar {bar}; its bars as played are 1 to {last}. Give one of them.")


def _with_section(tune: Tune, section: Section) -> Tune:
    others = [part for part in tune.sections if part.bar != section.bar]
    return replace(tune, sections=tuple(sorted((*others, section), key=lambda part: part.bar)))


def _barred_again(tune: Tune, bar: int) -> Tune:
    """Numbers of later sections, and repeats, found again after the bars from `bar` on became others."""
    made: list[Section] = []
    parts = list(tune.parts)
    for before, part in pairwise(parts):
        known = made[-1] if made else before
        if part.bar <= bar:
            made.append(part)
            continue
        room = part.line_quarter - known.line_quarter
        made.append(replace(part, bar=known.bar + max(1, -int(-room // known.metre.bar_quarter))))
    numbered = replace(tune, sections=tuple(made))
    return replace(numbered, repeats=find_repeats(numbered))
