"""Two tunes in one turn, bar lines and metres set by hand: what is read, printed and stored."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from disc.errors import BadInput
from disc.records import Metre, Strike, Voice
from disc.tune.read.read_turn import read_turn
from disc.tune.read.sections.parted import with_bar_moved, with_metre_at
from disc.tune.read.sections.strains import printed_bars
from disc.tune.read.voices.ornaments import Ornament, ornaments_of, quick_groups, with_leading
from disc.tune.settings import TuneSettings, parse_metre_at, parse_move
from disc.tune.store import TUNE
from disc.tune.write.musicxml import musicxml_text
from disc.turn.bars import BarGrid
from tests.tune.made import MAMAN, PLATE, bass_notes, parse, strikes_of, tune_of

AIR_TUNE = tune_of(parse(MAMAN), bass_notes(24, Metre(2, 4), (48, 53, 55, 48)), Metre(2, 4))
AIR = [*parse(MAMAN), *bass_notes(24, Metre(2, 4), (48, 53, 55, 48))]


def two_airs() -> tuple[tuple[Strike, ...], float]:
    """The air, a silence, and the air a fourth higher and quicker; with the moment of the second's first strike."""
    first = strikes_of(AIR, 0.4, 1.0)
    begin = max(s.onset_s for s in first) + 1.9
    second = strikes_of([(o, d, p + 5) for o, d, p in AIR], 0.33, begin)
    return tuple(
        replace(s, pin_id=number) for number, s in enumerate(sorted((*first, *second), key=lambda s: s.onset_s), 1)
    ), begin


def test_two_tunes_are_parted_with_bars_and_keys_of_their_own() -> None:
    strikes, begin = two_airs()
    tune = read_turn(strikes, PLATE).tune
    assert len(tune.sections) == 1 and tune.sections[0].titled
    second = tune.sections[0]
    assert tune.onset_s(second.line_quarter - second.upbeat_quarter) == pytest.approx(begin, abs=0.06)
    assert second.key.tonic == (tune.key.tonic + 5) % 12 and second.quarter_s < tune.quarter_s
    for note in tune.notes:
        assert note.onset_s is not None and abs(tune.onset_s(note.onset_quarter) - note.onset_s) < 0.06
    line_s = tune.onset_s(second.line_quarter)
    assert BarGrid(tune).bar_and_beat(line_s) == (second.bar, 1)
    bars = (line_s - begin) / (2 * 0.33)  # a bar may be read as two or four of the air's, which begin at its first note
    assert bars == pytest.approx(round(bars), abs=0.1)
    text = musicxml_text(tune)
    assert text.count("<bar-style>light-heavy</bar-style>") >= 2
    assert TUNE.parse(TUNE.text(tune), Path("tune.json")) == tune


def test_one_tune_stays_whole_and_a_person_has_the_last_word() -> None:
    strikes = strikes_of(AIR, 0.5, 1.0)
    assert not read_turn(strikes, PLATE).tune.sections
    both, begin = two_airs()
    assert not read_turn(both, PLATE, TuneSettings(section_deg=())).tune.sections
    at_deg = (begin - 0.2) / PLATE.revolution_s * 360.0
    tune = read_turn(both, PLATE, TuneSettings(section_deg=(at_deg,), title="One / Two")).tune
    assert (tune.title, tune.sections[0].title) == ("One", "Two")


def test_a_bar_line_moved_moves_all_that_follow() -> None:
    tune = AIR_TUNE
    moved = with_bar_moved(tune, 5, Fraction(1))
    beat = Fraction(4, tune.metre.unit)
    assert moved.line_of(4) == tune.line_of(4) and moved.line_of(9) == tune.line_of(9) + beat
    lengths = [bar.length for bar in printed_bars(replace(moved, repeats=()))][:6]
    assert lengths[3] == tune.metre.bar_quarter + beat and lengths[4] == tune.metre.bar_quarter
    assert {pin for bar in printed_bars(moved) for note in bar.notes for pin in note.pins} == {
        pin for note in tune.notes for pin in note.pins
    }
    with pytest.raises(BadInput, match=r"no bar 99"):
        with_bar_moved(tune, 99, Fraction(1))
    with pytest.raises(BadInput, match="nothing would be left of bar 4"):
        with_bar_moved(tune, 5, Fraction(-9))


def test_the_first_line_moved_leaves_an_upbeat() -> None:
    tune = AIR_TUNE
    moved = with_bar_moved(tune, 1, Fraction(1))  # what stood on its first beat is an upbeat now
    assert moved.upbeat_quarter == Fraction(4, tune.metre.unit)
    for one, other in zip(tune.notes, moved.notes, strict=True):
        assert tune.onset_s(one.onset_quarter) == pytest.approx(moved.onset_s(other.onset_quarter))


def test_another_metre_from_a_bar_on() -> None:
    tune = with_metre_at(AIR_TUNE, 5, Metre(3, 4))
    assert tune.bar_of(tune.line_of(6)) == (6, 0)
    assert tune.line_of(6) - tune.line_of(5) == 3
    assert "<beats>3</beats>" in musicxml_text(tune)


def test_words_for_bars() -> None:
    assert parse_metre_at("2/4@17") == (17, Metre(2, 4))
    assert parse_move("17 -1/2") == (17, Fraction(-1, 2))
    for wrong in ("17", "x 1", "17 1/0"):
        with pytest.raises(BadInput, match="--move-bar 17 1"):
            parse_move(wrong)


def test_graces_and_turns_are_told_from_written_notes() -> None:
    """Quick neighbours before a note are its ornament; the strikes proper keep their bars."""
    plain = strikes_of(AIR, 0.5, 1.0)
    graced = [
        Strike(0.0, at, pitch, float(pitch))
        for beat, steps in ((2, (2,)), (8, (-1,)), (14, (2, 0, -1)), (20, (1,)))
        for k, step in enumerate(steps)
        for at, pitch in [(1.0 + beat * 0.5 - 0.06 * (len(steps) - k), top_at(beat) + step)]
    ]
    strikes = sorted((*plain, *graced), key=lambda s: s.onset_s)
    tune = read_turn(tuple(replace(s, pin_id=i) for i, s in enumerate(strikes, start=1)), PLATE).tune
    said = {note.onset_s for note in tune.notes if note.grace}
    assert said == {strike.onset_s for strike in graced}
    assert not any(note.rolled for note in tune.notes)


def top_at(beat: int) -> int:
    """The air's pitch at a beat."""
    return max(pitch for onset, _, pitch in AIR if onset == beat)


def test_a_small_note_that_the_voices_lost_and_one_that_follows_closely() -> None:
    """By hand, s: a quick note before a melody note, taken for accompaniment; a turn in haste after a note."""
    onset_s, pitch = np.array([0.0, 0.5, 0.57, 1.1]), np.array([72.0, 74.0, 72.0, 71.0])
    melody, any_voice = np.array([True, False, True, True]), np.ones(4, dtype=bool)
    assert with_leading(onset_s, pitch, melody, any_voice).tolist() == [True, True, True, True]
    # a strike beside it makes it a chord; a leap of a sixth is a bass note; half a second is no haste
    assert not with_leading(np.array([0.0, 0.5, 0.51, 0.57]), pitch, np.array([True, False, False, True]), any_voice)[1]
    assert not with_leading(onset_s, np.array([72.0, 63.0, 72.0, 71.0]), melody, any_voice)[1]
    assert not with_leading(np.array([0.0, 0.5, 1.0, 1.6]), pitch, melody, any_voice)[1]
    assert not with_leading(onset_s, pitch, melody, np.array([True, False, True, True]))[1]
    after_note_s = np.array([0.0, 0.6, 0.70, 0.75, 0.80, 0.85, 1.4])
    notes = np.array([67.0, 76.0, 72.0, 71.0, 69.0, 71.0, 72.0])
    (turn,) = quick_groups(after_note_s, notes, np.ones(7, dtype=bool))
    assert (turn.graces, turn.note) == ((2, 3, 4), 5)


def test_whose_small_notes_are() -> None:
    """By hand, s: a grace leads to its note; a shake belongs to the note it begins on; what is near to none is none."""
    onset_s = np.array([0.0, 0.44, 0.5, 1.0, 1.06, 1.12, 1.18, 1.24, 1.30, 1.8, 2.5, 3.5])
    pitch = np.array([72.0, 74, 72, 76, 77, 76, 77, 76, 77, 74, 72, 71])
    small = np.zeros(12, dtype=bool)
    small[[1, 4, 5, 6, 7, 8, 10]] = True
    assert ornaments_of(onset_s, pitch, np.arange(12), small) == [Ornament((1,), 2), Ornament((4, 5, 6, 7, 8), 3)]


def test_a_grace_close_above_its_note_is_read_and_the_note_is_melody() -> None:
    """What sounds 50 ms after a higher strike looks like accompaniment under it: note and grace were lost so."""
    plain = strikes_of(AIR, 0.5, 1.0)
    graced = [Strike(0.0, 0.95 + beat * 0.5, top_at(beat) + 2, float(top_at(beat) + 2)) for beat in (4, 10, 16, 22)]
    strikes = sorted((*plain, *graced), key=lambda s: s.onset_s)
    tune = read_turn(tuple(replace(s, pin_id=i) for i, s in enumerate(strikes, start=1)), PLATE).tune
    assert {note.onset_s for note in tune.notes if note.grace} == {strike.onset_s for strike in graced}
    led_to = {1.0 + beat * 0.5: top_at(beat) for beat in (4, 10, 16, 22)}
    melody = {note.onset_s: note.pitch for note in tune.notes if note.voice is Voice.MELODY and note.onset_s in led_to}
    assert melody == led_to
