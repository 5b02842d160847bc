"""Starting a job from the page, on the shipped sample's photographs: dropped, measured, read."""

from __future__ import annotations

import base64
import json
from pathlib import Path

import numpy as np

from disc.job import open_job
from disc.tables import read_pins

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "first-disc"
GIVEN = json.loads((SAMPLE / "sample.json").read_text(encoding="utf-8"))
TRUTH = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))


def test_two_photographs_and_a_diameter_become_pins(open_desk, tmp_path):
    folder = tmp_path / "bench" / "my-watch"
    desk = open_desk(folder)
    page = desk.page
    page.click("#start-form [type=submit]")
    assert "photograph of each side" in page.locator("#start-fault").inner_text()
    page.set_input_files("#photo-upper", str(SAMPLE / "upper.jpg"))
    _drop(page, "lower", SAMPLE / "lower.jpg")
    page.wait_for_selector(".drop[data-side=lower] img:not([hidden])")
    page.wait_for_selector(".drop[data-side=upper] img:not([hidden])")
    page.click("#start-form [type=submit]")
    assert "diameter" in page.locator("#start-fault").inner_text()
    _measure(page)
    measured = float(page.input_value("#start-diameter"))
    # The sample is photographed 15 degrees aslant: lengths across and along the slant differ by 1 - cos 15 = 3.4 %.
    assert abs(measured / GIVEN["diameter_mm"] - 1.0) < 0.04
    page.fill("#start-diameter", str(GIVEN["diameter_mm"]))
    page.select_option("#start-form [name=turns]", GIVEN["turns"])
    page.fill("#start-form [name=revolution_s]", str(GIVEN["revolution_s"]))
    page.click("#start-form [type=submit]")
    page.wait_for_selector("#work:not([hidden])")
    page.wait_for_selector("#bench:not([hidden])", timeout=120_000)
    desk.told("pins and holes were read")
    job = open_job(folder)
    assert job.plate.diameter_mm == GIVEN["diameter_mm"] and job.plate.turns == GIVEN["turns"]
    found, true = len(read_pins(folder / "pins.csv")), len(TRUTH["pins"])
    assert abs(found - true) <= 0.1 * true
    assert {p.name for p in (folder / "photos").iterdir()} == {"upper.jpg", "lower.jpg"}
    assert (folder / "photos" / "upper.jpg").read_bytes() == (SAMPLE / "upper.jpg").read_bytes()
    page.click("#tab-comb")
    page.click("#comb-draft")
    desk.told("draft comb")
    assert job.has("comb.csv")


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
    """Mark two ends of a known length (here a diameter) and the rim across it, the last mark by the keys' cross."""
    page.click("#measure-open")
    page.wait_for_timeout(300)
    photo = TRUTH["photos"][0]
    places = [_on_canvas(page, photo, photo["rim_px"][index]) for index in (0, 12, 6, 18)]
    for place in places[:3]:
        page.mouse.click(*place)
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
