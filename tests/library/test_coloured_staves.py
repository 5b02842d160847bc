"""Coloured staves: what music21 reads of the MusicXML is what was asked for, and the engraver takes it."""

from fractions import Fraction

import music21
import pytest

from disc.library.coloured_staves import Head, Staff, StaffBar, coloured_staves
from disc.records import Metre
from disc.tune.write.engrave import engrave

BLACK = "#000000"


def staff(*bars: tuple[Fraction | int, dict[Fraction | int, list[int]]]) -> Staff:
    """Bars of (length, onset -> pitches)."""
    made = []
    for number, (length, events) in enumerate(bars, start=1):
        heads = {
            Fraction(at): [Head(pitch, BLACK, f"note-{number}-{float(at):g}-{pitch}") for pitch in pitches]
            for at, pitches in events.items()
        }
        made.append(StaffBar(number, Fraction(length), heads))
    return Staff("disc", made)


def read(text: str) -> music21.stream.Score:
    """As music21 reads it, a second opinion."""
    score = music21.converter.parse(text, format="musicxml")
    assert isinstance(score, music21.stream.Score)
    return score


def test_another_reader_finds_the_notes_where_they_were_put():
    events = {Fraction(0): [60], Fraction(1, 2): [62, 66], Fraction(4, 3): [64], Fraction(5, 3): [], Fraction(3): [71]}
    part = read(coloured_staves([staff((4, events), (4, {1: [60]}))], 1, Metre(4, 4))).parts[0].stripTies()
    bars = list(part.getElementsByClass("Measure"))
    found = [(n.offset, sorted(p.midi for p in n.pitches)) for n in bars[0].notes]
    assert [(Fraction(at).limit_denominator(12), pitches) for at, pitches in found] == [
        (0, [60]), (Fraction(1, 2), [62, 66]), (Fraction(4, 3), [64]), (3, [71]),
    ]  # fmt: skip
    assert [bar.barDuration.quarterLength for bar in bars] == [4, 4]
    assert bars[0].keySignature.sharps == 1 and bars[0].timeSignature.ratioString == "4/4"


# In G: F sharp is told by the signature, F natural must be written, and so must the sharp after it in the same bar.
def test_accidentals_are_written_where_signature_and_bar_do_not_tell_them():
    text = coloured_staves([staff((4, {0: [66], 1: [65], 2: [65], 3: [66]}), (4, {0: [66]}))], 1, Metre(4, 4))
    signs = [part.split("<")[0] for part in text.split("<accidental>")[1:]]
    assert signs == ["natural", "sharp"]


# The rule is the score's own (tests/tune/test_signs.py): by beats, eighths alone by half bars.
@pytest.mark.parametrize(
    "metre, onsets, beams",
    [
        (Metre(2, 4), [Fraction(k, 2) for k in range(4)], ["begin", "continue", "continue", "end"]),
        (Metre(6, 8), [Fraction(k, 2) for k in range(6)], ["begin", "continue", "end"] * 2),
        (Metre(2, 4), [Fraction(0), Fraction(3, 4), Fraction(1)], ["begin", "end", "backward hook"]),
    ],
)
def test_beams_go_as_in_the_score(metre, onsets, beams):
    text = coloured_staves([staff((metre.bar_quarter, {at: [70] for at in onsets}))], 0, metre)
    found = [part.split(">")[1].split("<")[0] for part in text.split("<beam ")[1:]]
    assert sorted(found) == sorted(beams)


def test_a_bracket_spans_what_makes_a_whole_value_and_odd_divisions_stay_one_note():
    third = Fraction(1, 3)
    text = coloured_staves([staff((2, {0: [60], third: [62], 2 * third: [64], 1: [65]}))], 0, Metre(2, 4))
    assert text.count('<tuplet type="start"/>') == text.count('<tuplet type="stop"/>') == 1
    assert text.count("<actual-notes>3</actual-notes>") == 3
    fifths = staff((2, {Fraction(2 * k, 5): [60 + k] for k in range(5)}))
    assert coloured_staves([fifths], 0, Metre(2, 4)).count("<note ") == 5


def test_low_staves_have_a_bass_clef_and_colours_reach_the_page():
    low = Staff("print", [StaffBar(1, Fraction(4), {Fraction(0): [Head(40, "#c00000", "note-0")]})])
    page = engrave(coloured_staves([staff((4, {0: [72]})), low], -2, None), "Over the print").pages[0]
    text = coloured_staves([low], 0, None)
    assert "<sign>F</sign>" in text and "c00000" in page and "Over the print" in page
