"""Bars of an ABC tune in the order in which they are played, and their printed numbers.

Source: The ABC Music Standard 2.1, sections 4.8 (repeats), 4.9 and 4.10 (endings), 3.1.9 (P:, order of parts).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from disc.tune.score.dynamics import UNSAID, Loudness

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# A tune never repeats so often; the limit keeps a damaged file from running on for ever.
MOST_SEGMENTS_PLAYED = 5000
MOST_PARTS_PLAYED = 64  # of a P: field; likewise a limit for damaged files


@dataclass(frozen=True, slots=True)
class SegmentNote:
    """A written note, ticks from its segment's start. on, over: tied to the note of its pitch before, after."""

    at: int
    duration: int
    pitch: int
    on: bool = False
    over: bool = False
    loudness: Loudness = UNSAID


@dataclass(slots=True)
class Segment:
    """What is written between two bar lines.

    opens, closes: a repeat begins before it, ends after it. ending: passes in which it is played; empty: in all.
    thick: a double bar, a repeat sign or a new part stands before it. symbols: chord symbols, (ticks from its start, as
    written). ornaments: (ticks, pitches of grace notes, sign) of the note there.
    """

    notes: list[SegmentNote]
    length: int
    bar_ticks: int | None
    opens: bool = False
    closes: bool = False
    ending: frozenset[int] = frozenset()
    thick: bool = False
    symbols: list[tuple[int, str]] = field(default_factory=list)
    ornaments: list[tuple[int, tuple[int, ...], str]] = field(default_factory=list)


def number_bars(segments: Sequence[Segment]) -> list[int]:
    """Printed bar number of each segment: an upbeat is 0, a bar split by a repeat sign counts once."""
    numbers: list[int] = []
    number, filled = 0, 0
    for index, segment in enumerate(segments):
        bar = segment.bar_ticks or segment.length
        completes = index > 0 and segment.thick and 0 < filled < bar and filled + segment.length <= bar
        if index == 0:
            number = 0 if segment.length < bar else 1
        elif not completes:
            number += 1
        filled = filled + segment.length if completes else segment.length
        numbers.append(number)
    return numbers


def play_order(segments: Sequence[Segment], marks: dict[str, int], parts: str) -> list[int]:
    """Indices of the segments as played: repeats, endings and, where P: gives one, the order of parts."""
    order = _order_of_parts(parts)
    if not order or any(letter not in marks for letter in order):
        return _unfold(segments, 0, len(segments))
    starts = sorted(marks.values())
    result = _unfold(segments, 0, starts[0])
    for letter in order:
        begin = marks[letter]
        end = next((start for start in starts if start > begin), len(segments))
        result += _unfold(segments, begin, end)
    return result[:MOST_SEGMENTS_PLAYED]


def _order_of_parts(text: str) -> str:
    """P:((AB)2C)2 as ABABCABABC. Empty if there is no such order."""
    word = text.replace(".", "").replace(" ", "")
    if not re.fullmatch(r"[A-Z()0-9]+", word):
        return ""
    while True:
        found = re.search(r"\(([A-Z0-9]*)\)(\d*)", word)
        if not found:
            break
        word = word[: found.start()] + _times(found[1]) * min(int(found[2] or 1), 9) + word[found.end() :]
    return _times(re.sub(r"[()]", "", word))[:MOST_PARTS_PLAYED]


def _times(word: str) -> str:
    return "".join(letter * min(int(count or 1), 9) for letter, count in re.findall(r"([A-Z])(\d*)", word))


def _unfold(segments: Sequence[Segment], begin: int, end: int) -> list[int]:
    order: list[int] = []
    start, turn, index = begin, 1, begin
    played_ending = False
    while index < end and len(order) < MOST_SEGMENTS_PLAYED:
        segment = segments[index]
        if (segment.opens and index != start) or (played_ending and not segment.ending and turn > 1):
            start, turn = index, 1  # a new section: its repeat counts from here
        played_ending = bool(segment.ending)
        if segment.ending and turn not in segment.ending:
            # Not this pass's ending. The pass after the last printed ending ends the section.
            index += 1
            continue
        order.append(index)
        more = turn < max(max(s.ending, default=2) for s in segments[start : _section_end(segments, index, end)])
        if segment.closes and (more if segment.ending else turn < 2):
            turn, index, played_ending = turn + 1, start, False
        elif segment.closes and not segment.ending:
            start, turn, index = index + 1, 1, index + 1
        else:
            index += 1
    return order


def _section_end(segments: Sequence[Segment], index: int, end: int) -> int:
    """One past the last ending that belongs to the section in which segment `index` lies."""
    after = index + 1
    while after < end and segments[after].ending and not segments[after].opens:
        after += 1
    return after
