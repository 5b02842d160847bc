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
from itertools import pairwise

import numpy as np

from disc import svg
from disc.library.coloured_staves import Head, Staff, StaffBar, coloured_staves
from disc.library.index.tune_index import Index
from disc.library.records import Alignment, Match, ReferenceTune
from disc.library.search.asked.query import Query
from disc.records import Metre
from disc.tune.score.records import TICKS_PER_QUARTER
from disc.tune.write.engrave import engrave, pdf_of_pages

AGREES, DISPLACED, EXTRA, ABSENT = "#000000", "#c46a00", "#8c8c8c", "#c00000"
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
# Strikes that the print does not have are set to the nearest sixth or quarter of a quarter.
CELLS = (Fraction(1, 4), Fraction(1, 6))
LONGEST = Fraction(4)  # quarters of one written note or rest; a whole note, as print has it


STAVES = ("disc", "print")  # what the staves are called, where no language is asked for


def over_print(query: Query, index: Index, match: Match, staves: tuple[str, str] = STAVES) -> tuple[bytes, bytes]:
    """(svg, pdf) of one match. Several pages stand below each other in the SVG. staves: what they are called."""
    tune = index.tune_of(match.key)
    assert tune is not None and match.alignment is not None
    reference = index.reference(tune)
    pages = engrave(_musicxml(query, reference, match.alignment, staves), f"{match.title} ({match.key})").pages
    return _one_svg(pages), pdf_of_pages(pages)


def _musicxml(query: Query, reference: ReferenceTune, alignment: Alignment, staves: tuple[str, str]) -> str:
    notes = sorted(p.note for p in (*alignment.agree, *alignment.displaced)) or [0, reference.pitch.size - 1]
    bars = _bars(reference, notes[0], notes[-1])
    upper = _staff(staves[0], bars, _disc_events(query, reference, alignment))
    lower = _staff(staves[1], bars, _print_events(reference, alignment.absent))
    return coloured_staves([upper, lower], reference.fifths, _metre(reference))


def print_alone(reference: ReferenceTune) -> tuple[bytes, bytes]:
    """(svg, pdf) of a tune as it is printed."""
    bars = _bars(reference, 0, reference.pitch.size - 1)
    text = coloured_staves(
        [_staff("", bars, _print_events(reference, ()))], reference.fifths, _metre(reference)
    )  # fmt: skip
    named = f"{reference.title} ({reference.key})" if reference.title != str(reference.key) else reference.title
    pages = engrave(text, named).pages
    return _one_svg(pages), pdf_of_pages(pages)


def _metre(reference: ReferenceTune) -> Metre | None:
    return Metre(*reference.metre) if reference.metre else None


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


Events = dict[Fraction, list[Head]]


def _disc_events(query: Query, reference: ReferenceTune, alignment: Alignment) -> Events:
    """Onset in quarters -> what the disc plays there."""
    events: Events = defaultdict(list)
    for pairing in alignment.agree:
        at = Fraction(int(reference.onset_tick[pairing.note]), TICKS_PER_QUARTER)
        pitch = int(reference.pitch[pairing.note]) + 12 * pairing.octaves
        events[at].append(Head(pitch, AGREES, f"strike-{pairing.strike}"))
    moved = {pairing.strike: pairing for pairing in alignment.displaced}
    for strike in (*alignment.extra, *moved):
        at = _nearest((query.onset_s[strike] - alignment.start_s) / alignment.quarter_s)
        if query.pitch is not None:
            pitch = round(query.pitch[strike] - alignment.transposition)
            events[at].append(Head(pitch, DISPLACED if strike in moved else EXTRA, f"strike-{strike}"))
        elif strike in moved:
            events[at].append(Head(int(reference.pitch[moved[strike].note]), DISPLACED, f"strike-{strike}"))
    return events


def _nearest(quarter: float) -> Fraction:
    choices = [round(quarter / float(cell)) * cell for cell in CELLS]
    return min(choices, key=lambda at: abs(float(at) - quarter))


def _print_events(reference: ReferenceTune, missing: Sequence[int]) -> Events:
    events: Events = defaultdict(list)
    absent = set(missing)
    for note, (tick, pitch) in enumerate(zip(reference.onset_tick, reference.pitch, strict=True)):
        colour = ABSENT if note in absent else AGREES
        events[Fraction(int(tick), TICKS_PER_QUARTER)].append(Head(int(pitch), colour, f"note-{note}"))
    return events


def _staff(name: str, bars: list[tuple[Fraction, Fraction, int]], events: Events) -> Staff:
    """The events of these bars; a note lasts until the next one, as on a comb, but no longer than print has it."""
    times = sorted(events)
    out = []
    for start, end, number in bars:
        inside: dict[Fraction, Sequence[Head]] = {}
        for at, until in pairwise([*(at for at in times if start <= at < end), end]):
            # Of one pitch the surest stands: what agrees before what is displaced or not in the print.
            surest_last = sorted(events.get(at, ()), key=lambda head: head.colour, reverse=True)
            inside[at - start] = list({head.pitch: head for head in surest_last}.values())
            if until - at > LONGEST:
                inside.setdefault(at - start + LONGEST, ())
        out.append(StaffBar(number, end - start, inside))
    return Staff(name, out)


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
