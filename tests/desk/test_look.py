"""Looking, on the shipped sample: what is picked in one view is picked in all, and says what is known of it."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

from disc.job import create_job, open_for_writing, open_job
from disc.records import Condition, Side
from disc.tables import read_pins
from disc.words import chance

from .rig import PLATE
from .sample import CAMERAS, TRUTH, lonely, place_px, true_photo, true_pin

ONE_DESK = True
TABLET = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
SCALE = "async () => (await import('/static/js/stage.js')).view().scale"
SHOWN = """() => {
  const c = document.getElementById('stage');
  const data = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
  const colours = new Set();
  for (let i = 0; i < data.length; i += 4 * 997) colours.add(data[i] + 256 * data[i + 1] + 65536 * data[i + 2]);
  return colours.size;
}"""


@pytest.fixture
def read(job):
    return read_pins(job / "pins.csv")


def test_the_truth_s_camera_is_a_plane_seen_by_a_pinhole():
    """What the places in these tests rest on: each true root lies where the fitted camera puts it, to half a pixel."""
    for side in Side:
        true = {pin["id"]: pin for pin in TRUTH["pins"]}
        for row in true_photo(side)["pins_px"]:
            pin = true[row["id"]]
            assert math.dist(place_px(side, pin["r_mm"], pin["theta_deg"]), row["root"]) < 0.5
        assert CAMERAS[side].shape == (3, 3)


def test_a_pin_is_picked_by_mouse_where_it_truly_is_and_tells_all_about_itself(open_desk, checked_job):
    desk = open_desk(checked_job)
    read = read_pins(checked_job / "pins.csv")
    pin = next(pin for pin in lonely(read, Side.UPPER) if pin.condition in (Condition.BENT, Condition.STUB))
    true = true_pin(pin)
    desk.page.mouse.click(*desk.at_sheet(place_px(Side.UPPER, true["r_mm"], true["theta_deg"])))
    assert desk.picked() == [pin.id]
    desk.page.wait_for_selector("#panel-pin .evidence")
    words = desk.page.locator("#panel-pin").inner_text()
    assert f"Pin {pin.id}" in words and pin.condition in words
    shown = re.search(r"side, ([\d.]+) mm, ([\d.]+)°", words)
    assert float(shown[1]) == pytest.approx(pin.r_mm, abs=0.006)  # two digits are shown
    assert float(shown[2]) == pytest.approx(pin.theta_deg, abs=0.006)
    assert f"{true['tooth']} · " in words and chance(pin.confidence) in words
    assert "bar" in words and "beat" in words
    heading = {"bent": "leaning pin", "stub": "stub"}[pin.condition]
    assert heading in desk.page.locator("#panel-pin .evidence").inner_text()  # what the check found, and why
    assert desk.page.locator(f"#pin-row-{pin.id}").get_attribute("aria-selected") == "true"


def test_every_pin_of_the_mirrored_lower_side_is_drawn_where_it_truly_is(open_desk, job, read):
    desk = open_desk(job)
    desk.sheet("lower")
    desk.page.wait_for_selector("#stage[data-ready=lower]")
    for pin in lonely(read, Side.LOWER)[:2]:
        desk.click_pin(pin)
        assert desk.picked() == [pin.id]
    drawn = desk.page.evaluate(
        """async () => {
          const {desk} = await import('/static/js/store.js');
          return [...desk.pins.values()].map((p) => [p.id, p.marks[p.side]?.[0]]);
        }"""
    )
    by_id = {pin.id: pin for pin in read}
    assert len(drawn) == len(read)
    for number, at in drawn:
        # The places are those that were read; 0.05 mm is the bar for reading them, and the photographs have at
        # least 60 px a millimetre.
        pin = by_id[number]
        assert math.dist(at, place_px(pin.side, pin.r_mm, pin.theta_deg)) < 0.1 * 75


def test_picking_is_shared_by_score_turn_and_list(open_desk, job, read):
    unsure = lonely(read, Side.LOWER)[1]  # the sample's own pins are all sure
    with open_for_writing(job) as content, content.step("read") as stage:
        content.stage_reading(
            stage, [replace(p, confidence=0.6) if p.id == unsure.id else p for p in content.reading()]
        )
    desk = open_desk(job)
    desk.sheet("score")
    # The engraver names each note after its pin (MusicXML id), so the note can be pointed at.
    desk.page.wait_for_selector("#score-box [id^='pin-'] use")
    heads = desk.page.locator("#score-box [id^='pin-']:not([id*='held'])")
    named = [name for name in heads.evaluate_all("(all) => all.map((one) => one.id)") if name.count("-") == 1]
    number = int(named[len(named) // 2].removeprefix("pin-"))
    desk.page.locator(f"#score-box [id='pin-{number}'] use").first.click()
    assert desk.picked() == [number]
    other = lonely(read, Side.LOWER)[0]
    desk.page.mouse.click(*desk.strike_place(other.id))
    assert desk.picked() == [other.id]
    desk.page.locator("#pin-list").focus()
    desk.page.keyboard.press("ArrowDown")
    second = desk.picked()
    assert len(second) == 1 and second != [other.id]
    desk.page.locator("#roll").focus()
    desk.page.keyboard.press("ArrowRight")
    third = desk.picked()
    assert third != second
    desk.page.locator("#score-box").focus()
    desk.page.keyboard.press("ArrowRight")
    assert desk.picked() != third and desk.page.locator("#score-box .picked").count() >= 1
    # A pin that is missing has no note: the bar in which it would sound is shown. A later pick takes that away.
    missing = next(pin for pin in read if pin.condition is Condition.MISSING and pin.tooth is not None)
    desk.page.mouse.click(*desk.strike_place(missing.id))
    assert desk.picked() == [missing.id] and desk.page.locator("#score-box .measure.near").count() == 1
    places = desk.page.evaluate("async () => (await import('/static/js/store.js')).desk.music.places")
    notes = desk.page.locator("#score-box .near [id^='pin-']").evaluate_all("(all) => all.map((one) => one.id)")
    bar = places[str(missing.id)]["bar"]
    assert bar in {places[number]["bar"] for name in notes for number in re.findall(r"\d+", name)}
    desk.page.mouse.click(*desk.strike_place(other.id))
    assert desk.page.locator("#score-box .near").count() == 0
    # The same buttons and keys as for the photographs make it larger and smaller.
    width = "() => document.querySelector('#score-box > svg').clientWidth"
    first = desk.page.evaluate(width)
    desk.page.click("#zoom-in")
    assert desk.page.evaluate(width) == pytest.approx(1.25 * first, rel=0.01)
    desk.page.locator("#score-box").focus()
    desk.page.keyboard.press("-")
    desk.page.keyboard.press("-")
    assert desk.page.evaluate(width) == pytest.approx(first / 1.25, rel=0.01)
    desk.page.click("#zoom-fit")
    box = desk.page.locator("#score-box").evaluate("(one) => [one.clientWidth, one.scrollWidth]")
    assert box[0] == box[1] and 0.9 * box[0] < desk.page.evaluate(width) < box[0]
    # N goes from pin to pin and stays at the score; D goes to what is in doubt, which is looked at on the photograph.
    desk.page.locator("#score-box").focus()
    before = desk.picked()
    desk.page.keyboard.press("n")
    assert desk.picked() != before and desk.page.locator("#score-box").is_visible()
    desk.page.keyboard.press("d")
    assert desk.picked() == [unsure.id]
    assert desk.page.evaluate("() => document.activeElement.id") == "stage"


def test_zoom_by_wheel_keys_and_buttons_and_drag(open_desk, job, read):
    desk = open_desk(job)
    pin = lonely(read, Side.UPPER)[0]
    first = desk.page.evaluate(SCALE)
    before = desk.at_pin(pin)
    desk.page.mouse.move(*before)
    desk.page.mouse.wheel(0, -600)
    desk.until(f"async (was) => (await ({SCALE})()) > was * 1.5", first)
    after = desk.at_pin(pin)
    assert abs(after[0] - before[0]) < 1.5 and abs(after[1] - before[1]) < 1.5
    desk.drag(after, (after[0] + 50, after[1]), (after[0] + 90, after[1] - 30))
    moved = desk.at_pin(pin)
    assert abs(moved[0] - after[0] - 90) < 1.5 and abs(moved[1] - after[1] + 30) < 1.5
    large = desk.page.evaluate(SCALE)
    desk.page.click("#zoom-in")
    desk.page.focus("#stage")
    desk.page.keyboard.press("+")
    assert desk.page.evaluate(SCALE) / large == pytest.approx(1.25**2, rel=0.01)
    desk.page.keyboard.press("0")
    desk.until(f"async (was) => Math.abs((await ({SCALE})()) - was) < 1e-6", first)


def test_every_picture_is_drawn(open_desk, job):
    desk = open_desk(job)
    for name in ("lower", "through", "turning", "earlier", "upper"):
        desk.sheet(name)
        desk.page.wait_for_selector(f"#stage[data-ready={name}]")
        # A photograph has many colours; the ground of the page, a drawn plate and the marks have a few.
        desk.page.wait_for_function(f"() => ({SHOWN})() > 80")
    plain = desk.page.evaluate("() => document.getElementById('stage').toDataURL().length")
    desk.page.click("#shown")
    desk.page.check("#show-tracks")
    desk.page.check("#show-numbers")
    desk.page.wait_for_function("(was) => document.getElementById('stage').toDataURL().length > was", arg=plain)


def test_both_faces_through_the_plate_put_a_pin_where_the_other_face_shows_it(open_desk, job, read):
    """A pin of the lower side is picked on the picture through the plate at its place as seen from above."""
    desk = open_desk(job)
    desk.sheet("through")
    desk.page.wait_for_selector("#stage[data-ready=through]")
    pin = lonely(read, Side.LOWER)[0]
    plate = open_job(job).plate
    per_mm = 1600 / (plate.diameter_mm * 1.04)  # the laid-flat picture: 1600 px, the plate and 4 % of room
    x, y = pin.r_mm * math.cos(math.radians(pin.theta_deg)), pin.r_mm * math.sin(math.radians(pin.theta_deg))
    desk.page.mouse.click(*desk.at_sheet((800 + x * per_mm, 800 - y * per_mm)))
    assert desk.picked() == [pin.id]


def test_fingers_tap_pinch_drag_and_hold(open_desk, job, read):
    desk = open_desk(job, **TABLET)
    first, second = lonely(read, Side.UPPER)[:2]
    desk.page.touchscreen.tap(*desk.at_pin(first))
    assert desk.picked() == [first.id]
    desk.fingers([desk.at_pin(second)], rest_ms=700)
    assert set(desk.picked()) == {first.id, second.id}
    box = desk.page.locator("#stage").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    before, place = desk.page.evaluate(SCALE), desk.at_pin(first)
    spreads = (40, 60, 90, 120)
    desk.fingers(*([(x + way * spread, y) for spread in spreads] for way in (-1, 1)))
    # Fingers three times as far apart: three times as large, about the middle between them.
    assert desk.page.evaluate(SCALE) / before == pytest.approx(3.0, abs=0.15)
    now = desk.at_pin(first)
    assert now[0] - x == pytest.approx(3 * (place[0] - x), abs=12) and now[1] - y == pytest.approx(
        3 * (place[1] - y), abs=12
    )
    desk.finger_line((x, y), (x - 70, y + 40))
    moved = desk.at_pin(first)
    assert moved[0] - now[0] == pytest.approx(-70, abs=2) and moved[1] - now[1] == pytest.approx(40, abs=2)
    assert set(desk.picked()) == {first.id, second.id}  # neither pinch nor drag is a tap


def test_a_job_without_pins_says_what_to_do(open_desk, tmp_path):
    create_job(tmp_path / "bare", PLATE)
    desk = open_desk(tmp_path / "bare")
    assert "No pins yet" in desk.page.locator("#stage-empty").inner_text()
    for panel in ("findings", "plan", "disc", "comb", "tune", "history", "save", "pin"):
        desk.tab(panel)
    assert "Not read yet" in desk.page.locator("#next-steps").inner_text()
    desk.tool("add")
    box = desk.page.locator("#stage").bounding_box()
    desk.page.mouse.click(box["x"] + box["width"] / 2 + 90, box["y"] + box["height"] / 2)
    desk.told("added a pin")
    assert len(desk.pins()) == 1


def test_where_the_work_stands_leads_to_each_part(open_desk, checked_job):
    desk = open_desk(checked_job)
    desk.page.wait_for_function("() => !document.getElementById('next-steps').textContent.includes('worked out')")
    words = desk.page.locator("#next-steps").inner_text()
    assert f"{len(TRUTH['comb'])} teeth" in words and "Read as" in words and "open of" in words
    for name in ("Comb", "Tune", "Findings", "Plan", "Save"):
        desk.tab("pin")
        desk.page.get_by_role("button", name=f"Open {name}").click()
        assert desk.page.locator(f"#panel-{name.lower()}").is_visible()
