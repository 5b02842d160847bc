"""A tooth that cannot be heard any more does not stop the tune; what the order of the teeth lacks is said."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction
from xml.etree import ElementTree

import mido
import numpy as np
import pytest

from disc.comb.assign import Assignment
from disc.comb.pin_spread import Spread, Teeth
from disc.errors import BadInput
from disc.records import Comb, Key, Metre, Note, Plate, Side, Strike, Tooth, ToothCondition, Tune
from disc.tune.read.sections.strains import find_repeats, printed_bars
from disc.tune.write.layout import lay_out
from disc.tune.write.midi import midi_bytes
from disc.tune.write.musicxml import musicxml_of_page
from disc.tune.write.sound import render_strikes
from disc.turn.assumed import silent_doubts
from disc.turn.one_turn import OneTurn, with_tune
from disc.turn.settings import TurnSettings
from disc.turn.silent_teeth import pitches_between

PLATE = Plate(28.0)
SCALE = (60.0, 62.0, 64.0, 65.0, 67.0, 69.0, 71.0, 72.0, 74.0, 76.0)
COMB = Comb(tuple(Tooth(n, Side.UPPER, 4.0 + n, 10.0, pitch) for n, pitch in enumerate(SCALE, start=1)))


def without(*numbers: int) -> Comb:
    silent = {"pitch": None, "condition": ToothCondition.BROKEN}
    return replace(COMB, teeth=tuple(replace(t, **silent) if t.number in numbers else t for t in COMB.teeth))


def strikes_of(comb: Comb) -> tuple[Strike, ...]:
    return tuple(Strike(10.0 * t.number, t.number, t.number, t.pitch, t.number, silent=t.is_silent) for t in comb.teeth)


def turn_of(comb: Comb, order: str | None = None) -> OneTurn:
    """A turn on which every tooth is struck once; too few strikes for a tune, enough for the pitches."""
    struck = strikes_of(comb)
    teeth = Teeth((), Assignment(()), Spread())
    return with_tune(OneTurn((), comb, comb, PLATE, teeth, struck, struck, struck), TurnSettings(order=order))


def test_a_broken_tooth_gets_a_pitch_between_its_neighbours_and_a_doubt():
    turn = turn_of(without(4))
    assert turn.strikes[3].pitch in (65.0, 66.0) and turn.strikes[3].doubtful  # between E and G
    assert not any(s.doubtful for s in turn.strikes if s.tooth != 4) and set(turn.between) == {4}
    (doubt,) = turn.doubts
    assert "tooth 4 has no pitch of its own" in doubt.say


def test_at_an_end_the_row_goes_on_as_it_went():
    assert pitches_between(without(10), [10]) == {10: 76.0}
    falling = Comb(tuple(replace(t, pitch=140.0 - t.pitch if t.pitch else None) for t in without(1).teeth))
    assert pitches_between(falling, [1]) == {1: 80.0}


def test_a_comb_mostly_without_pitches_is_not_guessed_unasked():
    turn = turn_of(without(1, 2, 3, 4))
    assert not turn.pitched and turn.tune is None and turn.between is None


def test_the_order_says_which_teeth_it_lacks():
    comb = without(1, 2, 3, 4)
    with pytest.raises(BadInput, match=r"the order lacks teeth 2, 4: struck, and without a pitch"):
        turn_of(comb, "1,3,5")
    with pytest.raises(BadInput, match=r"the order names tooth 44, not in the comb's table"):
        turn_of(comb, "1,2,3,4,44")


def test_a_tooth_that_gives_no_tone_is_named_with_its_notes_though_its_pitch_is_known():
    dead = replace(
        COMB, teeth=tuple(replace(t, condition=ToothCondition.DEAD) if t.number == 4 else t for t in COMB.teeth)
    )
    (doubt,) = silent_doubts([*strikes_of(dead), *strikes_of(dead)])
    assert doubt.say == "tooth 4 gives no tone as it is; its notes (2) are written small, with a cross, and not played."
    assert silent_doubts(strikes_of(COMB)) == silent_doubts(strikes_of(dead)[:3]) == []
    assert silent_doubts(strikes_of(without(4, 6)))[0].say.startswith("teeth 4, 6 give no tone as they are;")


def test_notes_of_a_dead_tooth_are_written_as_crosses_and_played_by_nobody():
    notes = tuple(
        Note(Fraction(n, 2), Fraction(1, 2), 60 + n, pins=(n + 1,), tooth=n + 1, onset_s=0.3 * n, silent=n == 3)
        for n in range(8)
    )
    tune = Tune(notes, Metre(4, 4), Key(0, "major", 0), Fraction(0), 0.6, 0.0)
    score = ElementTree.fromstring(musicxml_of_page(lay_out(tune)))
    crosses = {note.get("id") for note in score.iter("note") if note.findtext("notehead") == "x"}
    assert crosses == {"pin-4"} and score.find(".//note[@id='pin-4']/type").get("size") == "cue"
    played = {
        m.note
        for track in mido.MidiFile(file=io.BytesIO(midi_bytes(tune))).tracks
        for m in track
        if m.type == "note_on"
    }
    assert played == {60 + n for n in range(8)} - {63}
    struck = strikes_of(COMB)[3:4]
    assert np.any(render_strikes(struck)) and not np.any(render_strikes([replace(struck[0], silent=True)]))


def test_two_passes_written_once_sound_if_either_does():
    bar = [Note(Fraction(n), Fraction(1), 60 + n, pins=(n,), tooth=n, onset_s=float(n)) for n in range(16)]
    again = [replace(n, onset_quarter=n.onset_quarter + 16, pins=(n.pins[0] + 16,), silent=True) for n in bar]
    tune = Tune((*bar, *again), Metre(4, 4), Key(0, "major", 0), Fraction(0), 0.6, 0.0)
    tune = replace(tune, repeats=find_repeats(tune))
    assert tune.repeats and not any(note.silent for bar in printed_bars(tune) for note in bar.notes)
