"""The disc over the print: two staves, aligned bar by bar, as SVG and PDF.

Upper staff: what the disc plays, taken back by the transposition so that both staves read alike; black agrees, orange
is displaced, grey is not in the print (the accompaniment, where the print is the melody alone). Lower staff: the print;
what no strike plays is red. Bars of the lower staff carry their printed numbers.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import numpy as np

from disc import svg
from disc.library.index.tune_index import Index
from disc.library.records import Alignment, Match, ReferenceTune
from disc.library.search.asked.query import Query
from disc.tune.score.records import TICKS_PER_QUARTER
from disc.tune.write.engrave import engrave, pdf_of_pages
from disc.tune.write.signs import spelled

AGREES, DISPLACED, EXTRA, ABSENT = "#000000", "#c46a00", "#8c8c8c", "#c00000"
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
# Strikes that the print does not have are set to the nearest sixth or quarter of a quarter.
CELLS = (Fraction(1, 4), Fraction(1, 6))
LONGEST = Fraction(4)  # quarters of one written note or rest; a whole note, as print has it


def over_print(query: Query, index: Index, match: Match) -> tuple[bytes, bytes]:
    """(svg, pdf) of one match. Several pages stand below each other in the SVG."""
    tune = index.tune_of(match.key)
    assert tune is not None and match.alignment is not None
    reference = index.reference(tune)
    pages = engrave(_musicxml(query, reference, match.alignment), f"{match.title} ({match.key})").pages
    return _one_svg(pages), pdf_of_pages(pages)


def _musicxml(query: Query, reference: ReferenceTune, alignment: Alignment) -> str:
    from music21 import layout, stream
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    notes = sorted(p.note for p in (*alignment.agree, *alignment.displaced)) or [0, reference.pitch.size - 1]
    bars = _bars(reference, notes[0], notes[-1])
    score = stream.Score()
    upper = _part("disc", bars, _disc_events(query, reference, alignment), reference)
    lower = _part("print", bars, _print_events(reference, alignment.absent), reference)
    score.append([upper, lower])
    score.insert(0, layout.StaffGroup([upper, lower], symbol="brace", barTogether=True))
    return GeneralObjectExporter(score).parse().decode("utf-8")


def print_alone(reference: ReferenceTune) -> tuple[bytes, bytes]:
    """(svg, pdf) of a tune as it is printed."""
    from music21 import stream
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    bars = _bars(reference, 0, reference.pitch.size - 1)
    score = stream.Score()
    score.append(_part("", bars, _print_events(reference, ()), reference))
    text = GeneralObjectExporter(score).parse().decode("utf-8")
    named = f"{reference.title} ({reference.key})" if reference.title != str(reference.key) else reference.title
    pages = engrave(text, named).pages
    return _one_svg(pages), pdf_of_pages(pages)


def _bars(reference: ReferenceTune, first: int, last: int) -> list[tuple[Fraction, Fraction, int]]:
    """(start, end, printed number) of the bars from one note to another, quarters from the tune's first note."""
    starts = np.flatnonzero(np.r_[True, np.diff(reference.bar) != 0])
    edges = [Fraction(int(reference.onset_tick[i]), TICKS_PER_QUARTER) for i in starts]
    end = Fraction(int(reference.onset_tick[-1] + reference.duration_tick[-1]), TICKS_PER_QUARTER)
    edges = _straightened(edges, end, reference)
    numbers = [int(reference.bar[i]) for i in starts]
    low, high = (
        Fraction(int(reference.onset_tick[first]), TICKS_PER_QUARTER),
        Fraction(int(reference.onset_tick[last]), TICKS_PER_QUARTER),
    )
    bars = list(zip(edges[:-1], edges[1:], numbers, strict=True))
    return [bar for bar in bars if bar[1] > low and bar[0] <= high and bar[1] > bar[0]]


def _straightened(edges: list[Fraction], end: Fraction, reference: ReferenceTune) -> list[Fraction]:
    """Bar lines where the bar before is full: a bar may begin with a rest, which no note marks."""
    if reference.metre is None:
        return [*edges, end]
    length = Fraction(4 * reference.metre[0], reference.metre[1])
    out = [edges[0]]
    for edge in edges[1:]:
        full = out[-1] + length
        out.append(full if out[-1] < full < edge and edge - full < length else edge)
    return [*out, max(end, out[-1])]


Events = dict[Fraction, list[tuple[int, str, str]]]


def _disc_events(query: Query, reference: ReferenceTune, alignment: Alignment) -> Events:
    """Onset in quarters -> (pitch, colour, name) of what the disc plays."""
    events: Events = defaultdict(list)
    for pairing in alignment.agree:
        at = Fraction(int(reference.onset_tick[pairing.note]), TICKS_PER_QUARTER)
        pitch = int(reference.pitch[pairing.note]) + 12 * pairing.octaves
        events[at].append((pitch, AGREES, f"strike-{pairing.strike}"))
    moved = {pairing.strike: pairing for pairing in alignment.displaced}
    for strike in (*alignment.extra, *moved):
        at = _nearest((query.onset_s[strike] - alignment.start_s) / alignment.quarter_s)
        if query.pitch is not None:
            pitch = round(query.pitch[strike] - alignment.transposition)
            events[at].append((pitch, DISPLACED if strike in moved else EXTRA, f"strike-{strike}"))
        elif strike in moved:
            events[at].append((int(reference.pitch[moved[strike].note]), DISPLACED, f"strike-{strike}"))
    return events


def _nearest(quarter: float) -> Fraction:
    choices = [round(quarter / float(cell)) * cell for cell in CELLS]
    return min(choices, key=lambda at: abs(float(at) - quarter))


def _print_events(reference: ReferenceTune, missing: Sequence[int]) -> Events:
    events: Events = defaultdict(list)
    absent = set(missing)
    for note, (tick, pitch) in enumerate(zip(reference.onset_tick, reference.pitch, strict=True)):
        colour = ABSENT if note in absent else AGREES
        events[Fraction(int(tick), TICKS_PER_QUARTER)].append((int(pitch), colour, f"note-{note}"))
    return events


def _part(name: str, bars: list[tuple[Fraction, Fraction, int]], events: Events, reference: ReferenceTune) -> Any:
    from music21 import key, meter, stream

    part = stream.Part(id=name)
    part.partName = name
    times = sorted(events)
    for place, (start, end, number) in enumerate(bars):
        measure = stream.Measure(number=number)
        if place == 0:
            measure.insert(0, key.KeySignature(reference.fifths))
            if reference.metre:
                measure.insert(0, meter.TimeSignature(f"{reference.metre[0]}/{reference.metre[1]}"))
        inside = [at for at in times if start <= at < end]
        for at, until in zip([start, *inside], [*inside, end], strict=True):
            if until > at:
                _fill(measure, at - start, min(until - at, LONGEST), events.get(at, []), reference.fifths)
        part.append(measure)
    part.makeAccidentals(inPlace=True)
    part.makeBeams(inPlace=True)
    return part


def _fill(measure: Any, offset: Fraction, length: Fraction, notes: list[tuple[int, str, str]], fifths: int) -> None:
    """One note, chord or rest in the bar, ties within where a single sign cannot write its length."""
    from music21 import chord, note

    if not notes:
        element: Any = note.Rest(quarterLength=length)
    else:
        heads = []
        for pitch, colour, name in {n[0]: n for n in sorted(notes, key=lambda n: n[1], reverse=True)}.values():
            head = note.Note(spelled(pitch, fifths).name, quarterLength=length)
            head.style.color = colour
            head.id = name
            heads.append(head)
        element = heads[0] if len(heads) == 1 else chord.Chord(heads, quarterLength=length)
    measure.insert(offset, element)


def _one_svg(pages: tuple[str, ...]) -> bytes:
    """All pages below each other as one picture."""
    if len(pages) == 1:
        return pages[0].encode("utf-8")
    found = [re.search(r'width="([\d.]+)(?:px)?" height="([\d.]+)(?:px)?"', page) for page in pages]
    sizes = [(float(m[1]), float(m[2])) if m else (2100.0, 2970.0) for m in found]
    inner, y = [], 0.0
    for page, (_, height) in zip(pages, sizes, strict=True):
        body = page[page.index("<svg") :]
        inner.append(body.replace("<svg", f'<svg y="{y:g}"', 1))
        y += height
    width = max(size[0] for size in sizes)
    return svg.document(width, y, inner, ground=None).encode("utf-8")
