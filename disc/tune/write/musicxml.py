"""A laid-out page as MusicXML 4.0. Every note carries the numbers of its pins as its id ("pin-12").

Notes stand at sounding pitch in the file; an octave clef says where they are written. A doubtful note is cue-sized, in
brackets, with "? 12" (its pin) above it. One whose tooth gives no tone is cue-sized, with a cross for its head: there
the disc rests. A note that only one pass of a repeat has is small, with "1." or "2." above it and the MusicXML
attribute time-only, so that the notes played out are the disc's strikes, one for one. Written by ourselves: a general
library takes more than half of the time of a whole transcription for it; the tests read all back with one.
"""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement, indent, tostring

from disc.records import Section, Tune
from disc.tune.score.records import TICKS_PER_QUARTER
from disc.tune.write.layout import Clef, ScorePage, lay_out
from disc.tune.write.midi import MUSIC_BOX_PROGRAM
from disc.tune.write.musicxml_notes import StaffVoice, add_text, add_words, signs_of, ticks, write_voice
from disc.tune.write.signs import TYPES
from disc.tune.write.spelling import Spellings, spellings_of
from disc.tune.write.tempo_sign import beat_of

HEAD = (
    '<?xml version="1.0" encoding="utf-8"?>\n<!DOCTYPE score-partwise PUBLIC '
    '"-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n'
)


def musicxml_text(tune: Tune) -> str:
    """The tune as MusicXML text."""
    return musicxml_of_page(lay_out(tune))


def musicxml_of_page(page: ScorePage, teeth: bool = False) -> str:
    """A laid-out page as MusicXML text, without the date of its making: the same page, the same bytes.

    teeth: each note's tooth stands under its staff, those of a chord from top to bottom.
    """
    root = Element("score-partwise", version="4.0")
    title = page.title or "Tune of the disc"
    add_text(SubElement(root, "work"), "work-title", title)
    add_text(root, "movement-title", title)
    encoding = SubElement(SubElement(root, "identification"), "encoding")
    for name in ("accidental", "beam"):
        SubElement(encoding, "supports", element=name, type="yes")
    _part_list(root)
    part = SubElement(root, "part", id="P1")
    led = spellings_of(page.bars)
    for index in range(len(page.bars)):
        _measure(part, page, index, led, teeth)
    indent(root)
    return HEAD + tostring(root, encoding="unicode") + "\n"


def _part_list(root: Element) -> None:
    """One part, the comb; its name is not printed, for it would be in one language only."""
    part = SubElement(SubElement(root, "part-list"), "score-part", id="P1")
    add_text(part, "part-name", "Comb", **{"print-object": "no"})
    add_text(SubElement(part, "score-instrument", id="I1"), "instrument-name", "Comb")
    midi = SubElement(part, "midi-instrument", id="I1")
    add_text(midi, "midi-channel", 1)
    add_text(midi, "midi-program", MUSIC_BOX_PROGRAM + 1)


# ---- a bar


def _measure(part: Element, page: ScorePage, index: int, led: Spellings, teeth: bool) -> None:
    bar = page.bars[index]
    printed = bar.printed
    short = printed.number == 0 or printed.length - printed.offset != printed.part.metre.bar_quarter
    measure = SubElement(part, "measure", number=str(printed.number), implicit="yes" if short else "no")
    _line_before(measure, page, index)
    _attributes(measure, page, index)
    _directions(measure, page, index)
    signs = signs_of(bar, led)
    for staff, voices in enumerate(bar.staves):
        for voice in range(len(voices)):
            if staff or voice:
                add_text(SubElement(measure, "backup"), "duration", ticks(printed.length - printed.offset))
            write_voice(measure, page, bar, StaffVoice(staff, voice, len(bar.staves), len(voices)), signs, teeth)
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
        add_text(made, "divisions", TICKS_PER_QUARTER)
    if before is None or anew or before.key.fifths != part.key.fifths:
        add_text(SubElement(made, "key"), "fifths", part.key.fifths)
    if before is None or anew or before.metre != part.metre:
        time = SubElement(made, "time")
        add_text(time, "beats", part.metre.beats)
        add_text(time, "beat-type", part.metre.unit)
    if before is None:
        if len(page.clefs) > 1:
            add_text(made, "staves", len(page.clefs))
        for number, clef in enumerate(page.clefs, start=1):
            _clef(made, clef, number)
    if len(made):
        measure.append(made)


def _clef(attributes: Element, clef: Clef, number: int) -> None:
    made = SubElement(attributes, "clef", number=str(number))
    add_text(made, "sign", clef.sign)
    add_text(made, "line", clef.line)
    if clef.octave:
        add_text(made, "clef-octave-change", clef.octave)


def _directions(measure: Element, page: ScorePage, index: int) -> None:
    """Tempo and, of a later tune, its title where it begins."""
    printed = page.bars[index].printed
    before = page.bars[index - 1].printed.part if index else None
    if not (printed.opens or not index) or not (before is None or printed.part.titled):
        return
    direction = SubElement(measure, "direction", placement="above")
    _tempo(SubElement(direction, "direction-type"), printed.part)
    add_text(direction, "staff", 1)
    SubElement(direction, "sound", tempo=str(round(60.0 / printed.part.quarter_s)))
    if before is not None and printed.part.title:
        add_words(measure, printed.part.title, "above", **{"font-weight": "bold"})


def _tempo(direction: Element, part: Section) -> None:
    """Beats in a minute."""
    beat = beat_of(part.metre, part.quarter_s)
    made = SubElement(direction, "metronome")
    add_text(made, "beat-unit", TYPES[beat.quarter])
    if beat.dotted:
        SubElement(made, "beat-unit-dot")
    add_text(made, "per-minute", beat.a_minute)


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
        add_text(line, "bar-style", style)
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
