"""Correcting the shipped sample by mouse, drag, keys and fingers; the files on disk checked after each act."""

from __future__ import annotations

import math

import pytest

from disc.job import open_job
from disc.records import Condition, Side
from disc.tables import read_pins

from .page import DeskPage
from .rig import running_desk
from .sample import free_place, lonely, place_px

ONE_DESK = True
TABLET = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
UNDO_OFF = "() => document.getElementById('undo').ariaDisabled === 'true'"


@pytest.fixture
def read(job):
    return read_pins(job / "pins.csv")


def screen_mm(desk, side: Side = Side.UPPER) -> float:
    """Millimetres of the disc that a screen pixel shows, in the middle of the plate."""
    scale = desk.page.evaluate("async () => (await import('/static/js/stage.js')).view().scale")
    return 1.0 / (scale * math.dist(place_px(side, 0.0, 0.0), place_px(side, 1.0, 0.0)))


def mm_between(pin, r_mm, theta_deg):
    a, b = math.radians(pin.theta_deg), math.radians(theta_deg)
    return math.dist((pin.r_mm * math.cos(a), pin.r_mm * math.sin(a)), (r_mm * math.cos(b), r_mm * math.sin(b)))


def test_add_move_change_remove_and_undo_by_mouse(open_desk, job, read):
    desk = open_desk(job)
    first = (job / "pins.csv").read_bytes()
    reach = 2.5 * screen_mm(desk) + 0.05  # two screen pixels, and what the reading of the camera may be off
    desk.tool("add")
    r_mm, theta_deg = free_place(read, Side.UPPER)
    desk.page.mouse.click(*desk.at_sheet(place_px(Side.UPPER, r_mm, theta_deg)))
    desk.told("added a pin")
    added = [pin for number, pin in desk.pins().items() if number not in {p.id for p in read}]
    assert len(added) == 1 and mm_between(added[0], r_mm, theta_deg) < reach
    assert added[0].tooth is not None and added[0].condition is Condition.SOUND
    desk.tool("move")
    moved, changed = lonely(read, Side.UPPER, Condition.SOUND)[:2]
    goal = (moved.r_mm, (moved.theta_deg + 5.0) % 360.0)
    desk.drag(desk.at_pin(moved), desk.at_sheet(place_px(Side.UPPER, *goal)))
    desk.told("moved pin")
    assert mm_between(desk.pins()[moved.id], *goal) < reach
    desk.tool("pick")
    desk.click_pin(changed)
    desk.page.select_option("#pin-condition", "stub")
    desk.told("condition stub")
    assert desk.pins()[changed.id].condition is Condition.STUB
    other = next(t.number for t in open_job(job).comb().teeth if t.side is Side.UPPER and t.number != changed.tooth)
    desk.page.select_option("#pin-tooth", str(other))
    desk.told(f": tooth {other}.")
    assert desk.pins()[changed.id].tooth == other
    desk.page.click("#pin-remove")
    desk.told("removed pin")
    assert changed.id not in desk.pins()
    assert len(desk.corrections()[0]) == 5
    for _ in range(5):
        desk.page.click("#undo")
    desk.page.wait_for_function(UNDO_OFF)
    assert (job / "pins.csv").read_bytes() == first
    done, undone = desk.corrections()
    assert done == () and len(undone) == 5


def test_all_of_it_by_keyboard(open_desk, job, read):
    desk = open_desk(job)
    keys = desk.page.keyboard
    desk.page.focus("#stage")
    keys.press("n")
    first = desk.picked()
    keys.press("n")
    assert desk.picked() != first
    chosen = desk.picked()[0]
    new = "3" if desk.pins()[chosen].condition is Condition.BENT else "2"
    keys.press(new)
    desk.told("condition")
    assert desk.pins()[chosen].condition is (Condition.STUB if new == "3" else Condition.BENT)
    before = desk.at_pin(desk.pins()[chosen])
    keys.press("c")
    for _ in range(3):
        keys.press("Shift+ArrowRight")
    keys.press("Enter")
    desk.told("moved pin")
    after = desk.at_pin(desk.pins()[chosen])
    # Three steps of 12 screen pixels to the right.
    assert after[0] - before[0] == pytest.approx(36, abs=1.5) and after[1] - before[1] == pytest.approx(0, abs=1.5)
    keys.press("p")
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
    keys.press("Enter")  # the cross begins in the middle of the picture, and so does the disc's bore
    desk.told("in the bore")
    before = set(desk.pins())
    goal = free_place(list(desk.pins().values()), Side.UPPER)
    _cross_to(desk, desk.at_sheet(place_px(Side.UPPER, *goal)))
    keys.press("Enter")
    desk.told("added a pin")
    added = [pin for number, pin in desk.pins().items() if number not in before]
    assert len(added) == 1 and mm_between(added[0], *goal) < 2.5 * screen_mm(desk) + 0.05


def _cross_to(desk, goal):
    """Take the keys' cross from the middle of the picture to a place of the window: 12 pixels a key, then 1."""
    box = desk.page.locator("#stage").bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    for axis, keys in ((0, ("ArrowLeft", "ArrowRight")), (1, ("ArrowUp", "ArrowDown"))):
        far, near = divmod(round(abs(goal[axis] - middle[axis])), 12)
        key = keys[goal[axis] > middle[axis]]
        for press in [f"Shift+{key}"] * far + [key] * near:
            desk.page.keyboard.press(press)


def test_box_and_lasso_pick_several_and_one_undo_takes_all_back(open_desk, job, read):
    desk = open_desk(job)
    upper = [pin for pin in read if pin.side is Side.UPPER]
    bent = sum(pin.condition is Condition.BENT for pin in read)
    desk.tool("box")
    places = {pin.id: desk.at_pin(pin) for pin in upper}
    left, right, top, bottom = _widest_gap(places)
    desk.drag((left, top), (right, bottom))
    inside = {number for number, place in places.items() if place[0] < right}
    assert set(desk.picked()) == inside and 3 < len(inside) < len(upper)
    desk.page.select_option("#pin-condition", "bent")
    desk.told("condition bent")
    assert all(desk.pins()[number].condition is Condition.BENT for number in inside)
    desk.page.focus("#stage")
    desk.page.keyboard.press("Control+z")
    desk.told("Undone")
    assert sum(pin.condition is Condition.BENT for pin in desk.pins().values()) == bent
    desk.tool("lasso")
    alone = lonely(read, Side.UPPER)[0]
    x, y = desk.at_pin(alone)
    desk.drag(*((x + 10 * math.cos(a), y + 10 * math.sin(a)) for a in range(7)))
    assert desk.picked() == [alone.id]


def _widest_gap(places):
    """(left, right, top, bottom) of a box around the left half or so; its right edge runs where no pin is near."""
    xs = sorted(place[0] for place in places.values())
    ys = [place[1] for place in places.values()]
    middle = range(len(xs) // 4, 3 * len(xs) // 4)
    gap = max(middle, key=lambda k: xs[k + 1] - xs[k])
    return xs[0] - 8, (xs[gap] + xs[gap + 1]) / 2, min(ys) - 8, max(ys) + 8


def test_box_pick_edit_and_move_with_fingers(open_desk, job, read):
    desk = open_desk(job, **TABLET)
    page = desk.page
    upper = [pin for pin in read if pin.side is Side.UPPER]
    page.locator("#tool-choice [data-name=box]").tap()
    places = {pin.id: desk.at_pin(pin) for pin in upper}
    left, right, top, bottom = _widest_gap(places)
    desk.finger_line((left, top), (right, bottom))
    inside = {number for number, place in places.items() if place[0] < right}
    assert set(desk.picked()) == inside
    desk.tab("pin")
    page.locator("#panel-pin summary").tap()
    page.fill("#pin-note", "seen on the tablet")
    page.locator("#pin-note-keep").tap()
    desk.told("note on")
    assert sum(c.note == "seen on the tablet" for c in desk.corrections()[0]) == len(inside)
    pin = lonely(read, Side.UPPER, Condition.SOUND)[0]
    page.locator("#tool-choice [data-name=move]").tap()
    x, y = desk.at_pin(pin)
    desk.finger_line((x, y), (x + 30, y))
    desk.told("moved pin")
    now = desk.at_pin(desk.pins()[pin.id])
    assert now[0] - x == pytest.approx(30, abs=2) and now[1] - y == pytest.approx(0, abs=2)
    page.locator("#tool-choice [data-name=pick]").tap()
    page.touchscreen.tap(*now)
    assert desk.picked() == [pin.id]
    page.select_option("#pin-condition", "missing")  # the tablet's own list, which playwright fills for it
    desk.told("condition missing")
    page.locator("#pin-remove").tap()
    desk.told("removed pin")
    assert pin.id not in desk.pins()
    page.locator("#undo").tap()
    desk.told("Undone")
    assert desk.pins()[pin.id].condition is Condition.MISSING
    page.locator("#tool-choice [data-name=add]").tap()
    spot = free_place(read, Side.UPPER)
    page.touchscreen.tap(*desk.at_sheet(place_px(Side.UPPER, *spot)))
    desk.told("added a pin")
    assert len(desk.pins()) == len(read) + 1


def test_notes_stay_with_their_pin(open_desk, job, read):
    desk = open_desk(job)
    desk.click_pin(lonely(read, Side.UPPER)[0])
    desk.page.click("#panel-pin summary")
    desk.page.fill("#pin-note", "rust at the <b>root</b>")
    desk.page.click("#pin-note-keep")
    desk.told("note on pin")
    assert "rust at the <b>root</b>" in desk.page.locator("#panel-pin").inner_text()
    done, _ = desk.corrections()
    assert done[0].note == "rust at the <b>root</b>" and done[0].changes == ()


def test_slot_centre_turning_metre_key_and_upbeat_are_set_and_undone_in_one_go(open_desk, job, read):
    desk = open_desk(job)
    first = (job / "pins.csv").read_bytes()
    plate = open_job(job).plate
    pin = lonely(read, Side.UPPER)[0]
    desk.tab("tune")
    metre = "3/4" if desk.page.evaluate(METRE) != "3/4" else "6/8"
    desk.page.fill("#set-metre", metre)
    desk.page.click("#set-tune")
    desk.told(f"became {metre}")
    assert desk.job_file()["settings"]["metre"] == metre
    desk.page.fill("#set-key", "E minor")
    desk.page.fill("#set-upbeat", "1/4")
    desk.page.click("#set-tune")
    desk.told("E minor")
    assert desk.job_file()["settings"]["upbeat"] == "1/4"
    desk.page.fill("#set-metre", "7")
    desk.page.click("#set-tune")
    desk.told("Write it as 3/4")
    desk.tab("disc")
    turned = "counterclockwise" if plate.turns.value == "clockwise" else "clockwise"
    desk.page.select_option("#set-turns", turned)
    desk.page.click("#set-plate")
    desk.told(f"turns {turned}")
    assert desk.job_file()["plate"]["turns"] == turned
    desk.page.get_by_role("button", name="Mark the stop slot, Upper side").click()
    desk.page.mouse.click(*desk.at_sheet(place_px(Side.UPPER, plate.radius_mm * 0.97, 10.0)))
    desk.told("marked the stop slot")
    # A screen pixel at the rim is about a quarter of a degree.
    assert math.remainder(pin.theta_deg - desk.pins()[pin.id].theta_deg, 360.0) == pytest.approx(10.0, abs=0.6)
    desk.page.get_by_role("button", name="Mark the centre, Lower side").click()
    desk.page.wait_for_selector("#stage[data-ready=lower]")
    desk.page.mouse.click(*desk.at_sheet(place_px(Side.LOWER, 0.6, 90.0)))
    desk.told("marked the centre")
    assert "photo.centre_lower" in desk.job_file()["settings"]
    desk.tab("history")
    desk.page.click("#history-steps li >> nth=0")
    desk.told("Undone")
    job_file = desk.job_file()
    assert job_file["plate"]["turns"] == plate.turns.value and "metre" not in job_file["settings"]
    assert (job / "pins.csv").read_bytes() == first and "photo.slot_upper" not in job_file["settings"]


METRE = "async () => (await import('/static/js/store.js')).desk.music.tune.metre"


def test_undo_reaches_the_beginning_after_a_restart(browser, own_job):
    job = own_job
    first = (job / "pins.csv").read_bytes()
    with running_desk(job) as address:
        desk = DeskPage(browser, address, job)
        desk.page.focus("#stage")
        for count in range(3):
            desk.page.keyboard.press("n")
            desk.page.keyboard.press("5")
            desk.until(f"async () => (await import('/static/js/store.js')).desk.state.history.done === {count + 1}")
        desk.close()
    changed = (job / "pins.csv").read_bytes()
    assert changed != first
    with running_desk(job) as address:
        desk = DeskPage(browser, address, job)
        for _ in range(3):
            desk.page.keyboard.press("Control+z")
        desk.page.wait_for_function(UNDO_OFF)
        assert (job / "pins.csv").read_bytes() == first
        desk.page.keyboard.press("Control+y")
        desk.told("Redone")
        desk.close()
    assert (job / "pins.csv").read_bytes() != first


def test_two_windows_on_one_job_hear_of_each_others_changes(open_desk, job, read):
    desk = open_desk(job)
    other = desk.context.new_page()
    other.goto(desk.page.url)
    other.wait_for_selector("#stage[data-ready]")
    pin = lonely(read, Side.UPPER, Condition.SOUND)[0]
    desk.click_pin(pin)
    desk.page.select_option("#pin-condition", "missing")
    desk.told("condition missing")
    other.wait_for_selector(f"#pin-row-{pin.id}:has-text('missing')")


def test_a_page_that_missed_a_revision_asks_for_the_whole_state(open_desk, job):
    """News of a revision that is not the next one cannot be laid over what the page shows."""
    desk = open_desk(job)
    pin = desk.page.evaluate("async () => [...(await import('/static/js/store.js')).desk.pins.keys()][0]")
    desk.page.evaluate(
        """async (pin) => {
          const {desk, takePins} = await import('/static/js/store.js');
          desk.state.history.steps.push({words: 'never done', at: ''});
          takePins({rev: desk.state.rev + 2, pins: [], gone: [pin], history: {done: 9, from: 0, steps: []}});
        }""",
        pin,
    )
    is_whole = "async () => !(await import('/static/js/store.js')).desk.state.history.steps.some((s) => !s.at)"
    desk.until(is_whole)
    assert desk.page.evaluate("async (pin) => (await import('/static/js/store.js')).desk.pins.has(pin)", pin)
