"""What is in doubt about the whole disc comes first on the page, follows the edits, and is said in the page's words."""

from __future__ import annotations

from dataclasses import replace

from disc.desk.open_job.session import Session
from disc.job import create_job, open_for_writing
from disc.records import Side

OTHER = {Side.UPPER: Side.LOWER, Side.LOWER: Side.UPPER}
KINDS = "async () => (await import('/static/js/store.js')).desk.state.doubts.map((doubt) => doubt.about)"


def test_swapped_faces_and_what_nobody_gave_are_looked_at_first(open_desk, job):
    with open_for_writing(job) as content, content.step("read") as stage:
        content.content.change_plate({"turns": None, "revolution_s": None})
        content.stage_reading(stage, [replace(pin, side=OTHER[pin.side], tooth=None) for pin in content.reading()])
    desk = open_desk(job)
    page = desk.page
    doubts = page.locator("#doubts li")
    assert [doubts.nth(i).get_attribute("data-about") for i in range(3)] == ["faces", "direction", "assumed"]
    said = page.locator("#doubts").inner_text()
    assert "swapped. (97 %)" in said and "other side's (tab Disc)" in said and "set the seconds a turn" in said
    assert "disc read" not in said and "disc set" not in said and "--" not in said
    assert page.locator("#doubts-open").inner_text() == "Look first 3"
    page.get_by_role("button", name="Set which way it turns").click()
    assert page.input_value("#set-revolution_s") == "" and page.input_value("#set-turns") == ""
    page.fill("#set-revolution_s", "45")  # the very value that was assumed: now somebody gave it
    page.click("#set-plate")
    desk.told("revolution")
    desk.worked_out()
    assert page.evaluate(KINDS) == ["faces", "direction"]
    page.click("#doubts-open")
    assert doubts.count() == 2 and page.locator("#panel-pin").is_visible()
    page.click("#undo")
    page.wait_for_function("() => document.querySelectorAll('#doubts li').length === 3")


def test_without_a_comb_it_is_said_too_and_without_a_diameter_the_page_asks(tmp_path):
    create_job(tmp_path / "a", {"diameter_mm": 28.0})
    session = Session(tmp_path / "a")
    assert [doubt.about for doubt in session.wait_for_thoughts().doubts] == ["direction", "assumed", "assumed"]
    session.close()
    create_job(tmp_path / "b", {"revolution_s": 50.0})
    bare = Session(tmp_path / "b")
    assert bare.job is None
    bare.close()
