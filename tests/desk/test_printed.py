"""The print beside the disc: laid over the turn by what a person said is its tune, heard and shown like the disc."""

from __future__ import annotations

import numpy as np
import pytest

from disc.desk.open_job.session import Session
from disc.desk.work.printed import known_print, lay_print, page_print
from disc.errors import BadInput, MissingPart
from disc.job import open_for_writing
from disc.library.accepted import accept_tune
from disc.library.records import ReferenceTune, TuneKey
from disc.tune.score.records import TICKS_PER_QUARTER

from .rig import FIRST_ONSET_S, MELODY, PLATE, QUARTER_S, comb, make_job

LOWER = 5  # semitones by which the print stands lower than the disc
STRANGE = 98 - LOWER  # a printed note for which the comb has no tooth


def printed(pitches):
    """A tune in quarters."""
    ticks = np.arange(len(pitches)) * TICKS_PER_QUARTER
    lengths = np.full(len(pitches), TICKS_PER_QUARTER)
    bars = 1 + np.arange(len(pitches)) // 4
    return ReferenceTune(TuneKey("a.abc", 1), "The Air", "mine", ticks, lengths, np.array(pitches), bars, (4, 4))


@pytest.fixture
def session(tmp_path):
    made = Session(make_job(tmp_path / "watch"))
    yield made
    made.close()


def test_each_printed_note_stands_at_its_place_on_its_tooth_with_its_pin(session):
    strikes = session.wait_for_thoughts().should
    notes = [pitch - LOWER for pitch in MELODY]
    notes[6] = STRANGE
    laid = lay_print(printed(notes), strikes, comb(), PLATE.revolution_s)
    assert laid.title == "The Air" and laid.toothless == 1 and len(laid.strikes) == len(MELODY) - 1
    tooth_of = {round(tooth.pitch): tooth.number for tooth in comb().teeth}
    wanted = [(FIRST_ONSET_S + i * QUARTER_S, tooth_of[p]) for i, p in enumerate(MELODY) if i != 6]
    assert [s.tooth for s in laid.strikes] == [tooth for _, tooth in wanted]
    assert [s.onset_s for s in laid.strikes] == pytest.approx([at for at, _ in wanted], abs=0.05)
    pins = {s.pin_id: s for s in strikes}
    assert all(abs(pins[s.pin_id].onset_s - s.onset_s) < 0.1 for s in laid.strikes if s.pin_id is not None)
    assert sum(s.pin_id is not None for s in laid.strikes) >= len(MELODY) - 4


def test_another_tune_is_not_laid_over_the_disc(session):
    other = printed([60 + (7 * i * i) % 13 for i in range(len(MELODY))])
    with pytest.raises(BadInput, match="The Air: this tune does not lie on the disc"):
        lay_print(other, session.wait_for_thoughts().should, comb(), PLATE.revolution_s)


def test_only_what_a_person_said_is_the_disc_s_tune(session):
    with pytest.raises(MissingPart, match="No printed tune was said"):
        page_print(session)
    with open_for_writing(session.folder) as job:
        accept_tune(job, printed([pitch - LOWER for pitch in MELODY]))
        assert known_print(job).title == "The Air"


def test_on_the_page_the_print_follows_now_and_repaired(open_desk, tmp_path):
    folder = make_job(tmp_path / "watch")
    with open_for_writing(folder) as job:
        accept_tune(job, printed([pitch - LOWER for pitch in MELODY]))
    desk = open_desk(folder)
    page = desk.page
    page.wait_for_selector("#play-what option[value=print]", state="attached")  # the state has come
    for said in ("As it should play, repaired.", "As printed: The Air.", "As it plays now."):
        page.focus("#stage")
        page.keyboard.press("s")
        desk.told(said)
    page.select_option("#play-what", "print")
    desk.told("As printed")
    desk.sheet("score")
    page.wait_for_selector("#score-box [id^='pin-']")
    # At the moment of a printed note the same pin sounds in score, turn and disc.
    sounds = """async (at) => {
      const {seek, sounding} = await import('/static/js/player.js');
      seek(at);
      const shown = [...document.querySelectorAll('#score-box .sounding')].map((one) => one.id);
      return [sounding().map(({strike}) => strike[3]), shown];
    }"""
    plays = {pin.id for pin in desk.pins().values() if pin.condition in ("sound", "bent")}
    told = [page.evaluate(sounds, FIRST_ONSET_S + i * QUARTER_S + 0.1) for i in range(6)]
    engraved = [(pins[0], names) for pins, names in told if pins and pins[0] in plays]
    assert len(engraved) >= 4
    assert all(names and all(str(pin) in name.split("-") for name in names) for pin, names in engraved)
    page.click("#play")
    page.wait_for_function("() => (window.struck ?? 0) >= 2")
    page.click("#play")
