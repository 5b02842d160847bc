"""The README's two screenshots of the desk, taken on the sample's own job.

    python -m tests.bench.pictures.desk_pictures       # writes samples/pictures/desk-look.png, desk-findings.png

Run it again when the sample or the page has changed, and look at what it makes. Needs Debian's chromium.
"""

from __future__ import annotations

import io
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image

from disc.demo import run_demo
from disc.records import Condition, Side
from disc.tables import read_pins
from tests.desk.page import DeskPage
from tests.desk.rig import CHROMIUM_FLAGS, chromium_path, running_command
from tests.desk.sample import lonely

PICTURES = Path(__file__).parents[3] / "samples" / "pictures"
COLOURS = 256  # as many as a palette holds; the rare colours of the marks must be among them


def main() -> None:
    """Make the sample's job, open the desk on it, and take both pictures."""
    from playwright.sync_api import sync_playwright

    path = chromium_path()
    if path is None:
        print("No Chromium on this machine: no picture was taken.")
        return
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        job = Path(scratch) / "first-disc"
        run_demo(job)
        browser = playwright.chromium.launch(executable_path=path, args=CHROMIUM_FLAGS)
        with running_command(job) as address:
            desk = DeskPage(browser, address, job)
            working = "() => !document.body.textContent.includes('being worked out')"
            desk.page.wait_for_function(working, timeout=60_000)
            _take(desk, "look", _look)
            _take(desk, "findings", _findings)
            desk.close()
        browser.close()


def _look(desk: DeskPage) -> None:
    desk.click_pin(lonely(read_pins(desk.folder / "pins.csv"), Side.UPPER, Condition.BENT)[0])


def _findings(desk: DeskPage) -> None:
    desk.tab("findings")
    desk.page.click("#shown")
    desk.page.check("#show-findings")
    desk.page.keyboard.press("Escape")
    desk.page.locator("#panel-findings article[data-kind=missing] button").first.click()


def _take(desk: DeskPage, name: str, arrange: Any) -> None:
    arrange(desk)
    desk.page.mouse.move(5, 5)
    desk.page.evaluate("() => document.activeElement.blur()")
    desk.page.wait_for_timeout(500)  # the last frame is drawn
    shot = Image.open(io.BytesIO(desk.page.screenshot())).convert("RGB")
    few = shot.quantize(COLOURS, Image.Quantize.MAXCOVERAGE, 2, dither=Image.Dither.NONE)
    few.save(PICTURES / f"desk-{name}.png", optimize=True)
    print(f"{PICTURES / f'desk-{name}.png'}: {(PICTURES / f'desk-{name}.png').stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
