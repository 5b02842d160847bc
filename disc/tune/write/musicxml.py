"""A laid-out page as MusicXML 4.0. Every note carries the numbers of its pins as its id ("pin-12").

Notes stand at sounding pitch in the file; an octave clef says where they are written. A doubtful note is cue-sized, in
brackets, with "? 12" (its pin) above it. A note that only one pass of a repeat has is small, with "1." or "2." above it
and the MusicXML attribute time-only, so that the notes played out are the disc's strikes, one for one. Written by
ourselves: a general library takes more than half of the time of a whole transcription for it; the tests read all back
with one.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from disc.records import Note, Section, Tune
from disc.tune.score.records import TICKS_PER_QUARTER
from disc.tune.write.layout import Bar, Chord, Clef, ScorePage, lay_out
from disc.tune.write.lengths import beat_quarter, is_compound
from disc.tune.write.midi import MUSIC_BOX_PROGRAM
from disc.tune.write.signs import TYPES, Accidentals, Sign, beams_of, sign_of, spelled, triplet_ends

HEAD = (
    '<?xml version="1.0" encoding="utf-8"?>\n<!DOCTYPE score-partwise PUBLIC '
    '"-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
GRACE = Sign(Fraction(1, 4))  # a small note is written as a sixteenth with a stroke; common practice, no source


def musicxml_text(tune: Tune) -> str:
    """The tune as MusicXML text."""
    return musicxml_of_page(lay_out(tune))


def musicxml_of_page(page: ScorePage, teeth: bool = False) -> str:
    """A laid-out page as MusicXML text, without the date of its making: the same page, the same bytes.

    teeth: each note's tooth stands under its staff, those of a chord from top to bottom.
    """
    root = Element("score-partwise", version="4.0")
    title = page.title or "Tune of the disc"
    _text(SubElement(root, "work"), "work-title", title)
    _text(root, "movement-title", title)
    encoding = SubElement(SubElement(root, "identification"), "encoding")
    for name in ("accidental", "beam"):
        SubElement(encoding, "supports", element=name, type="yes")
    _part_list(root)
    part = SubElement(root, "part", id="P1")
    for index in range(len(page.bars)):
        _measure(part, page, index, teeth)
    indent(root)
    return HEAD + tostring(root, encoding="unicode") + "\n"


def _text(parent: Element, tag: str, text: object, **attributes: str) -> Element:
    made = SubElement(parent, tag, attributes)
    made.text = str(text)
    return made


def _part_list(root: Element) -> None:
    """One part, the comb; its name is not printed, for it would be in one language only."""
    part = SubElement(SubElement(root, "part-list"), "score-part", id="P1")
    _text(part, "part-name", "Comb", **{"print-object": "no"})
    _text(SubElement(part, "score-instrument", id="I1"), "instrument-name", "Comb")
    midi = SubElement(part, "midi-instrument", id="I1")
    _text(midi, "midi-channel", 1)
    _text(midi, "midi-program", MUSIC_BOX_PROGRAM + 1)


# ---- a bar


def _measure(part: Element, page: ScorePage, index: int, teeth: bool) -> None:
    bar = page.bars[index]
    printed = bar.printed
    short = printed.number == 0 or printed.length - printed.offset != printed.part.metre.bar_quarter
    measure = SubElement(part, "measure", number=str(printed.number), implicit="yes" if short else "no")
    _line_before(measure, page, index)
    _attributes(measure, page, index)
    _directions(measure, page, index)
    for staff, chords in enumerate(bar.staves):
        if staff:
            _text(SubElement(measure, "backup"), "duration", _ticks(printed.length - printed.offset))
        _staff(measure, page, bar, staff, chords, teeth)
    _line_after(measure, page, index)


def _attributes(measure: Element, page: ScorePage, index: int) -> None:
    """Signature and metre where a section begins, as far as they are new; staves and clefs in the first bar."""
    printed = page.bars[index].printed
    part, before = printed.part, page.bars[index - 1].printed.part if index else None
    if not printed.opens and index:
        return
    anew = before is None or part.titled
    made = Element("attributes")
    if before is None:
        _text(made, "divisions", TICKS_PER_QUARTER)
    if before is None or anew or before.key.fifths != part.key.fifths:
        _text(SubElement(made, "key"), "fifths", part.key.fifths)
    if before is None or anew or before.metre != part.metre:
        time = SubElement(made, "time")
        _text(time, "beats", part.metre.beats)
        _text(time, "beat-type", part.metre.unit)
    if before is None:
        if len(page.clefs) > 1:
            _text(made, "staves", len(page.clefs))
        for number, clef in enumerate(page.clefs, start=1):
            _clef(made, clef, number)
    if len(made):
        measure.append(made)


def _clef(attributes: Element, clef: Clef, number: int) -> None:
    made = SubElement(attributes, "clef", number=str(number))
    _text(made, "sign", clef.sign)
    _text(made, "line", clef.line)
    if clef.octave:
        _text(made, "clef-octave-change", clef.octave)


def _directions(measure: Element, page: ScorePage, index: int) -> None:
    """Tempo and, of a later tune, its title where it begins."""
    printed = page.bars[index].printed
    before = page.bars[index - 1].printed.part if index else None
    if not (printed.opens or not index) or not (before is None or printed.part.titled):
        return
    direction = _words(measure, _tempo_words(printed.part), "above", **{"font-weight": "bold"})
    SubElement(direction, "sound", tempo=str(round(60.0 / printed.part.quarter_s)))
    if before is not None and printed.part.title:
        _words(measure, printed.part.title, "above", **{"font-weight": "bold"})


def _tempo_words(part: Section) -> str:
    """Beats in a minute, as words: a note sign every font has, where the engraver's own would be missing in the PDF."""
    compound = is_compound(part.metre)
    beat = beat_quarter(part.metre) if compound else Fraction(1)
    return f"♩{'.' if compound else ''} = {round(60.0 / (part.quarter_s * float(beat)))}"


def _words(measure: Element, words: str, placement: str, **style: str) -> Element:
    direction = SubElement(measure, "direction", placement=placement)
    _text(SubElement(direction, "direction-type"), "words", words, **style)
    _text(direction, "staff", 1)
    return direction


def _line_before(measure: Element, page: ScorePage, index: int) -> None:
    printed = page.bars[index].printed
    opens = printed.ending is not None and (index == 0 or page.bars[index - 1].printed.ending != printed.ending)
    if not (printed.repeat_start or opens):
        return
    line = SubElement(measure, "barline", location="left")
    if opens:
        SubElement(line, "ending", number=str(printed.ending), type="start")
    if printed.repeat_start:
        SubElement(line, "repeat", direction="forward")


def _line_after(measure: Element, page: ScorePage, index: int) -> None:
    printed = page.bars[index].printed
    following = page.bars[index + 1].printed if index + 1 < len(page.bars) else None
    closes = printed.ending is not None and (following is None or following.ending != printed.ending)
    style = None if printed.repeat_end else _style_after(page, index)
    if not (printed.repeat_end or closes or style):
        return
    line = SubElement(measure, "barline", location="right")
    if style:
        _text(line, "bar-style", style)
    if closes:
        SubElement(line, "ending", number=str(printed.ending), type="stop")
    if printed.repeat_end:
        SubElement(line, "repeat", direction="backward")


def _style_after(page: ScorePage, index: int) -> str | None:
    """The kind of bar line after a bar where it is no plain one."""
    if index + 1 == len(page.bars):
        return "light-heavy"
    following = page.bars[index + 1].printed
    if not following.opens:
        return None
    if following.part.titled:
        return "light-heavy"
    return "light-light" if following.part.metre != page.bars[index].printed.part.metre else None


# ---- notes


class _Place(NamedTuple):
    """What is the same for all notes of a chord."""

    bar: Bar
    chord: Chord
    voice: int
    sign: Sign
    beams: tuple[str, ...]
    bracket: tuple[bool, bool]
    many: bool  # staves


def _staff(measure: Element, page: ScorePage, bar: Bar, staff: int, chords: Sequence[Chord], teeth: bool) -> None:
    """The chords and rests of a staff in one bar."""
    printed = bar.printed
    signs = Accidentals(printed.part.key.fifths)
    beams, brackets = beams_of(chords, printed.part.metre), triplet_ends(chords)
    slows = _slows_at(page, bar, chords) if staff == 0 else None
    for number, (chord, beam, bracket) in enumerate(zip(chords, beams, brackets, strict=True)):
        if number == slows:
            _words(measure, "rit.", "below", **{"font-style": "italic"})
        place = _Place(bar, chord, staff + 1, sign_of(chord.duration), beam, bracket, len(page.clefs) > 1)
        if not chord.notes:
            _rest(measure, place)
            continue
        for grace in chord.graces:
            _note(measure, grace, place, signs, small=True)
        for above, note in enumerate(chord.notes):
            made = _note(measure, note, place, signs, chorded=above > 0)
            if above == 0:
                _marks(made, page, place, teeth)


def _slows_at(page: ScorePage, bar: Bar, chords: Sequence[Chord]) -> int | None:
    """Before which chord "rit." stands, where it begins in this bar."""
    printed = bar.printed
    at = None if page.slowing is None else page.slowing - printed.start
    if at is None or not chords or not printed.offset <= at < printed.length:
        return None
    return next((number for number, chord in enumerate(chords) if chord.onset >= at), len(chords) - 1)


def _rest(measure: Element, place: _Place) -> None:
    whole = place.chord.onset == 0 and place.chord.duration == place.bar.printed.part.metre.bar_quarter
    note = SubElement(measure, "note")
    SubElement(note, "rest", {"measure": "yes"} if whole else {})
    _text(note, "duration", _ticks(place.chord.duration))
    _text(note, "voice", place.voice)
    if not whole:
        _length(note, place.sign)
    if place.many:
        _text(note, "staff", place.voice)
    if any(place.bracket):
        _brackets(SubElement(note, "notations"), place)


def _note(
    measure: Element, written: Note, place: _Place, signs: Accidentals, small: bool = False, chorded: bool = False
) -> Element:
    """One note; its parts in the order in which MusicXML wants them."""
    chord, only = place.chord, place.bar.printed.only
    name = _id(written) + ("-held" if chord.tied_back and not small else "")
    note = SubElement(measure, "note", id=name)
    time = next((only[pin] for pin in written.pins if pin in only), None)
    if time is not None:
        note.set("time-only", str(time))
    if small:
        SubElement(note, "grace", slash="yes")
    if chorded:
        SubElement(note, "chord")
    spelling = spelled(written.pitch, place.bar.printed.part.key.fifths)
    pitch = SubElement(note, "pitch")
    _text(pitch, "step", spelling.letter)
    if spelling.alter:
        _text(pitch, "alter", spelling.alter)
    _text(pitch, "octave", spelling.octave)
    ties = [] if small else [kind for kind, tied in (("stop", chord.tied_back), ("start", chord.tied_on)) if tied]
    if not small:
        _text(note, "duration", _ticks(chord.duration))
        for kind in ties:
            SubElement(note, "tie", type=kind)
    _text(note, "voice", place.voice)
    tied_over = chord.tied_back and not small  # the accidental of its beginning holds
    accidental = None if tied_over else signs.before(spelling)
    _length(note, GRACE if small else place.sign, accidental, cue=written.doubtful or time is not None)
    if written.doubtful:
        _text(note, "notehead", "normal", parentheses="yes")
    if place.many:
        _text(note, "staff", place.voice)
    if small:
        return note
    if not chorded:
        for number, words in enumerate(place.beams, start=1):
            _text(note, "beam", words, number=str(number))
    _notations(note, place, ties, chorded)
    return note


def _length(note: Element, sign: Sign, accidental: str | None = None, cue: bool = False) -> None:
    """The sign of a length, and what stands beside it."""
    _text(note, "type", TYPES[sign.plain], **({"size": "cue"} if cue else {}))
    if sign.dotted:
        SubElement(note, "dot")
    if accidental:
        _text(note, "accidental", accidental)
    if sign.triplet:
        modification = SubElement(note, "time-modification")
        _text(modification, "actual-notes", 3)
        _text(modification, "normal-notes", 2)


def _notations(note: Element, place: _Place, ties: Sequence[str], chorded: bool) -> None:
    made = Element("notations")
    for kind in ties:
        SubElement(made, "tied", type=kind)
    if not chorded:
        _brackets(made, place)
    if len(place.chord.notes) > 1 and any(n.rolled for n in place.chord.notes):
        SubElement(made, "arpeggiate")
    if len(made):
        note.append(made)


def _brackets(notations: Element, place: _Place) -> None:
    begins, ends = place.bracket
    if begins:
        SubElement(notations, "tuplet", number="1", type="start", bracket="no" if place.beams else "yes")
    if ends:
        SubElement(notations, "tuplet", number="1", type="stop")


def _marks(note: Element, page: ScorePage, place: _Place, teeth: bool) -> None:
    """A fermata, the pass of a repeat, the pins in doubt, the teeth: at the first note of a chord."""
    chord, printed = place.chord, place.bar.printed
    if chord.tied_back:
        return
    only = printed.only
    once = sorted({only[pin] for n in chord.notes for pin in n.pins if pin in only})
    doubtful = " ".join(str(pin) for n in chord.notes if n.doubtful for pin in n.pins)
    fingerings = [" ".join(f"{time}." for time in once)] * bool(once) + [f"?{doubtful}"] * bool(doubtful)
    held = printed.start + chord.onset in page.held
    if fingerings or held:
        found = note.find("notations")
        notations = SubElement(note, "notations") if found is None else found
        if fingerings:
            technical = SubElement(notations, "technical")
            for words in fingerings:
                _text(technical, "fingering", words, placement="above")
        if held:
            SubElement(notations, "fermata", type="upright")
    if teeth:
        for line, number in enumerate(_teeth(chord), start=1):
            lyric = SubElement(note, "lyric", number=str(line))
            _text(lyric, "syllabic", "single")
            _text(lyric, "text", number)


def _teeth(chord: Chord) -> list[str]:
    """The numbers of the teeth, the highest note's first; those of grace notes go before."""
    graces = [str(grace.tooth) for grace in chord.graces if grace.tooth]
    notes = [str(note.tooth) for note in sorted(chord.notes, key=lambda n: -n.pitch) if note.tooth]
    if graces and notes:
        notes[0] = " ".join((*graces, notes[0]))
    return notes


def _ticks(length: Fraction) -> int:
    return round(length * TICKS_PER_QUARTER)


def _id(written: Note) -> str:
    return "pin-" + "-".join(str(pin) for pin in written.pins) if written.pins else f"note-{written.onset_quarter}"
