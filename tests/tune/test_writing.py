"""Lengths, bars, repeats, engraving: what a copyist does, by rule and as laws."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from disc.records import Key, Metre, Repeat, Section, Voice
from disc.tune.read.sections.strains import find_repeats, printed_bars
from disc.tune.store import TUNE
from disc.tune.write.engrave import engrave, pdf_of_pages
from disc.tune.write.layout import lay_out
from disc.tune.write.lengths import VALUES, rest_pieces, written_pieces
from disc.tune.write.musicxml import musicxml_text

from .made import JIG, MAMAN, MAMAN_A, bass_notes, parse, tune_of

METRES = [Metre(2, 4), Metre(3, 4), Metre(4, 4), Metre(6, 8), Metre(9, 8), Metre(3, 8), Metre(5, 4)]
sixteenths = st.integers(0, 31).map(lambda k: Fraction(k, 4))


# Common practice, no source: (metre, place in the bar, length, values as written).
@pytest.mark.parametrize(
    ("metre", "onset", "length", "pieces"),
    [
        (Metre(4, 4), "0", "4", ["4"]),
        (Metre(4, 4), "0", "3", ["3"]),
        (Metre(4, 4), "1/2", "1", ["1"]),  # a syncopation keeps its one sign
        (Metre(4, 4), "0", "5/4", ["1", "1/4"]),
        (Metre(6, 8), "0", "3", ["3"]),
        (Metre(6, 8), "1", "1", ["1/2", "1/2"]),  # parted at the second beat
        (Metre(3, 4), "1", "2", ["2"]),
        (Metre(2, 4), "1/4", "3/4", ["3/4"]),
        (Metre(2, 4), "0", "5/6", ["2/3", "1/6"]),  # to the last sixth: no dotted value and a 32nd of a triplet
        (Metre(2, 2), "11/4", "7/12", ["1/4", "1/3"]),  # into a triplet: parted at the quarter
    ],
)
def test_written_lengths(metre: Metre, onset: str, length: str, pieces: list[str]) -> None:
    assert written_pieces(Fraction(onset), Fraction(length), metre) == [Fraction(p) for p in pieces]


# A rest from the beat to its last sixteenth is an eighth and a sixteenth, never two thirds and what is left of it.
@pytest.mark.parametrize(
    ("onset", "length", "pieces"),
    [("1", "3/4", ["1/2", "1/4"]), ("5/4", "3/4", ["1/4", "1/2"]), ("0", "2/3", ["2/3"]), ("1", "4/3", ["1", "1/3"])],
)
def test_rests_are_of_a_triplet_only_beside_one(onset: str, length: str, pieces: list[str]) -> None:
    assert rest_pieces(Fraction(onset), Fraction(length), Metre(2, 4)) == [Fraction(p) for p in pieces]


@given(st.sampled_from(METRES), sixteenths, st.integers(1, 24).map(lambda k: Fraction(k, 4)))
def test_pieces_add_up_and_each_has_a_sign(metre: Metre, onset: Fraction, length: Fraction) -> None:
    onset = onset % metre.bar_quarter
    length = min(length, metre.bar_quarter - onset)
    for pieces in (written_pieces(onset, length, metre), rest_pieces(onset, length, metre)):
        assert sum(pieces) == length
        assert all(piece in VALUES for piece in pieces)


row = st.lists(st.tuples(st.integers(60, 90), st.sampled_from([Fraction(k, 4) for k in (1, 2, 3, 4, 6)])), min_size=2)


@settings(max_examples=40)
@given(row, st.sampled_from(METRES), st.sampled_from([Fraction(0), Fraction(1, 2)]))
def test_every_voice_of_every_bar_is_full(notes: list[tuple[int, Fraction]], metre: Metre, upbeat: Fraction) -> None:
    melody = parse(" ".join(f"{pitch} {length}" for pitch, length in notes), -upbeat)
    page = lay_out(tune_of(melody, bass_notes(3, metre, (48, 55)), metre))
    for bar in page.bars:
        for voice in (voice for staff in bar.staves for voice in staff):
            place = bar.printed.offset
            for chord in voice:
                assert chord.onset == place
                place += chord.duration
            assert place == bar.printed.length


def test_a_strain_played_twice_is_found_and_folded() -> None:
    tune = tune_of(parse(f"{MAMAN_A} {MAMAN_A}"), metre=Metre(2, 4))
    assert find_repeats(tune) == (Repeat(1, 8),)
    folded = replace(tune, repeats=find_repeats(tune))
    assert len(printed_bars(folded)) == len(printed_bars(tune)) // 2


def test_endings_that_differ_are_parted() -> None:
    first = "72 1 74 1 76 1 77 1 79 1 77 1 76 1 74 1 72 1 74 1 76 1 77 1 "
    tune = tune_of(parse(first + "79 2 74 2 " + first + "79 2 72 2"))
    assert find_repeats(tune) == (Repeat(1, 4, 1, 1),)
    bars = printed_bars(replace(tune, repeats=find_repeats(tune)))
    assert [bar.ending for bar in bars] == [None, None, None, 1, 2]
    assert [bar.repeat_end for bar in bars] == [False, False, False, True, False]


def test_a_missing_strike_does_not_hide_a_repeat_and_both_pins_are_kept() -> None:
    tune = tune_of(parse(f"{MAMAN_A} {MAMAN_A}"), metre=Metre(2, 4))
    holed = replace(tune, notes=tuple(n for n in tune.notes if n.pins != (5,)))
    repeats = find_repeats(holed)
    assert repeats == find_repeats(tune)
    written = [n for bar in printed_bars(replace(holed, repeats=repeats)) for n in bar.notes]
    assert sorted(pin for n in written for pin in n.pins) == sorted(pin for n in holed.notes for pin in n.pins)


def test_a_tune_that_comes_back_with_another_accompaniment_is_no_repeat() -> None:
    """In each bar the melody's notes are most, and alike; the bass is not there, or another, the second time."""
    metre, twice = Metre(2, 4), parse(f"{MAMAN_A} {MAMAN_A}")
    bass = bass_notes(8, metre, (48, 52, 53, 48, 53, 48, 55, 48))
    again = [(onset + 16, length, pitch) for onset, length, pitch in bass]
    other = [(onset, length, pitch + 4) for onset, length, pitch in again]
    assert find_repeats(tune_of(twice, [*bass, *again], metre=metre)) == (Repeat(1, 8),)
    assert find_repeats(tune_of(twice, bass, metre=metre)) == ()
    assert find_repeats(tune_of(twice, [*bass, *other], metre=metre)) == ()
    worn = [note for k, note in enumerate([*bass, *again]) if k % 5 != 3]  # a fifth of the bass lost: still a repeat
    assert find_repeats(tune_of(twice, worn, metre=metre)) == (Repeat(1, 8),)


def test_only_what_is_played_twice_in_a_row_is_folded() -> None:
    # the middle strain of this tune is the same four bars twice; the first comes back only at the end
    assert find_repeats(tune_of(parse(MAMAN), metre=Metre(2, 4))) == (Repeat(9, 12),)
    assert find_repeats(tune_of(parse(JIG, Fraction(-1, 2)), metre=Metre(6, 8))) == ()


def test_the_tune_file_comes_back_equal(tmp_path) -> None:  # type: ignore[no-untyped-def]
    tune = tune_of(parse(JIG, Fraction(-1, 2)), bass_notes(8, Metre(6, 8), (55,)), Metre(6, 8), Key(7, "major", 1))
    tune = replace(tune, repeats=(Repeat(1, 4, 1, 1),), title="Ö")
    assert TUNE.parse(TUNE.text(tune), tmp_path / "tune.json") == tune


def test_accompaniment_never_crosses_a_bar_line() -> None:
    tune = tune_of(parse("72 4 74 4"), [(Fraction(3), Fraction(3), 48), (Fraction(6), Fraction(1), 50)])
    low = [n for n in tune.notes if n.voice is Voice.ACCOMPANIMENT]
    assert low[0].onset_quarter + low[0].duration_quarter == 4


def test_rests_alone_are_not_printed_before_another_tune_and_stay_within_one() -> None:
    """Two bars, two of silence, a bar again; then two of silence and another tune."""
    first, later = parse("72 1 74 1 76 1 77 1 79 4"), parse("81 4")
    second = parse("65 2 67 2 69 4", Fraction(28))
    tune = tune_of([*first, *[(o + 16, d, p) for o, d, p in later], *second])
    section = Section(Fraction(28), 8, Metre(4, 4), Key(5, "major", -1), 0.5, titled=True)
    page = lay_out(replace(tune, sections=(section,)))
    assert [bar.printed.number for bar in page.bars] == [1, 2, 3, 4, 5, 8, 9]
    assert [bar.printed.number for bar in lay_out(tune).bars] == list(range(1, 10))
    assert sum(len(bar.printed.notes) for bar in page.bars) == len(tune.notes)


def test_pages_carry_the_title_and_each_pins_name() -> None:
    tune = tune_of(parse(MAMAN), bass_notes(24, Metre(2, 4), (48, 53, 55)), Metre(2, 4), title="A <tune> & more")
    pages = engrave(musicxml_text(tune), tune.title).pages
    page = pages[0]
    assert "A &lt;tune&gt; &amp; more" in page
    assert all(f'id="pin-{n.pins[0]}"' in "".join(pages) for n in tune.notes)
    assert pdf_of_pages(pages).startswith(b"%PDF")
    assert pages == engrave(musicxml_text(tune), tune.title).pages
