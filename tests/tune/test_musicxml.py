"""MusicXML: written by us, read back by music21, note for note; repeats played out by music21's own expander."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest
from music21 import converter, key

from disc.records import Key, Metre, Note, Repeat, Tune, Voice
from disc.tune.write.layout import lay_out
from disc.tune.write.musicxml import musicxml_of_page, musicxml_text
from disc.tune.write.signs import spelled

from .made import JIG, MAMAN, bass_notes, parse, tune_of


def read_notes(text: str) -> list[tuple[Fraction, int]]:
    """(onset in quarters from the file's start, pitch) of every note begun; ties joined, graces left out."""
    score = converter.parse(text, format="musicxml")
    found = []
    for part in score.parts:
        for element in part.expandRepeats().flatten().notes:
            if element.duration.isGrace:
                continue
            for member in element.notes if element.isChord else [element]:
                if member.tie is None or member.tie.type == "start":
                    found.append((Fraction(element.offset).limit_denominator(96), member.pitch.midi))
    return sorted(found)


def expected(tune: Tune) -> list[tuple[Fraction, int]]:
    """The same from the tune itself, doubles on one staff taken once."""
    lead = tune.upbeat_quarter
    return sorted({(n.onset_quarter + lead, n.pitch, n.voice) for n in tune.notes if not n.grace})  # type: ignore[misc]


def same(text: str, tune: Tune) -> None:
    assert read_notes(text) == [(onset, midi) for onset, midi, _ in expected(tune)]


def test_two_staves_come_back_one_for_one() -> None:
    tune = tune_of(parse(MAMAN), bass_notes(24, Metre(2, 4), (48, 53, 55)), Metre(2, 4), title="A <tune> & more")
    text = musicxml_text(tune)
    same(text, tune)
    score = converter.parse(text, format="musicxml")
    assert len(score.parts) == 2
    assert score.metadata.bestTitle == "A <tune> & more"


def test_tooth_numbers_stand_under_the_notes_where_asked_for() -> None:
    """Lyrics as music21 reads them: one a note, a chord's from top to bottom; none without being asked for."""
    tune = tune_of(parse(MAMAN), bass_notes(24, Metre(2, 4), (48, 53, 55)), Metre(2, 4))
    tune = replace(tune, notes=tuple(replace(note, tooth=note.pitch - 40) for note in tune.notes))
    score = converter.parse(musicxml_of_page(lay_out(tune), teeth=True), format="musicxml")
    sounding = [element for part in score.parts for element in part.flatten().notes]
    assert sounding
    for element in sounding:
        said = [lyric.text for lyric in element.lyrics]
        begins = element.tie is None or element.tie.type == "start"
        wanted = [str(p.midi - 40) for p in sorted(element.pitches, key=lambda p: -p.midi)] if begins else []
        assert said == wanted
    assert "<lyric" not in musicxml_text(tune)


def test_upbeat_compound_metre_and_key() -> None:
    tune = tune_of(parse(JIG, Fraction(-1, 2)), metre=Metre(6, 8), key=Key(7, "major", 1))
    text = musicxml_text(tune)
    same(text, tune)
    part = converter.parse(text, format="musicxml").parts[0]
    assert part.measure(0).duration.quarterLength == 0.5
    assert part.recurse().getElementsByClass("TimeSignature")[0].ratioString == "6/8"
    assert part.recurse().getElementsByClass("KeySignature")[0].sharps == 1
    assert "<beam" in text


def test_triplets_and_syncopation_come_back() -> None:
    tune = tune_of(parse("72 1/3 74 1/3 76 1/3 77 1/2 79 1 81 1/2 83 3/4 84 1/4 72 1/6 74 1/6 76 1/6 77 1/2 79 3/2"))
    same(musicxml_text(tune), tune)


def test_a_repeat_with_endings_plays_out_as_it_was() -> None:
    first = "72 1 74 1 76 1 77 1 79 1 77 1 76 1 74 1 72 1 74 1 76 1 77 1 "
    text = first + "79 2 74 2 " + first + "79 2 72 2 " + "84 2 83 2 72 4"
    tune = replace(tune_of(parse(text)), repeats=(Repeat(1, 4, 1, 1),))
    written = musicxml_text(tune)
    same(written, tune)
    assert len(re.findall(r"<measure ", written)) == 7
    assert 'number="1" type="start"' in written.replace("'", '"') or "ending" in written


def test_a_repeat_after_an_upbeat_plays_out_as_it_was() -> None:
    strain = JIG.rsplit(" ", 2)[0] + " 79 1"  # the last bar leaves room for the upbeat
    strain = strain.replace("79 3/2 79 1", "79 5/2") if strain.endswith("79 3/2 79 1") else strain
    one = parse(strain, Fraction(-1, 2))
    length = one[-1][0] + one[-1][1] + Fraction(1, 2)
    two = [(onset + length, duration, midi) for onset, duration, midi in one]
    tune = tune_of(one + two, metre=Metre(6, 8), key=Key(7, "major", 1))
    bars = int(length / 3)
    folded = replace(tune, repeats=(Repeat(1, bars),))
    same(musicxml_text(folded), folded)
    assert musicxml_text(folded).count("<note") < musicxml_text(tune).count("<note")


def test_pins_are_named_and_doubt_is_marked() -> None:
    tune = tune_of(parse("72 1 74 1 76 1 77 1"))
    notes = tuple(replace(n, doubtful=n.pins == (3,)) for n in tune.notes)
    text = musicxml_text(replace(tune, notes=notes))
    assert re.findall(r'id="(pin-\d+)"', text) == ["pin-1", "pin-2", "pin-3", "pin-4"]
    assert text.count('parentheses="yes"') == 1
    assert "?3" in text


def test_a_high_comb_gets_octave_clefs() -> None:
    high = tune_of(parse("96 1 98 1 100 1 103 1"))
    assert "<clef-octave-change>" in musicxml_text(high)
    assert "<clef-octave-change>" not in musicxml_text(tune_of(parse("72 1 74 1 76 1 67 1")))


def test_a_grace_note_has_no_time_of_its_own() -> None:
    tune = tune_of(parse("72 1 76 1 79 2"))
    grace = Note(Fraction(1), Fraction(0), 77, Voice.MELODY, (9,), 77, grace=True)
    written = replace(tune, notes=tuple(sorted((*tune.notes, grace), key=lambda n: (n.onset_quarter, not n.grace))))
    text = musicxml_text(written)
    same(text, written)
    assert text.count("<grace") == 1


# The scale of every signature spelled as music21 spells it.
@pytest.mark.parametrize("fifths", range(-7, 8))
def test_scale_notes_are_spelled_as_the_signature_says(fifths: int) -> None:
    scale = key.KeySignature(fifths).asKey("major").pitches
    for member in scale:
        assert spelled(int(member.midi), fifths).name[:-1] == member.name


# Chromatic notes in C major and what they usually are: raised fourth and fifth, flat seventh. Common practice.
@pytest.mark.parametrize(("midi", "name"), [(66, "F#4"), (68, "G#4"), (70, "B-4"), (61, "C#4"), (63, "E-4")])
def test_chromatic_notes(midi: int, name: str) -> None:
    assert spelled(midi, 0).name == name


# Lines in C major, in D flat and in A minor, and how a singer's part has them. Common practice.
@pytest.mark.parametrize(
    ("line", "key_of_line", "names"),
    [
        ("64 1 63 1 62 1 61 1 60 1", Key(0, "major", 0), "E4 E-4 D4 D-4 C4"),
        ("60 1 61 1 62 1 63 1 64 1", Key(0, "major", 0), "C4 C#4 D4 D#4 E4"),
        ("62 1 63 1 63 1 64 1", Key(0, "major", 0), "D4 D#4 D#4 E4"),  # struck again before it leads on
        ("67 1 66 1 65 1 69 1 70 1 71 1", Key(0, "major", 0), "G4 F#4 F4 A4 B-4 B4"),  # of neighbouring keys
        ("69 1 68 1 67 1", Key(9, "minor", 0), "A4 G#4 G4"),  # the leading note
        ("69 1 68 1 67 1", Key(0, "major", 0), "A4 A-4 G4"),
        ("63 1 67 1", Key(0, "major", 0), "E-4 G4"),  # leads nowhere
        ("72 1 71 1 70 1", Key(1, "major", -5), "C5 C-5 B-4"),
        ("71 1 67 1 68 1 67 1 71 1", Key(11, "major", 5), "B4 F##4 G#4 G4 B4"),  # no double sharp that leads nowhere
    ],
)
def test_chromatic_notes_of_a_line_are_spelled_by_where_they_lead(line: str, key_of_line: Key, names: str) -> None:
    text = musicxml_text(tune_of(parse(line), metre=Metre(2, 4), key=key_of_line))
    read = converter.parse(text, format="musicxml")
    assert " ".join(n.pitch.nameWithOctave for n in read.recurse().notes) == names


def test_the_same_tune_gives_the_same_bytes() -> None:
    tune = tune_of(parse(MAMAN), metre=Metre(2, 4))
    assert musicxml_text(tune) == musicxml_text(tune)
