"""Signs at the notes: lengths, accidentals, beams and triplets, by hand and against music21."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music21 import duration, key, note, stream

from disc.records import Key, Metre, Note, Tune, Voice
from disc.tune.write.engrave import engrave
from disc.tune.write.layout import Chord, lay_out
from disc.tune.write.lengths import PLAIN, VALUES
from disc.tune.write.musicxml import musicxml_text
from disc.tune.write.signs import TYPES, Accidentals, beams_of, sign_of, spelled, triplet_ends
from disc.tune.write.written import with_lengths


@pytest.mark.parametrize("length", sorted(VALUES), ids=str)
def test_a_lengths_sign_is_music21s(length: Fraction) -> None:
    sign, theirs = sign_of(length), duration.Duration(length)
    if theirs.type != "complex" and len(theirs.tuplets) == sign.triplet:
        assert (TYPES[sign.plain], sign.dotted) == (theirs.type, theirs.dots == 1)
    factor = Fraction(3, 2) if sign.dotted else Fraction(2, 3) if sign.triplet else 1
    assert sign.plain * factor == length


# (fifths, pitches in order, accidentals): common practice.
BARS = [
    (0, (60, 61, 61, 60), (None, "sharp", None, "natural")),
    (1, (66, 65, 66), (None, "natural", "sharp")),
    (-2, (70, 71, 70), (None, "natural", "flat")),
    (0, (66, 77), ("sharp", "natural")),  # the same letter an octave higher: said again
    (-6, (59, 58, 57), (None, None, "flat-flat")),  # C flat, B flat, B double flat
]


@pytest.mark.parametrize(("fifths", "pitches", "accidentals"), BARS)
def test_accidentals(fifths: int, pitches: tuple[int, ...], accidentals: tuple[str | None, ...]) -> None:
    signs = Accidentals(fifths)
    assert tuple(signs.before(spelled(pitch, fifths)) for pitch in pitches) == accidentals


@pytest.mark.parametrize("fifths", range(-6, 7))
def test_every_chromatic_note_is_told_as_music21_tells_it(fifths: int) -> None:
    """Each of the twelve, alone in its bar: whether it needs an accidental, and which."""
    for pitch in range(60, 72):
        ours = spelled(pitch, fifths)
        measure = stream.Measure([key.KeySignature(fifths)])
        measure.append(note.Note(ours.name))
        measure.makeAccidentals(inPlace=True)
        theirs = measure.notes[0].pitch.accidental
        shown = theirs.name.replace("double-flat", "flat-flat") if theirs and theirs.displayStatus else None
        assert Accidentals(fifths).before(ours) == shown


def bar(*lengths: str) -> list[Chord]:
    """Notes that follow each other; "r" before a length: a rest."""
    made, at = [], Fraction(0)
    for word in lengths:
        length = Fraction(word.lstrip("r"))
        made.append(Chord(at, length, () if word[0] == "r" else (Note(at, length, 60),)))
        at += length
    return made


def outer(chords: list[Chord], metre: Metre) -> str:
    """The outermost beams as letters: begin, continue, end, or a dot for none."""
    return "".join(words[0][0] if words else "." for words in beams_of(chords, metre))


def test_beams_go_by_beats() -> None:
    assert outer(bar(*["1/2"] * 8), Metre(4, 4)) == "bccebcce"  # eighths alone: by half bars
    assert outer(bar(*["1/2"] * 6), Metre(3, 4)) == "bcccce"  # and by bars of three
    assert outer(bar("1/2", "1/2", "1", "1/2", "1/2"), Metre(3, 4)) == "be.be"
    assert outer(bar(*["1/2"] * 6), Metre(6, 8)) == "bcebce"
    assert outer(bar(*["1/2"] * 3), Metre(3, 8)) == "bce"
    assert outer(bar("1/2", "1/4", "1/4", "r1/2", "1/2"), Metre(2, 4)) == "bce.."
    assert outer(bar("1/2", "1", "1/2"), Metre(2, 4)) == "..."
    assert beams_of(bar("3/4", "1/4"), Metre(2, 4)) == [("begin",), ("end", "backward hook")]
    assert beams_of(bar("1/4", "1/2", "1/4"), Metre(2, 4))[0] == ("begin", "forward hook")


def test_a_triplet_ends_where_it_is_full() -> None:
    thirds = triplet_ends(bar("1/3", "1/3", "1/3", "2/3", "1/3", "1"))
    assert thirds == [(True, False), (False, False), (False, True), (True, False), (False, True), (False, False)]
    assert triplet_ends(bar("1/6", "1/6", "1/6", "1/2"))[2] == (False, True)
    # a triplet whose second third is two notes is one, also where it begins with a rest; a group of six is two
    for first in ("1/3", "r1/3"):
        ends = triplet_ends(bar(first, "1/6", "1/6", "1/3"))
        assert ends == [(True, False), (False, False), (False, False), (False, True)]
    assert triplet_ends(bar(*["1/6"] * 6))[2:4] == [(False, True), (True, False)]


def test_halves_with_triplets_are_beamed_by_quarters() -> None:
    eighths = ["1/3"] * 3
    assert outer(bar("2/3", "1/3", *eighths, *["1/2"] * 4), Metre(2, 2)) == "..bcebcce"
    assert outer(bar("1/2", "1/2", *eighths, "2"), Metre(2, 2)) == "bebce."


def test_no_beam_goes_over_the_edge_of_a_bracket() -> None:
    """A triplet that begins with a rest has a bracket; over one beam with the next it would hold both, and two 3s."""
    sixths = ["1/6"] * 3
    assert outer(bar("r1/6", "1/6", "1/6", *sixths, "1"), Metre(2, 4)) == ".bebce."
    assert outer(bar(*sixths, *sixths, "1"), Metre(2, 4)) == "bcccce."
    assert outer(bar("2/3", "1/3", "1/2", "1/2"), Metre(2, 4)) == "..be"


SIXTHS = st.sets(st.integers(0, 11), min_size=1).map(lambda places: sorted(Fraction(k, 6) for k in places))


@given(SIXTHS)
def test_every_bracket_is_full_and_a_beat_has_no_more_than_it_needs(onsets: list[Fraction]) -> None:
    """Notes that ring on by themselves, with rests where they cannot: whatever begins a triplet, its parts fill a plain
    value, none stands outside, and a beat has two brackets only where both of its halves are parted in three.
    """
    notes = [Note(at, Fraction(1), 60 + i, Voice.ACCOMPANIMENT, (i + 1,)) for i, at in enumerate(onsets)]
    notes.append(Note(Fraction(0), Fraction(2), 90, Voice.MELODY, (99,)))
    metre = Metre(2, 4)
    tune = Tune(with_lengths(notes, metre, Fraction(0)), metre, Key(0, "major", 0), Fraction(0), 0.5)
    (chords,) = lay_out(tune).bars[0].staves[-1]
    opened: Fraction | None = None
    brackets = [0, 0]
    for chord, (begins, ends) in zip(chords, triplet_ends(chords), strict=True):
        if begins:
            assert opened is None
            opened = chord.onset
            brackets[int(chord.onset)] += 1
        assert opened is not None or not sign_of(chord.duration).triplet
        if ends:
            assert opened is not None
            assert chord.onset + chord.duration - opened in PLAIN
            opened = None
    assert opened is None
    for beat, count in enumerate(brackets):
        parted = {at * 6 % 6 for chord in chords if beat <= (at := chord.onset) < beat + 1}
        assert count <= (2 if parted & {1, 5} else 1)


def test_the_engraver_draws_one_figure_a_bracket() -> None:
    rests = [Note(Fraction(k, 6), Fraction(1), 60, Voice.ACCOMPANIMENT, (k,)) for k in (2, 3, 4, 8, 11, 13)]
    tune = Tune(
        with_lengths([Note(Fraction(0), Fraction(1), 90, Voice.MELODY, (99,)), *rests], Metre(3, 4), Fraction(0)),
        Metre(3, 4), Key(0, "major", 0), Fraction(0), 0.5,
    )  # fmt: skip
    text = musicxml_text(tune)
    drawn = sum(page.count('class="tupletNum"') for page in engrave(text).pages)
    assert drawn == text.count('type="start" bracket') > 0
