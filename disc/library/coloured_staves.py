"""Staves of coloured notes as MusicXML text: what a comparison of disc and print needs, and no more.

music21 would write it as well, but takes longer to be imported and to do so than the whole search. Notes come with a
colour and a name of their own; accidentals, beams and triplets are set as usual (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from html import escape
from itertools import pairwise

from disc.records import Metre
from disc.tune.score.records import TICKS_PER_QUARTER
from disc.tune.write.lengths import rest_pieces, written_pieces
from disc.tune.write.signs import TYPES, Accidentals, beams_of, sign_of, spelled, triplet_ends

# Unless said otherwise: chosen by hand, by eye on printed comparisons.
GRID = 48  # parts of a quarter on which 64ths and their triplets stand; a quintuplet is written as its nearest value
BASS_BELOW = 55.0  # mean pitch of a staff below which it has a bass clef: G below middle C
COMMON_TIME = Metre(4, 4)  # where a print has no metre


@dataclass(frozen=True, slots=True)
class Head:
    """One note: MIDI number, colour, name."""

    pitch: int
    colour: str
    name: str


@dataclass(frozen=True, slots=True)
class StaffBar:
    """A bar: its printed number, its length, and what begins at which of its quarters; rests fill the rest."""

    number: int
    length: Fraction
    events: Mapping[Fraction, Sequence[Head]]


@dataclass(frozen=True, slots=True)
class Staff:
    """A staff: its name, its bars."""

    name: str
    bars: Sequence[StaffBar]


@dataclass(slots=True)
class _Written:
    """One written value: a chord or, without notes, a rest."""

    onset: Fraction
    duration: Fraction
    notes: Sequence[Head]
    tied_back: bool = False
    tied_on: bool = False


def coloured_staves(staves: Sequence[Staff], fifths: int, metre: Metre | None) -> str:
    """The staves as MusicXML text, bars below each other; several stand in a brace."""
    listed = [
        f'<score-part id="P{n}"><part-name>{escape(s.name)}</part-name></score-part>' for n, s in enumerate(staves)
    ]
    if len(staves) > 1:
        listed.insert(0, '<part-group type="start" number="1"><group-symbol>brace</group-symbol>'
                         "<group-barline>yes</group-barline></part-group>")  # fmt: skip
        listed.append('<part-group type="stop" number="1"/>')
    parts = "".join(f'<part id="P{n}">{_part(staff, fifths, metre)}</part>' for n, staff in enumerate(staves))
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><part-list>'
        f"{''.join(listed)}</part-list>{parts}</score-partwise>"
    )


def _part(staff: Staff, fifths: int, metre: Metre | None) -> str:
    pitches = [head.pitch for bar in staff.bars for heads in bar.events.values() for head in heads]
    low = bool(pitches) and sum(pitches) / len(pitches) < BASS_BELOW
    time = f"<time><beats>{metre.beats}</beats><beat-type>{metre.unit}</beat-type></time>" if metre else ""
    head = (
        f"<attributes><divisions>{TICKS_PER_QUARTER}</divisions><key><fifths>{fifths}</fifths></key>{time}"
        f"<clef>{'<sign>F</sign><line>4</line>' if low else '<sign>G</sign><line>2</line>'}</clef></attributes>"
    )
    out = []
    for place, bar in enumerate(staff.bars):
        values = _values(bar, metre or COMMON_TIME)
        signs, beams, ends = Accidentals(fifths), beams_of(values, metre or COMMON_TIME), triplet_ends(values)
        notes = "".join(_notes(*each, signs, fifths) for each in zip(values, beams, ends, strict=True))
        out.append(f'<measure number="{bar.number}">{head if place == 0 else ""}{notes}</measure>')
    return "".join(out)


def _values(bar: StaffBar, metre: Metre) -> list[_Written]:
    """What fills the bar, each length split into written values."""
    values: list[_Written] = []
    onsets = sorted({Fraction(0), *bar.events})
    for onset, until in pairwise([*onsets, bar.length]):
        heads = bar.events.get(onset, ())
        pieces = [until - onset]
        if GRID % onset.denominator == 0 and GRID % until.denominator == 0:
            pieces = (written_pieces if heads else rest_pieces)(onset, until - onset, metre)
        for number, piece in enumerate(pieces):
            values.append(_Written(onset, piece, heads, number > 0, number < len(pieces) - 1))
            onset += piece
    return values


def _notes(value: _Written, beams: Sequence[str], ends: tuple[bool, bool], signs: Accidentals, fifths: int) -> str:
    """A chord or a rest. beams: words, the outermost first; ends: whether a triplet's bracket begins and ends here."""
    sign = sign_of(value.duration)
    beamed = "".join(f'<beam number="{level}">{word}</beam>' for level, word in enumerate(beams, start=1))
    ratio = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
    duration = f"<duration>{round(value.duration * TICKS_PER_QUARTER)}</duration>"
    written = f"<type>{TYPES[sign.plain]}</type>{'<dot/>' * sign.dotted}"
    bracket = "".join(f'<tuplet type="{way}"/>' for way, here in zip(("start", "stop"), ends, strict=True) if here)
    ratio = ratio if sign.triplet else ""
    if not value.notes:
        notations = f"<notations>{bracket}</notations>" if bracket else ""
        return f"<note><rest/>{duration}<voice>1</voice>{written}{ratio}{notations}</note>"
    out = []
    for number, head in enumerate(sorted(value.notes, key=lambda head: head.pitch)):
        note = spelled(head.pitch, fifths)
        before = None if value.tied_back else signs.before(note)
        ties = ["stop"] * value.tied_back + ["start"] * value.tied_on
        accidental = f"<accidental>{before}</accidental>" if before else ""
        notations = "".join(f'<tied type="{way}"/>' for way in ties) + ("" if number else bracket)
        ident = head.name if not value.tied_back else f"{head.name}-tied-{float(value.onset):g}"
        pitch = f"<pitch><step>{note.letter}</step><alter>{note.alter}</alter><octave>{note.octave}</octave></pitch>"
        tied = "".join(f'<tie type="{way}"/>' for way in ties)
        last = f"<notations>{notations}</notations>" if notations else ""
        chord = "<chord/>" if number else ""
        out.append(
            f'<note id="{escape(ident)}" color="{head.colour}">{chord}{pitch}{duration}{tied}<voice>1</voice>'
            f"{written}{accidental}{ratio}{'' if number else beamed}{last}</note>"
        )
    return "".join(out)
