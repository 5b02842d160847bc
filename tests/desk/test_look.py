"""Looking: what is picked in one view is picked in all, and says what is known of it."""

from __future__ import annotations

from disc.job import create_job
from disc.records import Condition, Side

from .rig import PLATE, pins

UPPER = [pin for pin in pins() if pin.side is Side.UPPER]
LOWER = [pin for pin in pins() if pin.side is Side.LOWER]
BENT = next(pin for pin in UPPER if pin.condition is Condition.BENT)


def test_a_pin_is_picked_by_mouse_and_tells_all_about_itself(open_desk, job):
    desk = open_desk(job)
    desk.click_pin(BENT)
    assert desk.picked() == [BENT.id]
    words = desk.page.locator("#panel-pin").inner_text()
    assert f"Pin {BENT.id}" in words
    assert f"{BENT.r_mm:.2f} mm" in words and "bent" in words and "99 %" in words
    # Its tooth, note, bar and beat: from the tune's own list, the pin's onset divided by the quarter.
    assert "bar" in words and "beat" in words
    assert desk.page.locator(f"#pin-row-{BENT.id}").get_attribute("aria-selected") == "true"


def test_lower_side_is_the_mirror_and_its_pins_lie_where_they_are_seen(open_desk, job):
    desk = open_desk(job)
    desk.sheet("lower")
    desk.page.wait_for_selector("#stage[data-ready=lower]")
    desk.click_pin(LOWER[3])
    assert desk.picked() == [LOWER[3].id]


def test_picking_is_shared_by_score_turn_and_list(open_desk, job):
    desk = open_desk(job)
    desk.sheet("score")
    # The engraver names each note after its pin (MusicXML id), so the note can be pointed at.
    note = desk.page.locator(f"#score-box [id='pin-{UPPER[5].id}'] use").first
    note.click()
    assert desk.picked() == [UPPER[5].id]
    desk.page.locator("#pin-list").focus()
    desk.page.keyboard.press("ArrowDown")
    second = desk.picked()
    assert len(second) == 1 and second != [UPPER[5].id]
    assert desk.page.locator("#score-box .picked").count() >= 1
    desk.page.locator("#roll").focus()
    desk.page.keyboard.press("ArrowRight")
    assert desk.picked() != second


def test_zoom_by_wheel_keeps_the_place_under_the_pointer(open_desk, job):
    desk = open_desk(job)
    before = desk.at_pin(UPPER[7])
    desk.page.mouse.move(*before)
    desk.page.mouse.wheel(0, -600)
    desk.page.wait_for_timeout(200)
    after = desk.at_pin(UPPER[7])
    assert abs(after[0] - before[0]) < 1.5 and abs(after[1] - before[1]) < 1.5
    scale = desk.page.evaluate("async () => (await import('/static/js/stage.js')).view().scale")
    desk.page.click("#zoom-fit")
    desk.page.wait_for_timeout(200)
    assert desk.page.evaluate("async () => (await import('/static/js/stage.js')).view().scale") < scale / 2


def test_every_picture_is_drawn(open_desk, job):
    desk = open_desk(job)
    for name in ("lower", "through", "turning", "earlier", "upper"):
        desk.sheet(name)
        desk.page.wait_for_selector(f"#stage[data-ready={name}]")
        desk.page.wait_for_timeout(150)
        # The middle of the plate is brass in every picture, not the ground of the page.
        colour = desk.page.evaluate(
            "() => { const c = document.getElementById('stage');"
            "return [...c.getContext('2d').getImageData(c.width / 2 + 40, c.height / 2 + 60, 1, 1).data] }"
        )
        assert colour[0] > 150 and colour[2] < 170, (name, colour)


def test_fingers_pinch_drag_and_pick(open_desk, job):
    desk = open_desk(job, viewport={"width": 820, "height": 1180}, has_touch=True)
    desk.page.touchscreen.tap(*desk.at_pin(UPPER[2]))
    assert desk.picked() == [UPPER[2].id]
    box = desk.page.locator("#stage").bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    scale = "async () => (await import('/static/js/stage.js')).view().scale"
    before = desk.page.evaluate(scale)
    fingers = desk.context.new_cdp_session(desk.page)

    def touch(kind, spread):
        points = [{"x": middle[0] + side * spread, "y": middle[1], "id": i} for i, side in enumerate((-1, 1))]
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points if kind != "touchEnd" else []})

    touch("touchStart", 40)
    for spread in (60, 90, 120):
        touch("touchMove", spread)
    touch("touchEnd", 0)
    # Fingers three times as far apart: three times as large.
    assert abs(desk.page.evaluate(scale) / before - 3.0) < 0.15


def test_a_job_without_pins_says_what_to_do(open_desk, tmp_path):
    create_job(tmp_path / "bare", PLATE)
    desk = open_desk(tmp_path / "bare")
    assert "No pins yet" in desk.page.locator("#stage-empty").inner_text()
    for panel in ("findings", "plan", "disc", "comb", "history", "save"):
        desk.tab(panel)
    desk.tool("add")
    box = desk.page.locator("#stage").bounding_box()
    desk.page.mouse.click(box["x"] + box["width"] / 2 + 90, box["y"] + box["height"] / 2)
    desk.told("added a pin")
    assert len(desk.pins()) == 1
