"""Single notes by hand: held, an ornament, the melody; stored by place, found again, the same in score and sound."""

from __future__ import annotations

import io
from dataclasses import replace

import mido
import pytest

from disc.errors import BadInput
from disc.job import open_for_writing, open_job
from disc.records import Strike, Voice
from disc.tune.read.read_tune import TuneReading, read_tune
from disc.tune.settings import NoteWord, TuneSettings, parse_metre
from disc.tune.write.midi import midi_bytes
from disc.tune.write.musicxml import musicxml_text
from disc.turn.said_of_notes import note_meant
from disc.turn.transcribe_job import transcribe_job
from disc.turn.turn_of_job import turn_of_job
from tests.desk.rig import make_job, pins
from tests.tune.made import MAMAN, PLATE, bass_notes, parse, strikes_of
from tests.tune.test_pace import QUARTER_S, WAYS, bent

NOTES = [*parse(MAMAN), *bass_notes(24, parse_metre("2/4"), (48, 53, 55, 48))]


def _said(strikes: tuple[Strike, ...], *notes: tuple[int, NoteWord]) -> TuneReading:
    return read_tune(strikes, PLATE, TuneSettings(metre=parse_metre("2/4"), beats=48, notes=notes))


def _pin(strikes: tuple[Strike, ...], onset_s: float, pitch: int) -> int:
    near = [s for s in strikes if s.pitch == pitch and abs(s.onset_s - onset_s) < 0.1]
    assert len(near) == 1 and near[0].pin_id is not None
    return near[0].pin_id


def test_a_note_that_is_held_takes_its_time_out_of_the_bars() -> None:
    """Bar 8's note is held .37 s, which the reader finds; said, it is the same; denied, the sign is not there."""
    strikes = bent(WAYS["held"])
    pin = _pin(strikes, 8.0, 72)
    free = read_tune(strikes, PLATE).tune
    assert len(free.held) == 1  # what the reader finds by itself
    denied = read_tune(strikes, PLATE, TuneSettings(notes=((pin, NoteWord.NOT_HELD),))).tune
    assert not any(denied.onset_s(quarter) == pytest.approx(8.0, abs=0.1) for quarter in denied.held)
    said = read_tune(strikes, PLATE, TuneSettings(notes=((pin, NoteWord.HELD),))).tune
    assert said.held == free.held and len(said.pace) == len(free.pace)
    assert max(abs(said.onset_s(n.onset_quarter) - (n.onset_s or 0)) for n in said.notes) < 0.06


def test_a_hold_too_short_for_the_reader_is_read_where_a_person_says_so() -> None:
    """.16 s in a note of a second: a smaller share than the reader takes for a hold by itself (MOST_LEFT)."""
    strikes = bent(lambda t: t + 0.16 * min(max((t - 8.0) / 1.0, 0.0), 1.0))
    pin = _pin(strikes, 8.0, 72)
    said = read_tune(strikes, PLATE, TuneSettings(notes=((pin, NoteWord.HELD),))).tune
    (quarter,) = said.held
    assert said.onset_s(quarter) == pytest.approx(8.0, abs=0.05)
    after = min(note.onset_quarter for note in said.notes if note.onset_quarter > quarter)
    written_s = float(after - quarter) * said.quarter_s
    assert written_s == pytest.approx(2 * QUARTER_S, abs=0.03)
    assert said.onset_s(after) - said.onset_s(quarter) == pytest.approx(2 * QUARTER_S + 0.16, abs=0.05)
    assert read_tune(strikes, PLATE).tune.held != said.held  # left alone it hears two longer ones about there


def test_a_sign_alone_stands_where_the_time_is_as_written() -> None:
    strikes = bent(WAYS["steady"])
    pin = _pin(strikes, 8.0, 72)
    plain, said = _said(strikes).tune, _said(strikes, (pin, NoteWord.HELD)).tune
    assert said == replace(plain, held=said.held) and len(said.held) == 1
    assert musicxml_text(plain).count("<fermata") == 0 and musicxml_text(said).count("<fermata") >= 1


def test_an_ornament_leaves_the_grid_and_sounds_as_it_stands() -> None:
    """A quick note before a written one, of the same pin count; the place it had as a written note is gone."""
    strikes = list(strikes_of(NOTES, QUARTER_S, 1.0))
    added = replace(strikes[0], onset_s=8.0 - 0.19, tooth=81, pitch=81.0, pin_id=99)
    strikes = tuple(sorted([*strikes, added], key=lambda s: s.onset_s))
    plain = _said(strikes).tune
    assert not next(note for note in plain.notes if note.pins == (99,)).grace
    tune = _said(strikes, (99, NoteWord.ORNAMENT)).tune
    note = next(note for note in tune.notes if note.pins == (99,))
    follows = min((n for n in tune.notes if n.onset_s and n.onset_s > 8.0 - 0.1), key=lambda n: n.onset_s or 0.0)
    assert note.grace and note.onset_quarter == follows.onset_quarter
    assert musicxml_text(tune).count("<grace") == musicxml_text(plain).count("<grace") + 1
    heard = [m.time for m in mido.MidiFile(file=io.BytesIO(midi_bytes(tune))) if m.type == "note_on" and m.velocity]
    assert len(heard) == len(strikes)


def test_an_ornament_found_is_made_a_note_of_its_own() -> None:
    graces = [(o - 0.06 / QUARTER_S, 0, p + 2) for o, _, p in parse(MAMAN)[6::14]]
    strikes = tuple(replace(s, pin_id=i) for i, s in enumerate(strikes_of([*NOTES, *graces], QUARTER_S, 1.0), 1))
    found = [note for note in _said(strikes).tune.notes if note.grace]
    assert found
    left = _said(strikes, (found[0].pins[0], NoteWord.WRITTEN)).tune
    assert len([n for n in left.notes if n.grace]) == len(found) - 1
    assert not next(n for n in left.notes if n.pins == found[0].pins).grace


def test_melody_and_accompaniment_are_as_said() -> None:
    strikes = strikes_of(NOTES, QUARTER_S, 1.0)
    tune = _said(strikes).tune
    for voice, word in ((Voice.ACCOMPANIMENT, NoteWord.MELODY), (Voice.MELODY, NoteWord.ACCOMPANIMENT)):
        pin = next(n.pins[0] for n in tune.notes if n.voice is voice)
        after = _said(strikes, (pin, word)).tune
        turned = {n.pins[0] for n, m in zip(tune.notes, after.notes, strict=True) if n.voice is not m.voice}
        assert turned == {pin} or pin in {n.pins[0] for n in after.notes if n.voice.value == word.value}


def test_too_many_ornaments_are_refused() -> None:
    strikes = strikes_of(NOTES, QUARTER_S, 1.0)
    with pytest.raises(BadInput, match="too few strikes are left that are no ornaments"):
        _said(strikes, *((s.pin_id or 0, NoteWord.ORNAMENT) for s in strikes[4:]))


def test_the_command_stores_a_place_and_every_room_takes_it(tmp_path) -> None:
    folder = make_job(tmp_path / "watch")
    with open_for_writing(folder) as job:
        before = turn_of_job(job).tune
        assert before is not None
        note = next(n for n in before.notes if n.voice is Voice.MELODY and n.pins and n.onset_quarter == 4)
        bar, after = before.bar_of(note.onset_quarter)
        transcribe_job(job, {"note": (f"{bar}:{after + 1}", "held")})
        transcribe_job(job, {"note": (str(note.pins[0]), "accompaniment")})
    job = open_job(folder)
    assert [text.split()[0] for text in job.settings["notes"]] == ["held", "accompaniment"]
    tune = turn_of_job(job).tune
    assert tune is not None and note.onset_quarter in tune.held
    assert "<fermata" in (folder / "out/tune.musicxml").read_text(encoding="utf-8")
    assert job.content.results["tune"]["held_bars"] == [bar]
    with open_for_writing(folder) as job:
        transcribe_job(job, {"note": (str(note.pins[0]), "melody")})
        assert [text.split()[0] for text in job.settings["notes"]] == ["held", "melody"]
        transcribe_job(job, {"note": (str(note.pins[0]), "auto")})
        assert "notes" not in job.settings
        assert turn_of_job(job).tune == before


def test_a_note_whose_pin_is_gone_is_said_to_be_lost(tmp_path) -> None:
    with open_for_writing(make_job(tmp_path / "watch")) as job:
        transcribe_job(job, {"note": ("5", "held")})
        job.settings["notes"] = [job.settings["notes"][0].replace("upper", "lower")]
        turn = turn_of_job(job)
    assert turn.tune is not None and any("no longer fits any pin" in doubt.say for doubt in turn.doubts)


@pytest.mark.parametrize(
    "note, why",
    [
        (("9999", "held"), "there is no pin 9999"),
        (("99:1", "held"), "no note begins at bar 99, beat 1"),
        (("x", "held"), "the note 'x' cannot be read"),
        (("5", "long"), "'long' cannot be said of a note. Say one of: held"),
    ],
)
def test_what_cannot_be_said_is_refused(tmp_path, note, why) -> None:
    with open_for_writing(make_job(tmp_path / "watch")) as job, pytest.raises(BadInput, match=why):
        transcribe_job(job, {"note": note})


def test_a_setting_of_another_kind_is_refused(tmp_path) -> None:
    job = open_job(make_job(tmp_path / "watch"))
    for bad in ("held", ["held upper"], ["held upper nan 3"]):
        job.settings["notes"] = bad
        with pytest.raises(BadInput, match="the setting notes"):
            turn_of_job(job)
    with pytest.raises(BadInput, match="no bars to count"):
        note_meant("3:1", pins(), None)
