"""MusicXML to exact quarters, read straight from its elements: a thousand notes in a tenth of a second.

Source: MusicXML 4.0 (w3.org/2021/06/musicxml40), the elements named below. Why not a library: see DEVELOPERS; music21
takes half a second for the same score and a second to begin with. tests/tune/test_musicxml_in.py holds both side by
side. Notes are taken at the pitch that sounds (transpose), all bars of one number are as long as the longest of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import accumulate, pairwise
from pathlib import Path
from xml.etree.ElementTree import Element, fromstring

from disc.errors import BadInput
from disc.pitch_names import LETTER_SEMITONES
from disc.records import Key, Metre
from disc.tune.score.dynamics import ACCENTS, Loudness, degree_after
from disc.tune.score.printed.play_order import BarSigns
from disc.tune.score.printed.written import WrittenNote, WrittenScore, part_codas, remarks_of
from disc.tune.score.records import ScorePart
from disc.tune.settings import MODE_STEPS, MODE_WORDS

# Quarters of MusicXML's note types, by definition.
UNITS = {
    "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1), "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4), "32nd": Fraction(1, 8),
}  # fmt: skip
# Words of a direction where the signs' own attributes are left out, as many programs do.
DA_CAPO, DAL_SEGNO = re.compile(r"^\W*(d\.? ?c\b|da capo)", re.I), re.compile(r"^\W*(d\.? ?s\b|dal segno)", re.I)
FINE, TO_CODA = re.compile(r"^\W*fine\W*$", re.I), re.compile(r"^\W*to coda", re.I)
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
SLOWEST, FASTEST = 5, 1000  # quarters a minute; beyond, no musician's
MOST_STAVES = 8  # of one part
FINEST = 1_000_000  # divisions of a quarter; more is damage


# MusicXML 4.0, ornaments: its mordent goes below the note, its inverted one above.
SIGNS = {
    "trill-mark": "trill", "shake": "trill", "mordent": "mordent", "inverted-mordent": "inverted mordent",
    "turn": "turn", "delayed-turn": "turn",
}  # fmt: skip


@dataclass(slots=True)
class _Bars:
    """What is written of each bar, by its place, whichever part it stands in."""

    lengths: list[set[Fraction]] = field(default_factory=list)  # of every part that sounds in it
    signs: list[BarSigns] = field(default_factory=list)
    printed: list[str] = field(default_factory=list)

    def reach(self, place: int, number: str) -> None:
        while len(self.lengths) <= place:
            self.lengths.append(set())
            self.signs.append(BarSigns())
            self.printed.append(number)


@dataclass(slots=True)
class _Reading:
    """What has been read so far. notes: with their bar; onsets from its beginning. metres: (bar, metre)."""

    bars: _Bars = field(default_factory=_Bars)
    notes: list[tuple[int, WrittenNote]] = field(default_factory=list)
    metres: list[tuple[int, Metre]] = field(default_factory=list)
    keys: list[tuple[int, Key]] = field(default_factory=list)
    speeds: list[tuple[int, float]] = field(default_factory=list)
    unpitched: bool = False
    graces: int = 0
    symbols: int = 0


@dataclass(slots=True)
class _Voice:
    """Where the reading of one part is: unit of its durations, semitones from written to sounding pitch, endings.

    number: of its first staff; each staff counts as a part, as a pianist's two hands do. sung: staves with words.
    graces: pitches of the small notes since the last note. degree: of loudness, as a bar begins; loud: its signs.
    """

    number: int
    divisions: int = 1
    transpose: int = 0
    now: Fraction = Fraction(0)
    last_onset: Fraction = Fraction(0)
    furthest: Fraction = Fraction(0)
    endings: frozenset[int] = frozenset()
    sung: set[int] = field(default_factory=set)
    graces: list[int] = field(default_factory=list)
    degree: str = ""
    loud: list[tuple[Fraction, str]] = field(default_factory=list)


def read_musicxml(path: Path, text: str) -> WrittenScore:
    """The score. Raises BadInput where there is no note in it, ValueError and the like where it is damaged."""
    root = fromstring(text)
    reading, names = _Reading(), _part_names(root)
    parts: list[ScorePart] = []
    for part in root.findall("part"):
        voice = _Voice(len(parts))
        for place, bar in enumerate(part.findall("measure")):
            _read_bar(reading, voice, place, bar)
        staves = max((int(note.findtext("staff") or 1) for note in part.iter("note")), default=1)
        name = names.get(part.get("id", ""), "")
        parts += [ScorePart(name, staff in voice.sung) for staff in range(1, min(staves, MOST_STAVES) + 1)]
    if not reading.notes:
        what = "only percussion" if reading.unpitched else "no notes"
        raise BadInput(f"{path}: there is {what} in it. A comb needs a tune with pitches.")
    bars = reading.bars
    metre = min(reading.metres, key=lambda pair: pair[0])[1] if reading.metres else Metre(4, 4)
    lengths = _bar_lengths(bars, reading.metres, metre)
    starts = [Fraction(0), *accumulate(lengths)]
    notes = [_at(note, starts[place]) for place, note in reading.notes]
    part_codas(bars.signs)
    speeds = [speed for _, speed in sorted(reading.speeds)]
    return WrittenScore(
        notes, list(pairwise(starts)), bars.signs, bars.printed, metre,
        min(reading.keys, key=lambda pair: pair[0])[1] if reading.keys else None,
        speeds[0] if speeds else None, _title(root), _composer(root), tuple(parts),
        remarks_of(
            reading.unpitched, reading.graces, any(abs(speed - speeds[0]) > 1e-6 for speed in speeds), reading.symbols
        ),
    )  # fmt: skip


def _at(note: WrittenNote, start: Fraction) -> WrittenNote:
    note.onset += start
    return note


def _bar_lengths(bars: _Bars, metres: Sequence[tuple[int, Metre]], first: Metre) -> list[Fraction]:
    """As long as what sounds in a bar; where parts differ, or none sounds, by its metre if any part says so."""
    changes = dict(metres)
    out, metre = [], first
    for place, lengths in enumerate(bars.lengths):
        metre = changes.get(place, metre)
        full = metre.bar_quarter
        out.append(full if not lengths or (len(lengths) > 1 and full in lengths) else max(lengths))
    return out


# ---- one bar


def _read_bar(reading: _Reading, voice: _Voice, place: int, bar: Element) -> None:
    reading.bars.reach(place, bar.get("number", ""))
    signs = reading.bars.signs[place]
    voice.now = voice.last_onset = voice.furthest = Fraction(0)
    before = len(reading.notes)
    closing: list[Element] = []
    for element in bar:
        if element.tag == "note":
            _read_note(reading, voice, place, element)
        elif element.tag == "attributes":
            _read_attributes(reading, voice, place, element)
        elif element.tag in ("backup", "forward"):
            step = _duration(voice, element)
            voice.now = max(voice.now - step, Fraction(0)) if element.tag == "backup" else voice.now + step
            voice.furthest = max(voice.furthest, voice.now)
        elif element.tag in ("direction", "sound"):
            _read_direction(reading, place, signs, element)
            voice.loud += [(voice.now, mark.tag) for mark in element.iterfind("direction-type/dynamics/*")]
        elif element.tag == "barline":
            if element.get("location", "right") == "right":
                closing.append(element)
            else:
                _read_bar_line(voice, signs, element)
        elif element.tag == "harmony":
            reading.symbols += 1
    signs.endings = signs.endings or voice.endings
    for element in closing:
        _read_bar_line(voice, signs, element)
    signs.endings = signs.endings or voice.endings
    _give_loudness(voice, [note for _, note in reading.notes[before:]])
    if len(reading.notes) > before:
        reading.bars.lengths[place].add(voice.furthest)


def _read_note(reading: _Reading, voice: _Voice, place: int, element: Element) -> None:
    duration = _duration(voice, element)
    onset = voice.last_onset if element.find("chord") is not None else voice.now
    if element.find("grace") is not None:
        small = element.find("pitch")
        if small is not None:
            reading.graces += 1
            voice.graces.append(_midi(small) + voice.transpose)
        return
    if element.find("chord") is None:
        voice.last_onset, voice.now = voice.now, voice.now + duration
        voice.furthest = max(voice.furthest, voice.now)
    if element.find("unpitched") is not None:
        reading.unpitched = True
    pitch = element.find("pitch")
    if pitch is None or duration <= 0 or element.find("cue") is not None:
        return
    ties = {tie.get("type") for tie in element.findall("tie")} | {tie.get("type") for tie in _tied(element)}
    midi = _midi(pitch) + voice.transpose
    if 0 <= midi <= 127:
        staff = min(max(int(element.findtext("staff") or 1), 1), MOST_STAVES)
        graces = tuple(voice.graces) if element.find("chord") is None and "stop" not in ties else ()
        voice.graces = []
        tied_on, tied_over = "stop" in ties, "start" in ties
        number = voice.number + staff - 1
        note = WrittenNote(onset, duration, midi, number, tied_on, tied_over, graces, _sign(element))
        note.loudness = Loudness(accent=_accent(element))
        reading.notes.append((place, note))
        if element.find("lyric") is not None:
            voice.sung.add(staff)


def _give_loudness(voice: _Voice, notes: Sequence[WrittenNote]) -> None:
    """Each note of a bar the degree in force at its place, on all staves of the part; the last goes on."""
    for at, sign in sorted([*voice.loud, (Fraction(-1), voice.degree)], key=lambda pair: pair[0]):
        voice.degree = degree_after(sign, voice.degree)
        for note in notes:
            if note.onset >= at:
                accent = note.loudness.accent or (note.onset == at and sign in ACCENTS)
                note.loudness = Loudness(voice.degree, accent)
    voice.loud = []


def _accent(element: Element) -> bool:
    marks = [*element.iterfind("notations/articulations/*"), *element.iterfind("notations/dynamics/*")]
    return any(mark.tag in ACCENTS for mark in marks)


def _sign(element: Element) -> str:
    """The ornament over a note; empty where there is none that is known."""
    marks = [mark.tag for mark in element.iterfind("notations/ornaments/*")]
    return next((SIGNS[tag] for tag in marks if tag in SIGNS), "")


def _tied(element: Element) -> Iterator[Element]:
    for notations in element.findall("notations"):
        yield from notations.findall("tied")


def _midi(pitch: Element) -> int:
    step = LETTER_SEMITONES[(pitch.findtext("step") or "").strip().upper()]
    return 12 * (int(pitch.findtext("octave") or 4) + 1) + step + round(float(pitch.findtext("alter") or 0))


def _duration(voice: _Voice, element: Element) -> Fraction:
    text = (element.findtext("duration") or "0").strip()
    return max(Fraction(text), Fraction(0)) / voice.divisions


def _read_attributes(reading: _Reading, voice: _Voice, place: int, element: Element) -> None:
    divisions = element.findtext("divisions")
    if divisions:
        voice.divisions = round(float(divisions))
        if not 0 < voice.divisions <= FINEST:
            raise ValueError(f"{divisions[:20]} divisions of a quarter")
    transpose = element.find("transpose")
    if transpose is not None:
        chromatic, octaves = (float(transpose.findtext(name) or 0) for name in ("chromatic", "octave-change"))
        voice.transpose = round(chromatic + 12 * octaves)
    key, time = element.find("key"), element.find("time")
    if key is not None and key.findtext("fifths") and (voice.number == 0 or not reading.keys):
        reading.keys.append((place, _key(key, voice.transpose)))
    if time is not None and time.findtext("beats") and (voice.number == 0 or not reading.metres):
        beats = sum(int(part) for found in time.findall("beats") for part in re.findall(r"\d+", found.text or ""))
        unit = int(time.findtext("beat-type") or 4)
        if beats > 0 and unit > 0:
            reading.metres.append((place, Metre(beats, unit)))


def _key(element: Element, transpose: int) -> Key:
    """A signature as it sounds. One without a mode is taken as major; a mode moves the tonic, not the sharps."""
    fifths = int(element.findtext("fifths") or 0)
    if transpose % 12:
        fifths = (fifths + 7 * transpose + 5) % 12 - 5
    word = (element.findtext("mode") or "major").strip().lower()
    mode = MODE_WORDS.get(word, word) if MODE_WORDS.get(word, word) in MODE_STEPS else "major"
    return Key((7 * fifths + MODE_STEPS[mode]) % 12, mode, fifths)


def _read_bar_line(voice: _Voice, signs: BarSigns, element: Element) -> None:
    repeat, ending = element.find("repeat"), element.find("ending")
    if ending is not None:
        numbers = _numbers(ending.get("number", ""))
        signs.endings = signs.endings or numbers
        voice.endings = numbers if ending.get("type") == "start" else frozenset()
    if repeat is not None and repeat.get("direction") == "forward":
        signs.opens = True
    elif repeat is not None:
        signs.times = max(2, int(repeat.get("times") or 2))


def _numbers(text: str) -> frozenset[int]:
    """The passes of an ending: "1", "1, 2" or "1-3"."""
    found: set[int] = set()
    for low, high in re.findall(r"(\d+)(?:\s*-\s*(\d+))?", text[:40]):
        found |= set(range(int(low), min(int(high or low), int(low) + 9) + 1))
    return frozenset(found)


def _read_direction(reading: _Reading, place: int, signs: BarSigns, element: Element) -> None:
    sounds = [element] if element.tag == "sound" else element.findall("sound")
    for sound in sounds:
        signs.da_capo |= "dacapo" in sound.attrib
        signs.dal_segno |= "dalsegno" in sound.attrib
        signs.segno |= "segno" in sound.attrib
        signs.fine |= "fine" in sound.attrib
        signs.to_coda |= "tocoda" in sound.attrib
        _note_speed(reading, place, sound.get("tempo"), Fraction(1))
    for kind in element.findall("direction-type"):
        signs.segno |= kind.find("segno") is not None
        signs.coda |= kind.find("coda") is not None and not signs.to_coda
        for words in kind.findall("words"):
            text = " ".join((words.text or "").split())
            signs.da_capo |= bool(DA_CAPO.match(text))
            signs.dal_segno |= bool(DAL_SEGNO.match(text))
            signs.fine |= bool(FINE.match(text))
            signs.to_coda |= bool(TO_CODA.match(text))
        mark = kind.find("metronome")
        unit = UNITS.get((mark.findtext("beat-unit") or "").strip()) if mark is not None else None
        if mark is not None and unit is not None and not any("tempo" in sound.attrib for sound in sounds):
            dots = len(mark.findall("beat-unit-dot"))
            _note_speed(reading, place, mark.findtext("per-minute"), unit * (2 - Fraction(1, 2**dots)))


def _note_speed(reading: _Reading, place: int, text: str | None, quarters: Fraction) -> None:
    number = re.search(r"\d+(\.\d+)?", text or "")
    if number is not None and SLOWEST <= (rate := float(number[0]) * float(quarters)) <= FASTEST:
        reading.speeds.append((place, 60.0 / rate))


# ---- headings


def _part_names(root: Element) -> dict[str, str]:
    return {
        one.get("id", ""): " ".join((one.findtext("part-name") or "").split())[:60]
        for one in root.findall("part-list/score-part")
    }


def _title(root: Element) -> str:
    """The work's title and the movement's, as far as they say different things."""
    work, movement = (" ".join((root.findtext(at) or "").split()) for at in ("work/work-title", "movement-title"))
    if not work or work.lower() in movement.lower():
        return movement
    return work if not movement or movement.lower() in work.lower() else f"{work}: {movement}"


def _composer(root: Element) -> str:
    creators = root.findall("identification/creator")
    return next((one.text or "" for one in creators if one.get("type", "").lower() == "composer"), "")
