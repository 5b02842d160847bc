"""The notes of one voice of a bar as MusicXML elements, in the order in which MusicXML wants their parts."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple
from xml.etree.ElementTree import Element, SubElement

from disc.records import Note
from disc.tune.score.records import TICKS_PER_QUARTER
from disc.tune.write.layout import Bar, Chord, ScorePage
from disc.tune.write.signs import TYPES, Accidentals, Sign, Spelling, beams_of, sign_of, triplet_ends
from disc.tune.write.spelling import Spellings, plainly

GRACE = Sign(Fraction(1, 4))  # a small note is written as a sixteenth with a stroke; common practice, no source


class StaffVoice(NamedTuple):
    """Which voice of a bar: staff and place on it from 0, and how many there are of each."""

    staff: int
    place: int
    staves: int
    voices: int

    @property
    def number(self) -> int:
        """As MusicXML counts: the first voices of all staves, then the second ones."""
        return 1 + self.staff + self.place * self.staves

    @property
    def stem(self) -> str | None:
        """Which way its stems go; None: by the place of the notes."""
        return None if self.voices == 1 else ("up", "down")[self.place]


class _Place(NamedTuple):
    """What is the same for all notes of a chord."""

    bar: Bar
    chord: Chord
    voice: StaffVoice
    sign: Sign
    beams: tuple[str, ...]
    bracket: tuple[bool, bool]


class NoteSigns(NamedTuple):
    """How the notes of a bar are spelled. led: by their line; before: by id() of a note, the accidental before it."""

    led: Spellings
    before: dict[int, str | None]

    def spelling(self, note: Note, fifths: int) -> Spelling:
        """Letter and octave of a note."""
        return self.led.get(id(note)) or plainly(note.pitch, fifths)


def signs_of(bar: Bar, led: Spellings) -> NoteSigns:
    """The spelling of a bar, its accidentals of a staff's voices together, in the order of time. led: of the page."""
    made = NoteSigns(led, {})
    fifths = bar.printed.part.key.fifths
    for voices in bar.staves:
        signs = Accidentals(fifths)
        for chord in sorted((chord for voice in voices for chord in voice), key=lambda c: c.onset):
            for note in (*chord.graces, *(() if chord.tied_back else chord.notes)):
                made.before[id(note)] = signs.before(made.spelling(note, fifths))
    return made


def write_voice(measure: Element, page: ScorePage, bar: Bar, voice: StaffVoice, signs: NoteSigns, teeth: bool) -> None:
    """The chords and rests of one voice in one bar."""
    printed, chords = bar.printed, bar.staves[voice.staff][voice.place]
    beams, brackets = beams_of(chords, printed.part.metre), triplet_ends(chords)
    slows = _slows_at(page, bar, chords) if voice.staff == voice.place == 0 else None
    for number, (chord, beam, bracket) in enumerate(zip(chords, beams, brackets, strict=True)):
        if number == slows:
            add_words(measure, "rit.", "below", **{"font-style": "italic"})
        place = _Place(bar, chord, voice, sign_of(chord.duration), beam, bracket)
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
    hidden = place.chord.hidden
    note = SubElement(measure, "note", {"print-object": "no"} if hidden else {})
    SubElement(note, "rest", {"measure": "yes"} if whole else {})
    add_text(note, "duration", ticks(place.chord.duration))
    add_text(note, "voice", place.voice.number)
    if not whole:
        _length(note, place.sign)
    if place.voice.staves > 1:
        add_text(note, "staff", place.voice.staff + 1)
    if any(place.bracket) and not hidden:
        _brackets(SubElement(note, "notations"), place)


def _note(
    measure: Element, written: Note, place: _Place, signs: NoteSigns, small: bool = False, chorded: bool = False
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
    spelling = signs.spelling(written, place.bar.printed.part.key.fifths)
    pitch = SubElement(note, "pitch")
    add_text(pitch, "step", spelling.letter)
    if spelling.alter:
        add_text(pitch, "alter", spelling.alter)
    add_text(pitch, "octave", spelling.octave)
    ties = [] if small else [kind for kind, tied in (("stop", chord.tied_back), ("start", chord.tied_on)) if tied]
    if not small:
        add_text(note, "duration", ticks(chord.duration))
        for kind in ties:
            SubElement(note, "tie", type=kind)
    add_text(note, "voice", place.voice.number)
    tied_over = chord.tied_back and not small  # the accidental of its beginning holds
    accidental = None if tied_over else signs.before[id(written)]
    is_odd = written.doubtful or written.silent
    _length(note, GRACE if small else place.sign, accidental, cue=is_odd or time is not None)
    if place.voice.stem:
        add_text(note, "stem", place.voice.stem)
    if is_odd:
        brackets = {"parentheses": "yes"} if written.doubtful else {}
        add_text(note, "notehead", "x" if written.silent else "normal", **brackets)
    if place.voice.staves > 1:
        add_text(note, "staff", place.voice.staff + 1)
    if small:
        return note
    if not chorded:
        for number, words in enumerate(place.beams, start=1):
            add_text(note, "beam", words, number=str(number))
    _notations(note, place, ties, chorded)
    return note


def _length(note: Element, sign: Sign, accidental: str | None = None, cue: bool = False) -> None:
    """The sign of a length, and what stands beside it."""
    add_text(note, "type", TYPES[sign.plain], **({"size": "cue"} if cue else {}))
    if sign.dotted:
        SubElement(note, "dot")
    if accidental:
        add_text(note, "accidental", accidental)
    if sign.triplet:
        modification = SubElement(note, "time-modification")
        add_text(modification, "actual-notes", 3)
        add_text(modification, "normal-notes", 2)


def _notations(note: Element, place: _Place, ties: Sequence[str], chorded: bool) -> None:
    made = Element("notations")
    for kind in ties:
        SubElement(made, "tied", type=kind)
    if not chorded:
        _brackets(made, place)
    if len(place.chord.notes) > 1 and not place.chord.tied_back and any(n.rolled for n in place.chord.notes):
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
    chord, printed, lower = place.chord, place.bar.printed, place.voice.place > 0
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
                add_text(technical, "fingering", words, placement="below" if lower else "above")
        if held:
            SubElement(notations, "fermata", type="inverted" if lower else "upright")
    if teeth:
        upper = place.bar.staves[place.voice.staff][0]
        first = max((len(_teeth(other)) for other in upper), default=0) if lower else 0
        for line, number in enumerate(_teeth(chord), start=1 + first):
            lyric = SubElement(note, "lyric", number=str(line))
            add_text(lyric, "syllabic", "single")
            add_text(lyric, "text", number)


def _teeth(chord: Chord) -> list[str]:
    """The numbers of the teeth, the highest note's first; those of grace notes go before."""
    graces = [str(grace.tooth) for grace in chord.graces if grace.tooth]
    notes = [str(note.tooth) for note in sorted(chord.notes, key=lambda n: -n.pitch) if note.tooth]
    if graces and notes:
        notes[0] = " ".join((*graces, notes[0]))
    return notes


def ticks(length: Fraction) -> int:
    """A length in quarters in the file's whole divisions."""
    return round(length * TICKS_PER_QUARTER)


def add_text(parent: Element, tag: str, text: object, **attributes: str) -> Element:
    """A new element within another, with words in it."""
    made = SubElement(parent, tag, attributes)
    made.text = str(text)
    return made


def _id(written: Note) -> str:
    return "pin-" + "-".join(str(pin) for pin in written.pins) if written.pins else f"note-{written.onset_quarter}"


def add_words(measure: Element, words: str, placement: str, **style: str) -> Element:
    """Words over or under the first staff, from where the file has come to."""
    direction = SubElement(measure, "direction", placement=placement)
    add_text(SubElement(direction, "direction-type"), "words", words, **style)
    add_text(direction, "staff", 1)
    return direction
