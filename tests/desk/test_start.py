"""From two photographs to a saved plan, as a person who sees the page for the first time: the shipped sample.

Everything is done by what can be read on the screen: drops, clicks, keys. The files on disk are checked on the way, and
a recording of the network (HAR) is looked through at the end.
"""

from __future__ import annotations

import base64
import json
import math
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np

from disc.job import open_job
from disc.repin.store import load_plan
from disc.tables import read_comb, read_pins

from .sample import GIVEN, SAMPLE, TRUTH, gap_mm

LONG_MS = 120_000


def test_from_two_photographs_to_a_saved_plan(open_desk, tmp_path):
    folder, har = tmp_path / "bench" / "my-watch", tmp_path / "network.har"
    desk = open_desk(folder, by_command=True, has_touch=True, record_har_path=str(har))
    page = desk.page
    page.click("#start-form [type=submit]")
    assert "photograph of each side" in page.locator("#start-fault").inner_text()
    page.set_input_files("#photo-upper", str(SAMPLE / "upper.jpg"))
    _drop(page, "lower", SAMPLE / "lower.jpg")
    for side in ("lower", "upper"):
        page.wait_for_selector(f".drop[data-side={side}] img:not([hidden])")
    page.click("#start-form [type=submit]")
    page.wait_for_selector("#start-fault:has-text('cannot be read without the disc')", timeout=LONG_MS)
    assert not (folder / "pins.csv").exists() and page.locator("#start-diameter").evaluate(
        "e => e === document.activeElement"
    )
    _measure(page)
    measured = float(page.input_value("#start-diameter"))
    # Both lengths are marked on the plate; a camera 15 degrees aslant makes them differ by 1 - cos 15 = 3.4 %.
    assert abs(measured / GIVEN["diameter_mm"] - 1.0) < 0.04
    page.get_by_label("Diameter, mm").fill(str(GIVEN["diameter_mm"]))
    page.get_by_label("Turning, seen on the upper side").select_option(GIVEN["turns"])
    page.get_by_label("Seconds a turn").fill(str(GIVEN["revolution_s"]))
    page.get_by_label("Rest arc, degrees").fill(str(GIVEN["rest_arc_deg"]))
    page.get_by_role("button", name="Start and read the photographs").click()
    page.wait_for_selector("#work:not([hidden])")
    page.wait_for_selector("#bench:not([hidden])", timeout=LONG_MS)
    desk.told("pins and holes were read")
    _the_job_is_as_the_truth(folder)
    page.get_by_role("button", name="Open Comb").click()
    page.set_input_files("#comb-table", str(SAMPLE / "comb.csv"))
    desk.told(f"a comb of {len(TRUTH['comb'])} teeth")
    assert read_comb(folder / "comb.csv") == read_comb(SAMPLE / "comb.csv")
    page.get_by_role("tab", name="Pins").click()
    page.get_by_role("button", name="Open Findings").click()
    page.get_by_role("button", name="Check the disc").click()
    page.wait_for_selector("#panel-findings article", timeout=LONG_MS)
    page.get_by_role("button", name="Accept").first.tap()
    desk.told("accepted")
    page.get_by_role("tab", name="Plan").click()
    assert "mainsprings" in page.locator("#panel-plan").inner_text()
    page.get_by_role("button", name="Make the work list and drawings").click()
    desk.told("is made", LONG_MS)
    plan = load_plan(open_job(folder))
    assert plan is not None and f"{plan.estimate.hours[1]:.1f} h" in page.locator("#plan-total").inner_text()
    page.get_by_role("tab", name="Save").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="work-list.pdf").click()
    assert download.value.path().read_bytes() == (folder / "out" / "work-list.pdf").read_bytes()
    page.get_by_role("tab", name="History").click()
    assert page.locator("#history-steps li").count() == 3  # as read, the comb, one finding accepted
    page.locator("#history-steps button").first.click()
    desk.told("Undone")
    assert not (folder / "comb.csv").exists()
    desk.context.close()
    sent = json.loads(har.read_text(encoding="utf-8"))["log"]["entries"]
    asked = [urlsplit(one["request"]["url"]) for one in sent]
    assert len(sent) > 40
    assert {url.hostname for url in asked if url.scheme not in ("data", "blob")} == {"127.0.0.1"}
    assert {one.get("serverIPAddress", "127.0.0.1") for one in sent} == {"127.0.0.1"}


def _the_job_is_as_the_truth(folder):
    job, read = open_job(folder), read_pins(folder / "pins.csv")
    assert job.plate.diameter_mm == GIVEN["diameter_mm"] and job.plate.turns == GIVEN["turns"]
    assert job.plate.rest_arc_deg == GIVEN["rest_arc_deg"]
    # Nine tenths of the true pins, each by itself, and no more than a tenth too many: the photo room has finer tests.
    near = [min((gap_mm(pin, true) for pin in read), default=math.inf) for true in TRUTH["pins"]]
    assert sum(gap < 0.25 for gap in near) >= 0.9 * len(near) and len(read) <= 1.1 * len(near)
    assert {path.name for path in (folder / "photos").iterdir()} == {"upper.jpg", "lower.jpg"}
    assert (folder / "photos" / "upper.jpg").read_bytes() == (SAMPLE / "upper.jpg").read_bytes()


def test_a_picture_without_a_disc_is_told_and_the_next_try_goes_on(open_desk, tmp_path):
    import cv2

    blank = tmp_path / "table.png"
    cv2.imwrite(str(blank), np.full((700, 900, 3), 140, np.uint8))
    text = tmp_path / "letter.jpg"
    text.write_text("not a picture")
    desk = open_desk(tmp_path / "watch")
    desk.page.set_input_files("#photo-upper", str(text))
    desk.page.wait_for_selector(".drop[data-side=upper] .drop-state:has-text('letter.jpg: this is not a photo')")
    for side in ("upper", "lower"):
        desk.page.set_input_files(f"#photo-{side}", str(blank))
        desk.page.wait_for_selector(f".drop[data-side={side}] img:not([hidden])")
    desk.page.fill("#start-diameter", "28")
    desk.page.click("#start-form [type=submit]")
    desk.page.wait_for_selector("#start-fault:not(:empty)", timeout=60_000)
    assert "disc" in desk.page.locator("#start-fault").inner_text()
    assert not (tmp_path / "watch" / "pins.csv").exists()
    assert desk.page.locator("#start-form [type=submit]").is_enabled()


def _measure(page) -> None:
    """Mark two ends of a known length (here a diameter) and the rim across it, by mouse, finger and the keys' cross."""
    page.click("#measure-open")
    page.wait_for_function("() => document.activeElement.id === 'measure-canvas'")
    photo = TRUTH["photos"][0]
    places = [_on_canvas(page, photo, photo["rim_px"][index]) for index in (0, 12, 6, 18)]
    page.mouse.click(*places[0])
    for place in places[1:3]:
        page.touchscreen.tap(*place)
    middle = _on_canvas(page, photo, [(photo["width"] - 1) / 2, (photo["height"] - 1) / 2])
    page.focus("#measure-canvas")
    for axis, keys in ((0, ("ArrowLeft", "ArrowRight")), (1, ("ArrowUp", "ArrowDown"))):
        way = places[3][axis] - middle[axis]
        for _ in range(round(abs(way) / 2)):
            page.keyboard.press(keys[way > 0])
    page.keyboard.press("Enter")
    page.fill("#measure-length", str(GIVEN["diameter_mm"]))


def _on_canvas(page, photo, at):
    """Where a pixel of the fitted photograph is in the window: 96 % of the canvas, in its middle."""
    box = page.locator("#measure-canvas").bounding_box()
    scale = 0.96 * min(box["width"] / photo["width"], box["height"] / photo["height"])
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    return tuple(middle[i] + (at[i] + 0.5 - photo[side] / 2) * scale for i, side in enumerate(("width", "height")))


def _drop(page, side: str, path: Path) -> None:
    """Drop a file from the desktop onto a field, as the browser tells the page of it."""
    data = page.evaluate_handle(
        """([bytes, name]) => {
          const box = new DataTransfer();
          box.items.add(new File([Uint8Array.from(atob(bytes), (c) => c.charCodeAt(0))], name, {type: 'image/jpeg'}));
          return box;
        }""",
        [base64.b64encode(path.read_bytes()).decode(), path.name],
    )
    page.dispatch_event(f".drop[data-side={side}]", "drop", {"dataTransfer": data})
