"""Correcting: by mouse, drag, keys and touch; files checked after; undo to the beginning, also after a restart."""

from __future__ import annotations

import math

from disc.records import Condition, Side

from .page import DeskPage
from .rig import make_job, photo_place, pins, running_desk

UPPER = [pin for pin in pins() if pin.side is Side.UPPER]


def test_add_move_change_remove_and_undo_by_mouse(open_desk, job):
    desk = open_desk(job)
    first = (job / "pins.csv").read_bytes()
    desk.tool("add")
    spot = photo_place_of(9.0, 200.0)
    desk.page.mouse.click(*desk.at_sheet(spot))
    desk.told("added a pin")
    added = [pin for number, pin in desk.pins().items() if number not in {p.id for p in pins()}]
    # 0.1 mm: a screen pixel here is about 1/16 mm.
    assert len(added) == 1 and abs(added[0].r_mm - 9.0) < 0.1 and abs(added[0].theta_deg - 200.0) < 0.7
    desk.tool("move")
    moved = UPPER[6]
    start, goal = desk.at_pin(moved), desk.at_sheet(photo_place_of(moved.r_mm, moved.theta_deg + 6.0))
    desk.page.mouse.move(*start)
    desk.page.mouse.down()
    desk.page.mouse.move(*goal, steps=5)
    desk.page.mouse.up()
    desk.told("moved pin")
    assert abs(desk.pins()[moved.id].theta_deg - moved.theta_deg - 6.0) < 0.7
    desk.tool("pick")
    desk.click_pin(UPPER[8])
    desk.page.select_option("#pin-condition", "stub")
    desk.told("condition stub")
    desk.page.click("#pin-remove")
    desk.told("removed pin")
    assert UPPER[8].id not in desk.pins()
    assert len(desk.corrections()[0]) == 4
    for _ in range(4):
        desk.page.click("#undo")
        desk.page.wait_for_timeout(150)
    desk.page.wait_for_function("() => document.getElementById('undo').disabled")
    assert (job / "pins.csv").read_bytes() == first
    done, undone = desk.corrections()
    assert done == () and len(undone) == 4


def photo_place_of(r_mm: float, theta_deg: float):
    from disc.records import Pin

    return photo_place(Pin(0, Side.UPPER, r_mm, theta_deg))


def test_all_of_it_by_keyboard(open_desk, job):
    desk = open_desk(job)
    keys = desk.page.keyboard
    desk.page.focus("#stage")
    keys.press("n")
    first = desk.picked()
    keys.press("n")
    assert desk.picked() != first
    chosen = desk.picked()[0]
    keys.press("2")
    desk.told("condition bent")
    assert desk.pins()[chosen].condition is Condition.BENT
    before = desk.pins()[chosen]
    keys.press("m")
    for _ in range(3):
        keys.press("Shift+ArrowRight")
    keys.press("Enter")
    desk.told("moved pin")
    after = desk.pins()[chosen]
    x0, y0 = photo_place(before)
    x1, y1 = photo_place(after)
    # Three steps of 12 screen pixels to the right, at the scale of the fitted picture.
    scale = desk.page.evaluate("async () => (await import('/static/js/stage.js')).view().scale")
    assert abs((x1 - x0) * scale - 36) < 1.5 and abs(y1 - y0) * scale < 1.5
    keys.press("v")
    keys.press("Delete")
    desk.told("removed pin")
    assert chosen not in desk.pins()
    keys.press("Control+z")
    desk.told("Undone")
    assert chosen in desk.pins()
    keys.press("Control+Shift+z")
    desk.told("Redone")
    assert chosen not in desk.pins()
    keys.press("a")
    keys.press("Shift+ArrowDown")
    keys.press("Enter")
    desk.page.wait_for_function("() => /added a pin|stands within/.test(document.getElementById('told').textContent)")


def test_box_and_lasso_pick_several_and_one_undo_takes_all_back(open_desk, job):
    desk = open_desk(job)
    desk.tool("box")
    places = {pin.id: desk.at_pin(pin) for pin in UPPER}
    xs = sorted(place[0] for place in places.values())
    left, right = xs[0] - 8, (xs[len(xs) // 2] + xs[len(xs) // 2 + 1]) / 2
    ys = [place[1] for place in places.values()]
    desk.page.mouse.move(left, min(ys) - 8)
    desk.page.mouse.down()
    desk.page.mouse.move(right, max(ys) + 8, steps=4)
    desk.page.mouse.up()
    inside = {number for number, place in places.items() if place[0] < right}
    assert set(desk.picked()) == inside and 3 < len(inside) < len(UPPER)
    desk.page.select_option("#pin-condition", "bent")
    desk.told("condition bent")
    assert all(desk.pins()[number].condition is Condition.BENT for number in inside)
    desk.page.focus("#stage")
    desk.page.keyboard.press("Control+z")
    desk.told("Undone")
    assert sum(pin.condition is Condition.BENT for pin in desk.pins().values()) == 2
    desk.tool("lasso")
    around = [UPPER[3], UPPER[15]]
    x, y = desk.at_pin(around[0])
    ring = [(x + 16 * math.cos(a), y + 16 * math.sin(a)) for a in (0, 1, 2, 3, 4, 5, 6)]
    desk.page.mouse.move(*ring[0])
    desk.page.mouse.down()
    for place in ring[1:]:
        desk.page.mouse.move(*place)
    desk.page.mouse.up()
    assert around[0].id in desk.picked() and len(desk.picked()) < 5


def test_notes_stay_with_their_pin(open_desk, job):
    desk = open_desk(job)
    desk.click_pin(UPPER[4])
    desk.page.click("#panel-pin summary")
    desk.page.fill("#pin-note", "rust at the <b>root</b>")
    desk.page.click("#pin-note-keep")
    desk.told("note on pin")
    assert "rust at the <b>root</b>" in desk.page.locator("#panel-pin").inner_text()
    done, _ = desk.corrections()
    assert done[0].note == "rust at the <b>root</b>" and done[0].changes == ()


def test_metre_key_and_turning_are_set_and_what_changed_is_said(open_desk, job):
    desk = open_desk(job)
    desk.tab("disc")
    desk.page.fill("#set-metre", "3/4")
    desk.page.click("#set-tune")
    desk.told("became 3/4")
    assert desk.job_file()["settings"]["metre"] == "3/4"
    desk.page.fill("#set-key", "E minor")
    desk.page.fill("#set-upbeat", "1/4")
    desk.page.click("#set-tune")
    desk.told("E minor")
    assert desk.job_file()["settings"]["upbeat"] == "1/4"
    desk.page.select_option("#set-turns", "counterclockwise")
    desk.page.click("#set-plate")
    desk.told("turns counterclockwise")
    assert desk.job_file()["plate"]["turns"] == "counterclockwise"
    desk.page.fill("#set-metre", "7")
    desk.page.click("#set-tune")
    desk.told("Write it as 3/4")
    desk.tab("history")
    desk.page.click("#history-steps li >> nth=0")
    desk.told("Undone")
    job_file = desk.job_file()
    assert job_file["plate"]["turns"] == "clockwise" and "metre" not in job_file["settings"]


def test_undo_reaches_the_beginning_after_a_restart(browser, tmp_path):
    folder = make_job(tmp_path / "watch")
    first = (folder / "pins.csv").read_bytes()
    with running_desk(folder) as address:
        desk = DeskPage(browser, address, folder)
        desk.page.focus("#stage")
        for _ in range(3):
            desk.page.keyboard.press("n")
            desk.page.keyboard.press("4")
            desk.told("condition missing")
            desk.page.wait_for_timeout(120)
        desk.close()
    changed = (folder / "pins.csv").read_bytes()
    assert changed != first
    with running_desk(folder) as address:
        desk = DeskPage(browser, address, folder)
        for _ in range(3):
            desk.page.keyboard.press("Control+z")
            desk.page.wait_for_timeout(250)
        desk.page.wait_for_function("() => document.getElementById('undo').disabled")
        assert (folder / "pins.csv").read_bytes() == first
        desk.page.keyboard.press("Control+y")
        desk.told("Redone")
        desk.close()
    assert (folder / "pins.csv").read_bytes() != first


def test_a_pin_moved_by_finger(open_desk, job):
    desk = open_desk(job, viewport={"width": 820, "height": 1180}, has_touch=True)
    pin = UPPER[11]
    desk.page.locator("#tool-choice [data-name=move]").tap()
    x, y = desk.at_pin(pin)
    fingers = desk.context.new_cdp_session(desk.page)
    for kind, dx in (("touchStart", 0), ("touchMove", 20), ("touchMove", 44), ("touchEnd", None)):
        points = [] if dx is None else [{"x": x + dx, "y": y, "id": 1}]
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    desk.told("moved pin")
    now = desk.at_pin(desk.pins()[pin.id])
    assert abs(now[0] - x - 44) < 1.5 and abs(now[1] - y) < 1.5


def test_two_desks_on_one_job_hear_of_each_others_changes(open_desk, job, browser):
    desk = open_desk(job)
    other = desk.context.new_page()
    other.goto(desk.page.url)
    other.wait_for_selector("#stage[data-ready]")
    desk.click_pin(UPPER[1])
    desk.page.select_option("#pin-condition", "missing")
    desk.told("condition missing")
    other.wait_for_selector(f"#pin-row-{UPPER[1].id}:has-text('missing')")
