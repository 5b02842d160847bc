"""Single bars by hand: a line moved, another metre or a new tune from a bar on; undone, refused, heard at once."""

from __future__ import annotations

import pytest

from disc.desk.open_job.session import Session
from disc.desk.work.bars import say_of_bar
from disc.errors import BadInput
from disc.job import open_for_writing, open_job
from disc.records import Metre
from disc.turn.settings import said_bars
from disc.turn.transcribe_job import transcribe_job
from disc.turn.turn_of_job import turn_of_job

from .rig import QUARTER_S, make_job

LINES = "async () => (await import('/static/js/store.js')).desk.music.bars.map(([, onset]) => onset)"


@pytest.fixture
def session(tmp_path):
    made = Session(make_job(tmp_path / "watch"))
    yield made
    made.close()


def in_two_four(folder):
    """A job whose metre a person gave: what is said of single bars then does not hang on how its few bars are read."""
    with open_for_writing(make_job(folder)) as job:
        transcribe_job(job, {"metre": "2/4"})
    return folder


def _lines(session):
    return [bar.onset_s for bar in session.wait_for_thoughts().bars]


def test_a_line_moved_and_a_metre_here_are_what_the_command_makes_of_them(session, tmp_path):
    before = _lines(session)
    say_of_bar(session, {"bar": 3, "beats": "1"})
    say_of_bar(session, {"bar": 5, "metre": "3 / 4"})
    by_command = make_job(tmp_path / "other")
    with open_for_writing(by_command) as job:
        transcribe_job(job, {"move_bar": "3 1"})
        transcribe_job(job, {"metre": "3/4@5"})
    assert open_job(session.folder).settings == open_job(by_command).settings
    tune = turn_of_job(open_job(by_command)).tune
    made = _lines(session)
    assert made == [pytest.approx(tune.onset_s(tune.line_of(number))) for number in range(1, len(made) + 1)]
    # The line of bar 3 a beat later: bar 2 is longer by that; bars before it stand as they did.
    assert made[:2] == before[:2] and made[2] - before[2] == pytest.approx(QUARTER_S, abs=0.05)
    assert made[5] - made[4] == pytest.approx(3 * QUARTER_S, abs=0.05)
    assert [one.words for one in session.wait_for_thoughts().said] == ["line 1 beat later", "3/4 from here"]
    session.go_to(0)
    assert _lines(session) == before and open_job(session.folder).settings.get("bars") is None


def test_each_word_counts_the_bars_as_they_stood_when_it_was_said(tmp_path):
    """Bar 5 stands elsewhere once longer bars begin in bar 3; either order is kept."""
    made = {}
    for order in (("4/4@3", "5 1"), ("5 1", "4/4@3")):
        with open_for_writing(in_two_four(tmp_path / order[1][:1])) as job:
            for word in order:
                transcribe_job(job, {"metre": word} if "@" in word else {"move_bar": word})
            assert job.settings["bars"] == list(order)
            tune = turn_of_job(job).tune
        assert tune.metre == Metre(2, 4)  # bars of two quarters stand at 0, 2, 4 ...
        made[order[0]] = [tune.line_of(bar) for bar in range(1, 6)]
    assert made == {"4/4@3": [0, 2, 4, 8, 13], "5 1": [0, 2, 4, 8, 9]}


def test_what_earlier_versions_kept_of_bars_is_read_and_taken_over(session):
    with open_for_writing(session.folder) as job:
        job.settings.update({"metre_at": ["2/4@3"], "move_bar": ["7 1"]})
        assert said_bars(job.settings) == ["2/4@3", "7 1"]
        transcribe_job(job, {"move_bar": "8 1"})
        assert job.settings["bars"] == ["2/4@3", "7 1", "8 1"] and "metre_at" not in job.settings
        transcribe_job(job, {"metre": "auto"})
        assert job.settings["bars"] == ["7 1", "8 1"]
        transcribe_job(job, {"move_bar": "auto"})
        assert "bars" not in job.settings


def test_what_was_said_is_taken_back_one_by_one(tmp_path):
    session = Session(in_two_four(tmp_path / "watch"))
    before = _lines(session)
    for beats in ("1", "-1/2"):
        say_of_bar(session, {"bar": 3, "beats": beats})
    say_of_bar(session, {"bar": 5, "tune": True})
    said = session.wait_for_thoughts().said
    assert [one.words for one in said] == ["line 1 beat later", "line 1/2 beats earlier", "a new tune from here"]
    assert [one.bar for one in said[:2]] == [3, 3] and said[2].bar in (5, 6)  # each tune's bars are read anew
    assert session.wait_for_thoughts().tune.sections
    for one in said:
        say_of_bar(session, {"forget": {"setting": one.setting, "value": one.value}})
    assert session.wait_for_thoughts().said == () and _lines(session) == before
    assert [step.words for step in session.history.steps][-1] == f"bar {said[2].bar}: no longer a new tune from here"
    with pytest.raises(BadInput, match="no longer said"):
        say_of_bar(session, {"forget": {"setting": "bars", "value": "3 1"}})
    session.close()


@pytest.mark.parametrize(
    "asked, why",
    [
        ({"bar": "3", "beats": "1"}, "say in which bar"),
        ({"bar": 99, "beats": "1"}, "no bar 99; its bars as played are 1 to"),
        ({"bar": 3, "beats": "-9"}, "nothing would be left of bar 2"),
        ({"bar": 3, "beats": "0"}, "cannot be read"),
        ({"bar": 3, "metre": "3/7"}, "the metre '3/7' cannot be read"),
        ({"bar": 3, "metre": ""}, "the metre '' cannot be read"),
        ({"bar": 1, "tune": True}, "no bar 1 for a section"),
        ({"forget": "all"}, "no longer said"),
    ],
)
def test_what_the_bars_cannot_bear_is_refused_and_nothing_is_written(session, asked, why):
    with pytest.raises(BadInput, match=why):
        say_of_bar(session, asked)
    assert session.history.done == 0


def test_on_the_page_a_bar_is_moved_heard_and_taken_back(open_desk, tmp_path):
    desk = open_desk(make_job(tmp_path / "watch"), locale="fr-FR")
    page = desk.page
    before = page.evaluate(LINES)
    desk.tab("tune")
    page.evaluate("async (at) => (await import('/static/js/player.js')).seek(at)", before[4] + 0.1)
    assert page.get_attribute("#bar-number", "placeholder") == "5"
    page.fill("#bar-number", "3")
    page.click("#bar-later")
    desk.told("barre 1 temps plus tard")
    page.wait_for_function("() => window.struck > 0 && window.ticked > 0")
    at = page.evaluate("async () => (await import('/static/js/player.js')).player.at")
    assert before[1] <= at + 0.3  # from the bar before on
    page.click("#play")
    moved = page.evaluate(LINES)
    assert moved[:2] == before[:2] and moved[2] > before[2] + 0.5
    page.click("#bars li button")
    desk.told("plus : barre")
    desk.until(f"async () => JSON.stringify(await ({LINES})()) === '{str(before).replace(' ', '')}'")
    page.click("#undo")
    page.click("#undo")
    desk.until("async () => (await import('/static/js/store.js')).desk.state.history.done === 0")
