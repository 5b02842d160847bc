"""The desk dies while a page is open: the page says so at once, keeps what is written, and comes back by itself."""

from __future__ import annotations

import os
import signal

from disc.desk.server import place
from disc.records import Condition, Side

from .page import DeskPage
from .rig import StartedDesk, make_job, photo_place, pins

NOTICED = "() => document.body.dataset.link === 'lost' && !document.getElementById('link').hidden"
BACK = "() => document.body.dataset.link === 'up' && document.getElementById('link').hidden"
WITHIN_MS = 10_000  # the bar of 2 s is held by tests/bench/measure/desk_kills.py; a busy machine may take longer
UPPER = [pin for pin in pins() if pin.side is Side.UPPER and pin.condition is Condition.SOUND]


def test_killed_noticed_and_back_with_nothing_lost(browser, tmp_path):
    folder = make_job(tmp_path / "watch")
    first = StartedDesk(folder)
    desk = DeskPage(browser, first.address, folder, photo_place)
    page = desk.page
    desk.click_pin(UPPER[0])
    number = desk.picked()[0]
    page.keyboard.press("3")
    desk.told("condition stub")
    page.click("#panel-pin summary")
    page.fill("#pin-note", "half a sentence")
    first.kill()
    page.wait_for_function(NOTICED, timeout=WITHIN_MS)
    assert "disc desk watch" in page.locator("#link").inner_text()
    page.fill("#pin-note", "half a sentence, and its end")
    page.click("#pin-note-keep")
    desk.told("Kept, to be sent")
    assert page.input_value("#pin-note") == "half a sentence, and its end"
    page.focus("#stage")
    page.keyboard.press("2")
    desk.told("sent when it does: 2")
    page.keyboard.press("4")
    desk.told("sent when it does: 3")
    page.keyboard.press("Control+z")  # takes back the last of what waits, not what the desk had done before
    second = StartedDesk(folder)
    assert second.address == first.address  # the same place, or the page could not find it
    page.wait_for_function(BACK)
    desk.told("Undone")
    done, undone = desk.corrections()  # in the order in which they were made
    assert [c.note for c in done] == ["", "half a sentence, and its end", ""]
    assert dict(done[2].changes)["condition"] == "bent" and dict(undone[0].changes)["condition"] == "missing"
    assert desk.pins()[number].condition == "bent" and page.input_value("#pin-note") == ""
    # Picture, zoom, selection and a draft are there again after a reload.
    page.fill("#pin-note", "begun anew")
    desk.sheet("lower")
    page.focus("#stage")
    page.keyboard.press("+")
    before = page.evaluate("async () => (await import('/static/js/stage.js')).view().scale")
    page.reload()
    page.wait_for_selector("#stage[data-ready=lower]")
    assert desk.picked() == [number] and page.input_value("#pin-note") == "begun anew"
    desk.until(f"async () => Math.abs((await import('/static/js/stage.js')).view().scale - {before}) < 1e-6")
    desk.close()
    second.kill()


def test_an_edit_cut_off_under_way_is_done_once(browser, tmp_path):
    """Held still and killed: the page cannot know whether its edit arrived, and looks into the history."""
    folder = make_job(tmp_path / "watch")
    for arrives in (True, False):
        first = StartedDesk(folder)
        desk = DeskPage(browser, first.address, folder, photo_place)
        done = len(desk.corrections()[0])
        desk.click_pin(UPPER[1])
        if arrives:  # the answer is lost, not the edit
            desk.page.route("**/api/edit", lambda route: (route.fetch(), route.abort()))
        else:
            os.kill(first.pid, signal.SIGSTOP)
        ends = "requestfailed" if arrives else "request"
        with desk.page.expect_event(ends, lambda request: request.url.endswith("/api/edit")):
            desk.page.keyboard.press("2" if arrives else "4")
        first.kill()
        desk.page.unroute_all()
        second = StartedDesk(folder)
        desk.page.wait_for_function(BACK)
        desk.until(f"async () => (await import('/static/js/store.js')).desk.state.history.done === {done + 1}")
        desk.page.wait_for_timeout(300)
        assert len(desk.corrections()[0]) == done + 1
        desk.close()
        second.kill()


def test_the_place_of_a_desk_is_for_this_user_alone(tmp_path):
    place.keep(tmp_path, place.DeskPlace(45678, "k" * 32))
    path = place._file(tmp_path)
    assert path.stat().st_mode & 0o777 == 0o600 and tmp_path not in path.parents
    assert place.kept(tmp_path) == place.DeskPlace(45678, "k" * 32)
    os.utime(path, (0, 0))
    assert place.kept(tmp_path) is None  # long ago
    path.write_text('{"port": 80, "key": "short"}')
    assert place.kept(tmp_path) is None
