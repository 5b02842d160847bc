"""A tune laid out on paper: staves, clefs, bars, chords and rests, before any notation program sees it.

Comes in: a Tune whose notes carry the lengths a copyist would write. Goes out: Page, whose bars are full: the lengths
in each voice of each bar add up to the bar. A melody note held over a bar line is tied; an accompaniment note ends
there, since the instrument rings on by itself. A staff has two voices where that reads better (two_voices.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from disc.records import Metre, Note, Tune, Voice
from disc.tune.read.sections.strains import PrintedBar, printed_bars
from disc.tune.write.lengths import best_single_value, rest_pieces, written_pieces
from disc.tune.write.two_voices import parted

# Fewer accompaniment notes than this share of all are written on the melody's staff. Common practice, no source.
ONE_STAFF_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class Clef:
    """sign and line as in MusicXML; octave: how many octaves higher than written it sounds."""

    sign: str
    line: int
    octave: int = 0

    @property
    def middle_pitch(self) -> float:
        """The pitch about the middle line."""
        return {"G": 71.0, "F": 50.0}[self.sign] + 12 * self.octave


# Tried in this order, plain ones first: sign, line or octaves up. Chosen.
UPPER_CLEFS = (Clef("G", 2), Clef("G", 2, 1), Clef("G", 2, 2), Clef("F", 4))
LOWER_CLEFS = (Clef("F", 4), Clef("G", 2), Clef("G", 2, 1), Clef("G", 2, 2))  # likewise
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# Half a staff, and one ledger line's room on each side, in semitones: what lies further out costs readability.
COMFORT = 9.0


@dataclass(frozen=True, slots=True)
class Chord:
    """Notes that begin together in one voice, or a rest (no notes). Times in quarters from the bar's start.

    hidden: a rest that only fills a second voice, and is not printed.
    """

    onset: Fraction
    duration: Fraction
    notes: tuple[Note, ...] = ()
    graces: tuple[Note, ...] = ()
    tied_back: bool = False
    tied_on: bool = False
    hidden: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """One printed bar: for each staff its voices, one or two (stems up, stems down), and of each its chords.

    The chords of a voice stand in order and without gaps.
    """

    printed: PrintedBar
    staves: tuple[tuple[tuple[Chord, ...], ...], ...]


@dataclass(frozen=True, slots=True)
class ScorePage:
    """What is to be engraved. held: onsets under a fermata; slowing: where "rit." stands; quarters of the turn."""

    title: str
    metre: Metre
    fifths: int
    quarter_s: float
    clefs: tuple[Clef, ...]
    bars: tuple[Bar, ...] = field(default_factory=tuple)
    held: frozenset[Fraction] = frozenset()
    slowing: Fraction | None = None


def lay_out(tune: Tune) -> ScorePage:
    """The tune on paper, its repeats folded."""
    staves = _staves(tune)
    clefs = tuple(
        _best_clef([n for n in tune.notes if staves[n.voice] == staff], UPPER_CLEFS if staff == 0 else LOWER_CLEFS)
        for staff in range(max(staves.values()) + 1)
    )
    bars = []
    held: list[list[tuple[Note, Fraction]]] = [[] for _ in clefs]
    for printed in _sounding_bars(printed_bars(tune)):
        filled = []
        for staff in range(len(clefs)):
            mine = [note for note in printed.notes if staves[note.voice] == staff]
            voices, held[staff] = _fill_staff(mine, printed, held[staff], tie=staff == 0)
            filled.append(voices)
        bars.append(Bar(printed, tuple(filled)))
    return ScorePage(
        tune.title,
        tune.metre,
        tune.key.fifths,
        tune.quarter_s,
        clefs,
        tuple(bars),
        _held_on_paper(tune, [note for bar in bars for note in bar.printed.notes]),
        tune.slowing_quarter,
    )


def _sounding_bars(bars: Sequence[PrintedBar]) -> list[PrintedBar]:
    """The bars without those of rests alone at the end of a tune that another follows: there the disc runs on in
    silence, which no print counts out.
    """
    kept: list[PrintedBar] = []
    for bar in bars:
        while bar.opens and bar.part.titled and kept and _is_silent_end(kept):
            kept.pop()
        kept.append(bar)
    return kept


def _is_silent_end(bars: Sequence[PrintedBar]) -> bool:
    """Whether the last bar has nothing to print: no note, no sign of a repeat, and no note tied into it."""
    last = bars[-1]
    if last.notes or last.opens or last.repeat_start or last.repeat_end or last.ending is not None:
        return False
    before = bars[-2]
    return all(note.onset_quarter + note.duration_quarter <= before.start + before.length for note in before.notes)


def _held_on_paper(tune: Tune, written: Sequence[Note]) -> frozenset[Fraction]:
    """Places of the fermatas; one of a repeat's second pass stands over the note that both passes share."""
    held = {pin for note in tune.notes if note.onset_quarter in tune.held and not note.grace for pin in note.pins}
    return frozenset({*tune.held, *(note.onset_quarter for note in written if held.intersection(note.pins))})


def _staves(tune: Tune) -> dict[Voice, int]:
    below = sum(note.voice is Voice.ACCOMPANIMENT for note in tune.notes)
    two = below > ONE_STAFF_SHARE * len(tune.notes)
    return {Voice.MELODY: 0, Voice.ACCOMPANIMENT: 1 if two else 0}


def _best_clef(notes: Sequence[Note], choices: Sequence[Clef]) -> Clef:
    """The clef that keeps most notes near the staff; the first of equals. One far out, which runs into the other
    staff, counts for many a little out: by squares.
    """

    def strain(clef: Clef) -> float:
        return sum(max(0.0, abs(note.pitch - clef.middle_pitch) - COMFORT) ** 2 for note in notes)

    return min(choices, key=strain)


def _fill_staff(
    notes: Sequence[Note], printed: PrintedBar, held: Sequence[tuple[Note, Fraction]], tie: bool
) -> tuple[tuple[tuple[Chord, ...], ...], list[tuple[Note, Fraction]]]:
    """The voices of one staff in one bar, and the notes that go on into the next; of two voices only the upper's do."""
    metre = printed.part.metre
    voices = parted(notes, printed.start, printed.length, metre)
    up, left = _fill_bar(voices.up, printed, metre, held, tie)
    if not voices.down:
        return (up,), left
    down, _ = _fill_bar(voices.down, printed, metre, (), tie=False)
    return (up, tuple(chord if chord.notes else replace(chord, hidden=True) for chord in down)), left


def _fill_bar(
    notes: Sequence[Note],
    printed: PrintedBar,
    metre: Metre,
    held: Sequence[tuple[Note, Fraction]],
    tie: bool,
) -> tuple[tuple[Chord, ...], list[tuple[Note, Fraction]]]:
    """The chords of one voice in one bar, and the notes that go on into the next with what is left of them.

    held: notes still sounding from the bar before.
    """
    onsets = sorted({note.onset_quarter - printed.start for note in notes if not note.grace})
    first = onsets[0] if onsets else printed.length
    chords: list[Chord] = []
    left: list[tuple[Note, Fraction]] = []
    place = printed.offset
    if held:
        length = min(held[0][1], first - place)
        if length > 0:
            carried = tuple(note for note, _ in held)
            chords += _pieces(place, length, carried, (), metre, tied_back=True)
            left = _left_over(chords, carried, held[0][1] - length if place + length >= printed.length else Fraction(0))
            place += length
    for index, onset in enumerate(onsets):
        chords += _rests(place, onset, metre, printed)
        end = onsets[index + 1] if index + 1 < len(onsets) else printed.length
        here = _together(notes, onset + printed.start, grace=False)
        graces = _together(notes, onset + printed.start, grace=True)
        wanted = max(note.duration_quarter for note in here)
        length = min(wanted, end - onset)
        if not tie:  # it rings on by itself: one sign, and a rest for what is left, rather than ties
            wanted = length = best_single_value(onset, length, metre)
        elif length < wanted and end < printed.length:
            wanted = length
        pieces = _pieces(onset, length, here, graces, metre)
        chords += pieces
        place = onset + length
        left = _left_over(chords, here, wanted - length)
    chords += _rests(place, printed.length, metre, printed)
    return tuple(chords), left


def _left_over(chords: list[Chord], notes: tuple[Note, ...], rest: Fraction) -> list[tuple[Note, Fraction]]:
    """What goes on into the next bar; marks the last chord as tied."""
    if rest <= 0:
        return []
    last = chords[-1]
    chords[-1] = Chord(last.onset, last.duration, last.notes, last.graces, last.tied_back, tied_on=True)
    return [(note, rest) for note in notes]


def _together(notes: Sequence[Note], onset: Fraction, grace: bool) -> tuple[Note, ...]:
    chosen = [note for note in notes if note.onset_quarter == onset and note.grace is grace]
    if grace:  # one after the other, as they are struck; a turn strikes a pitch twice
        return tuple(sorted(chosen, key=lambda n: n.onset_s or 0.0))
    seen: dict[int, Note] = {}
    for note in sorted(chosen, key=lambda n: n.pitch):
        seen.setdefault(note.pitch, note)
    return tuple(seen.values())


def _pieces(
    onset: Fraction,
    length: Fraction,
    notes: tuple[Note, ...],
    graces: tuple[Note, ...],
    metre: Metre,
    tied_back: bool = False,
) -> list[Chord]:
    lengths = written_pieces(onset, length, metre)
    chords = []
    for index, piece in enumerate(lengths):
        back = tied_back or index > 0
        on = index < len(lengths) - 1
        chords.append(Chord(onset, piece, notes, graces if index == 0 else (), back, on))
        onset += piece
    return chords


def _rests(start: Fraction, end: Fraction, metre: Metre, printed: PrintedBar) -> list[Chord]:
    if end <= start:
        return []
    if start == 0 and end == metre.bar_quarter:
        return [Chord(start, end)]
    rests = []
    for piece in rest_pieces(start, end - start, metre):
        rests.append(Chord(start, piece))
        start += piece
    return rests
