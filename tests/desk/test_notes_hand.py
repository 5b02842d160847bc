"""Single notes by hand at the desk: held, an ornament, the melody; heard at once, undone, the same by the command."""

from __future__ import annotations

import pytest

from disc.desk.open_job.session import Session
from disc.desk.work.mark_place import mark_place
from disc.desk.work.notes_hand import say_of_notes
from disc.errors import BadInput
from disc.job import open_for_writing, open_job
from disc.records import Pin, Voice
from disc.turn.transcribe_job import transcribe_job
from disc.turn.turn_of_job import turn_of_job

from .rig import make_job, photo_place

MUSIC = "async () => (await import('/static/js/store.js')).desk.music"


@pytest.fixture
def session(tmp_path):
    made = Session(make_job(tmp_path / "watch"))
    yield made
    made.close()


def _melody_pin(session, quarter=8):
    tune = session.wait_for_thoughts().tune
    return next(n.pins[0] for n in tune.notes if n.voice is Voice.MELODY and n.onset_quarter >= quarter and n.pins)


def test_what_is_said_of_notes_is_what_the_command_makes_of_it_and_is_undone(session, tmp_path):
    pin, before = _melody_pin(session), session.wait_for_thoughts().tune
    say_of_notes(session, {"pins": [pin], "word": "held", "is": True})
    say_of_notes(session, {"pins": [pin], "word": "melody", "is": False})
    by_command = make_job(tmp_path / "other")
    with open_for_writing(by_command) as job:
        transcribe_job(job, {"note": (str(pin), "held")})
        transcribe_job(job, {"note": (str(pin), "accompaniment")})
    assert open_job(session.folder).settings == open_job(by_command).settings
    after = session.wait_for_thoughts()
    assert after.tune == turn_of_job(open_job(by_command)).tune and after.tune.held
    assert [one.words for one in after.said] == [f"pin {pin}: held note (fermata)", f"pin {pin}: accompaniment"]
    assert [s.words for s in session.history.steps] == [one.words for one in after.said]
    session.go_to(0)
    assert session.wait_for_thoughts().tune == before and "notes" not in open_job(session.folder).settings


def test_a_word_pressed_again_is_taken_back_and_then_denied(session):
    pin = _melody_pin(session)
    say_of_notes(session, {"pins": [pin], "word": "melody", "is": False})
    say_of_notes(session, {"pins": [pin], "word": "melody", "is": True})  # only takes back what was denied
    assert "notes" not in open_job(session.folder).settings
    assert session.history.steps[-1].words == f"pin {pin}: no longer accompaniment"
    say_of_notes(session, {"pins": [pin, pin + 1], "word": "ornament", "is": True})
    assert session.history.steps[-1].words == "2 pins: ornament"
    for one in session.wait_for_thoughts().said:
        say_of_notes(session, {"forget": one.value})
    assert session.wait_for_thoughts().said == ()


def test_what_is_said_goes_with_the_axes_when_the_slot_is_marked_anew(session):
    pin = _melody_pin(session)
    say_of_notes(session, {"pins": [pin], "word": "held", "is": True})
    side = next(one.side for one in session.pins if one.id == pin)
    marked = Pin(0, side, 13.6, 2.0)  # the slot two degrees on: twice as far as a place may be off at the rim
    mark_place(session, {"what": "slot", "sheet": side.value, "at": photo_place(marked)})
    said = session.wait_for_thoughts().said
    assert [one.words for one in said] == [f"pin {pin}: held note (fermata)"]


@pytest.mark.parametrize(
    "asked, why",
    [
        ({"pins": [9999], "word": "held"}, "say of which pins"),
        ({"pins": "all", "word": "held"}, "say of which pins"),
        ({"pins": [], "word": "held"}, "say of which pins"),
        ({"pins": [3], "word": "loud"}, "'loud' cannot be said of a note"),
        ({"pins": list(range(1, 49)), "word": "ornament"}, "belongs to a note. Take one back"),
        ({"forget": "held upper 1 1"}, "no longer said of a note"),
    ],
)
def test_what_the_notes_cannot_bear_is_refused_and_nothing_is_written(session, asked, why):
    with pytest.raises(BadInput, match=why):
        say_of_notes(session, asked)
    assert session.history.done == 0


def test_on_the_page_a_note_is_held_heard_and_taken_back(open_desk, tmp_path):
    folder = make_job(tmp_path / "watch")
    session = Session(folder)
    pin = _melody_pin(session)
    session.close()
    desk = open_desk(folder, locale="de-DE")
    page = desk.page
    page.evaluate("async (pin) => (await import('/static/js/store.js')).select([pin])", pin)
    page.wait_for_selector("#note-melody[aria-pressed=true]")
    page.click("#note-held")
    desk.told(f"Stift {pin}: gehaltene Note")
    page.wait_for_function("() => window.struck > 0 && window.ticked > 0")  # from the bar before on
    page.click("#play")
    page.wait_for_selector("#note-held[aria-pressed=true]")
    assert page.evaluate(MUSIC)["places"][str(pin)]["note"] == ["melody", "held"]
    desk.tab("tune")
    assert "gehaltene Note (Fermate)" in page.locator("#bars li").inner_text()
    page.click("#bars li button")
    desk.until("async () => (await import('/static/js/store.js')).desk.music.said.length === 0")
    page.click("#undo")
    page.click("#undo")
    desk.until("async () => (await import('/static/js/store.js')).desk.state.history.done === 0")
