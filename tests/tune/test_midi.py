"""MIDI: written by us, read back by mido, note for note. Numbers of General MIDI level 1 (MIDI Manufacturers
Association, 1991; from memory): instrument 11, counted from 1, is Music Box."""

from __future__ import annotations

import io
from fractions import Fraction

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from disc.records import Key, Metre
from disc.tune.write.midi import TICKS_PER_QUARTER, first_tick_quarter, midi_bytes

from .made import JIG, MAMAN, bass_notes, parse, tune_of


def read_back(data: bytes) -> tuple[mido.MidiFile, list[tuple[int, int]]]:
    """The file and its (tick, pitch) of every note begun, all tracks together."""
    file = mido.MidiFile(file=io.BytesIO(data))
    begun = []
    for track in file.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity > 0:
                begun.append((now, message.note))
    return file, sorted(begun)


def test_notes_come_back_one_for_one() -> None:
    tune = tune_of(parse(MAMAN), bass_notes(24, Metre(2, 4), (48, 53, 55)), Metre(2, 4))
    _, begun = read_back(midi_bytes(tune))
    assert begun == sorted((int(n.onset_quarter * TICKS_PER_QUARTER), n.pitch) for n in tune.notes)


def test_upbeat_begins_inside_a_whole_bar() -> None:
    tune = tune_of(parse(JIG, Fraction(-1, 2)), metre=Metre(6, 8), key=Key(7, "major", 1))
    assert first_tick_quarter(tune) == 3
    _, begun = read_back(midi_bytes(tune))
    assert begun[0] == (int(Fraction(5, 2) * TICKS_PER_QUARTER), 74)


def test_program_tempo_metre_and_key() -> None:
    tune = tune_of(parse(JIG, Fraction(-1, 2)), metre=Metre(6, 8), key=Key(7, "major", 1))
    file, _ = read_back(midi_bytes(tune))
    messages = [message for track in file.tracks for message in track]
    assert {m.program for m in messages if m.type == "program_change"} == {10}
    assert [m.tempo for m in messages if m.type == "set_tempo"] == [500_000]
    (metre,) = [m for m in messages if m.type == "time_signature"]
    assert (metre.numerator, metre.denominator) == (6, 8)
    assert [m.key for m in messages if m.type == "key_signature"] == ["G"]
    # half a second a quarter: the last note of the file stops when the last bar does, less the upbeat
    assert file.length == pytest.approx((3 + float(max(n.onset_quarter + n.duration_quarter for n in tune.notes))) / 2)


# Signatures of MIDI's key_signature for seven flats to seven sharps, major and minor: mido's own table is the judge.
@pytest.mark.parametrize("fifths", range(-7, 8))
@pytest.mark.parametrize("mode", ["major", "minor", "dorian"])
def test_every_signature_is_one_that_mido_knows(fifths: int, mode: str) -> None:
    tonic = (7 * fifths + {"major": 0, "minor": 9, "dorian": 2}[mode]) % 12
    tune = tune_of(parse("72 1 74 1"), key=Key(tonic, mode, fifths))
    file, _ = read_back(midi_bytes(tune))
    (message,) = [m for m in file.tracks[0] if m.type == "key_signature"]
    from music21 import key

    name = message.key
    made = key.Key(name[0] + name[1:].replace("b", "-").rstrip("m"), "minor" if name.endswith("m") else "major")
    assert made.sharps == fifths


lengths = st.sampled_from([Fraction(1, 4), Fraction(1, 3), Fraction(1, 2), Fraction(3, 4), Fraction(1), Fraction(3, 2)])


@settings(max_examples=40)
@given(st.lists(st.tuples(st.integers(60, 90), lengths), min_size=1, max_size=30))
def test_any_row_of_notes_lies_on_whole_ticks(row: list[tuple[int, Fraction]]) -> None:
    text = " ".join(f"{pitch} {length}" for pitch, length in row)
    tune = tune_of(parse(text))
    _, begun = read_back(midi_bytes(tune))
    assert begun == sorted((int(n.onset_quarter * TICKS_PER_QUARTER), n.pitch) for n in tune.notes)
    assert all((n.onset_quarter * TICKS_PER_QUARTER).denominator == 1 for n in tune.notes)
