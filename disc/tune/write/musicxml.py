"""A laid-out page as MusicXML, through music21. Every note carries the numbers of its pins as its id ("pin-12").

Notes stand at sounding pitch in the file; an octave clef says where they are written. A doubtful note is cue-sized, in
brackets, with "? 12" (its pin) above it. A note that only one pass of a repeat has is small, with "1." or "2." above it
and the MusicXML attribute time-only, so that the notes played out are the disc's strikes, one for one.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from disc.pitch_names import LETTER_SEMITONES
from disc.records import Metre, Note, Section, Tune
from disc.tune.write.layout import Bar, Chord, Clef, ScorePage, lay_out
from disc.tune.write.lengths import beat_quarter, is_compound
from disc.tune.write.midi import MUSIC_BOX_PROGRAM

# The line of fifths from F (-1) upwards, seven letters.
LETTERS = "FCGDAEB"


def musicxml_text(tune: Tune) -> str:
    """The tune as MusicXML text."""
    return musicxml_of_page(lay_out(tune))


def musicxml_of_page(page: ScorePage, teeth: bool = False) -> str:
    """A laid-out page as MusicXML text, without the date of its making: the same page, the same bytes.

    teeth: each note's tooth stands under its staff, those of a chord from top to bottom.
    """
    import re

    from music21.musicxml.m21ToXml import GeneralObjectExporter

    text = GeneralObjectExporter().parse(_score(page, teeth)).decode("utf-8")
    text = re.sub(r'\s*<encoding-date>[^<]*</encoding-date>|\s*<creator type="composer">Music21</creator>', "", text)
    for bar in page.bars:
        for pin, time in bar.printed.only.items():  # music21 does not write in which pass a note is played
            text = text.replace(f'id="pin-{pin}"', f'id="pin-{pin}" time-only="{time}"')
    # music21 does not write on which side of the staff a tempo stands
    return re.sub(r"<direction>(?=\s*<direction-type>\s*<words[^>]*>♩)", '<direction placement="above">', text)


def spelled(pitch: int, fifths: int) -> str:
    """A MIDI number's name as music21 reads it ("B-4"), spelled for a signature: the nearest on the line of fifths.

    The window of twelve fifths is such that chromatic notes of a major key come out as raised first, fourth and fifth
    and flat third and seventh, and the leading note of its relative minor as raised. Common practice.
    """
    low = fifths - 3  # in C: from E flat (-3) to G sharp (8)
    place = next(f for f in range(low, low + 12) if (f * 7) % 12 == pitch % 12)
    letter = LETTERS[(place + 1) % 7]
    signs = (place + 1) // 7
    natural = LETTER_SEMITONES[letter]
    octave = (pitch - signs - natural) // 12 - 1
    return f"{letter}{'#' * max(signs, 0)}{'-' * max(-signs, 0)}{octave}"


def _score(page: ScorePage, teeth: bool) -> Any:
    from music21 import layout, metadata, stream

    score = stream.Score()
    score.metadata = metadata.Metadata()
    score.metadata.title = page.title or "Tune of the disc"
    score.metadata.software = ()
    parts = [_part(page, staff, teeth) for staff in range(len(page.clefs))]
    for part in parts:
        score.insert(0, part)
    if len(parts) > 1:
        score.insert(0, layout.StaffGroup(parts, symbol="brace", barTogether=True))
    return score


def _part(page: ScorePage, staff: int, teeth: bool) -> Any:
    from music21 import stream

    part: Any = stream.PartStaff() if len(page.clefs) > 1 else stream.Part()
    part.partName = "Comb"
    part.style.printPartName = False  # the only voice needs no name, and a name would be in one language only
    part.insert(0, _instrument(staff))
    for index in range(len(page.bars)):
        part.append(_measure(page, index, staff, teeth))
    _mark_endings(part, page)
    return part


def _instrument(staff: int) -> Any:
    """The comb, with an id of its own: without one music21 makes up a new one at each writing."""
    from music21 import instrument

    comb: Any = instrument.Instrument("Comb")
    comb.partId = f"P{staff + 1}"
    comb.instrumentId = f"I{staff + 1}"
    comb.midiProgram = MUSIC_BOX_PROGRAM
    comb.midiChannel = staff
    return comb


def _measure(page: ScorePage, index: int, staff: int, teeth: bool) -> Any:
    from music21 import bar as barlines
    from music21 import expressions, stream

    bar = page.bars[index]
    printed, part = bar.printed, bar.printed.part
    measure = stream.Measure(number=printed.number)
    if index == 0:
        measure.insert(0, _clef(page.clefs[staff]))
    for sign in _signs(page, index, staff):
        measure.insert(0, sign)
    if printed.offset:
        measure.paddingLeft = printed.offset
    if printed.length < part.metre.bar_quarter:  # or music21 fills the bar with a rest
        measure.paddingRight = part.metre.bar_quarter - printed.length
    if printed.repeat_start:
        measure.leftBarline = barlines.Repeat(direction="start")
    if printed.repeat_end:
        measure.rightBarline = barlines.Repeat(direction="end")
    elif (kind := _line_after(page, index)) is not None:
        measure.rightBarline = barlines.Barline(kind)
    for chord in bar.staves[staff]:
        element = _insert_chord(measure, chord, bar, page)
        if teeth and not chord.tied_back:
            _write_teeth(element, chord)
    if staff == 0 and page.slowing is not None and 0 <= page.slowing - bar.printed.start < part.metre.bar_quarter:
        slow = expressions.TextExpression("rit.")
        slow.style.fontStyle = "italic"  # type: ignore[attr-defined]
        measure.insert(max(Fraction(0), page.slowing - bar.printed.start - bar.printed.offset), slow)
    _beam(measure, part.metre, bar.printed.offset)
    return measure


def _signs(page: ScorePage, index: int, staff: int) -> list[Any]:
    """Signature, metre, tempo and title where a section begins, as far as they are new."""
    from music21 import key, meter

    printed, part = page.bars[index].printed, page.bars[index].printed.part
    if not printed.opens:
        return []
    before = page.bars[index - 1].printed.part if index else None
    anew = before is None or part.titled
    signs: list[Any] = []
    if before is None or anew or before.key.fifths != part.key.fifths:
        signs.append(key.KeySignature(part.key.fifths))
    if before is None or anew or before.metre != part.metre:
        signs.append(meter.TimeSignature(f"{part.metre.beats}/{part.metre.unit}"))
    if staff == 0 and anew:
        signs.append(_tempo(part))
        if before is not None and part.title:
            signs.append(_heading(part.title))
    return signs


def _line_after(page: ScorePage, index: int) -> str | None:
    """The kind of bar line after a bar where it is no plain one."""
    if index + 1 == len(page.bars):
        return "final"
    following = page.bars[index + 1].printed
    if not following.opens:
        return None
    if following.part.titled:
        return "final"
    return "double" if following.part.metre != page.bars[index].printed.part.metre else None


def _heading(title: str) -> Any:
    """A later tune's title, over its first bar."""
    from music21 import expressions

    words: Any = expressions.TextExpression(title)
    words.style.fontWeight = "bold"
    words.placement = "above"
    return words


def _tempo(part: Section) -> Any:
    """Beats in a minute, as words: a note sign every font has, where the engraver's own would be missing in the PDF."""
    from music21 import tempo

    compound = is_compound(part.metre)
    beat = beat_quarter(part.metre) if compound else Fraction(1)
    words = f"♩{'.' if compound else ''} = {round(60.0 / (part.quarter_s * float(beat)))}"
    return tempo.MetronomeMark(text=words, numberSounding=round(60.0 / part.quarter_s))


def _clef(clef: Clef) -> Any:
    from music21 import clef as clefs

    made = clefs.TrebleClef() if clef.sign == "G" else clefs.BassClef()
    made.octaveChange = clef.octave
    return made


def _write_teeth(element: Any, chord: Chord) -> None:
    """The numbers of the teeth as words under the note, the highest note's first; those of grace notes go before."""
    graces = [str(grace.tooth) for grace in chord.graces if grace.tooth]
    notes = [str(note.tooth) for note in sorted(chord.notes, key=lambda n: -n.pitch) if note.tooth]
    if graces and notes:
        notes[0] = " ".join((*graces, notes[0]))
    for line, number in enumerate(notes, start=1):
        element.addLyric(number, lyricNumber=line)


def _insert_chord(measure: Any, chord: Chord, bar: Bar, page: ScorePage) -> Any:
    """Put a chord, a note or a rest into its measure; what was put there."""
    from music21 import articulations, expressions, note, tie
    from music21 import chord as chords

    offset = chord.onset - bar.printed.offset
    fifths = bar.printed.part.key.fifths
    if not chord.notes:
        rest = note.Rest(quarterLength=chord.duration)
        if chord.onset == 0 and chord.duration == bar.printed.part.metre.bar_quarter:
            rest.fullMeasure = True
        measure.insert(offset, rest)
        return rest
    for grace in chord.graces:
        small = _note(grace, Fraction(1, 4), fifths).getGrace()
        small.id = _id(grace)
        measure.insert(offset, small)
    made = [_note(n, chord.duration, fifths) for n in chord.notes]
    once = [bar.printed.only[pin] for n in chord.notes for pin in n.pins if pin in bar.printed.only]
    for written, one in zip(chord.notes, made, strict=True):
        if any(pin in bar.printed.only for pin in written.pins):
            one.style.noteSize = "cue"
    if chord.tied_on or chord.tied_back:
        kind = "continue" if chord.tied_on and chord.tied_back else "start" if chord.tied_on else "stop"
        for one in made:
            one.tie = tie.Tie(kind)
    if chord.tied_back:
        for one in made:
            one.id = f"{one.id}-held"
    element: Any = made[0] if len(made) == 1 else chords.Chord(made, quarterLength=chord.duration)
    if len(made) > 1 and any(n.rolled for n in chord.notes):
        element.expressions.append(expressions.ArpeggioMark())
    measure.insert(offset, element)
    if not chord.tied_back and bar.printed.start + chord.onset in page.held:
        fermata = expressions.Fermata()
        fermata.type = "upright"
        element.expressions.append(fermata)
    if once and not chord.tied_back:
        words: Any = articulations.Fingering(" ".join(f"{time}." for time in sorted(set(once))))
        words.placement = "above"
        element.articulations.append(words)
    doubtful = [n for n in chord.notes if n.doubtful]
    if doubtful and not chord.tied_back:
        numbers = " ".join(str(pin) for n in doubtful for pin in n.pins)
        mark: Any = articulations.Fingering(f"?{numbers}")
        mark.placement = "above"
        element.articulations.append(mark)
    return element


def _note(written: Note, duration: Fraction, fifths: int) -> Any:
    from music21 import note

    made = note.Note(spelled(written.pitch, fifths), quarterLength=duration)
    made.id = _id(written)
    if written.doubtful:
        made.noteheadParenthesis = True
        made.style.noteSize = "cue"  # type: ignore[attr-defined]
    return made


def _id(written: Note) -> str:
    return "pin-" + "-".join(str(pin) for pin in written.pins) if written.pins else f"note-{written.onset_quarter}"


def _beam(measure: Any, metre: Metre, offset: Fraction) -> None:
    """Beams as the metre groups them; a bar that music21 cannot beam is printed with flags."""
    from music21 import exceptions21, meter

    signature = meter.TimeSignature(f"{metre.beats}/{metre.unit}")
    elements = [e for e in measure.notesAndRests if not e.duration.isGrace]
    try:
        found = signature.getBeams(elements, measureStartOffset=offset)
    except exceptions21.Music21Exception:
        return
    for element, beams in zip(elements, found, strict=True):
        if beams is not None and not element.isRest:
            element.beams = beams


def _mark_endings(part: Any, page: ScorePage) -> None:
    from music21 import spanner

    measures = list(part.getElementsByClass("Measure"))
    runs: list[tuple[int, list[Any]]] = []
    for bar, measure in zip(page.bars, measures, strict=True):
        ending = bar.printed.ending
        if ending is None:
            continue
        if runs and runs[-1][0] == ending and measures.index(runs[-1][1][-1]) == measures.index(measure) - 1:
            runs[-1][1].append(measure)
        else:
            runs.append((ending, [measure]))
    for ending, covered in runs:
        part.insert(0, spanner.RepeatBracket(covered, number=ending))
