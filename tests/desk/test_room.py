"""The picture is the largest thing at every size, and nothing is covered, cut or out of reach; axe finds nothing.

WCAG 2.2: 1.4.10, reflow (here 360 px); 2.5.8, size of targets (the desk's own bar on touch
screens is 44 px); the rest by axe-core.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe

REACH = (Path(__file__).parent / "reach.js").read_text(encoding="utf-8")
PHONE = {"has_touch": True, "is_mobile": True, "device_scale_factor": 1}
SIZES = {
    "360x640": {"viewport": {"width": 360, "height": 640}} | PHONE,
    "844x390": {"viewport": {"width": 844, "height": 390}} | PHONE,
    "1280x800": {"viewport": {"width": 1280, "height": 800}},
}
AXE_SIZES = ["360x640", "1280x800"]  # one of each arrangement; axe-core takes a second a view
# The other sizes of the desk's bar, all with axe-core, where DISC_ROOM is set: CI has no time for them. A browser's
# zoom makes a pixel of the page larger, and fewer of them.
if os.environ.get("DISC_ROOM"):
    SIZES |= {
        "390x844": {"viewport": {"width": 390, "height": 844}} | PHONE,
        "820x1180": {"viewport": {"width": 820, "height": 1180}} | PHONE,
        "1280x800 at 150 %": {"viewport": {"width": 853, "height": 533}, "device_scale_factor": 1.5},
        "1280x800 at 200 %": {"viewport": {"width": 640, "height": 400}, "device_scale_factor": 2},
        "1920x1080": {"viewport": {"width": 1920, "height": 1080}},
        "2560x1440": {"viewport": {"width": 2560, "height": 1440}},
    }
    AXE_SIZES = [*SIZES]
PANELS = ("pin", "comb", "tune", "findings", "plan", "save", "disc", "history")
LEAST_SHARE, LEAST_PX = 0.45, 300
PICK = """async () => {
  const {desk, select} = await import('/static/js/store.js');
  select([[...desk.pins.values()].find((pin) => pin.side === 'lower').id], 'only', 'list');
}"""


class Room:
    """What is wrong at one size, gathered over the views."""

    def __init__(self, desk, name):
        self.desk, self.page, self.name = desk, desk.page, name
        self.faults = []

    def look(self, where, with_axe=False, part=None):
        """part: what alone is new to axe-core, a selector; None: the whole page."""
        # On a busy machine the page may wait long for a sign of its server, and then says so over the rest.
        self.page.wait_for_selector("#link", state="hidden")
        self.page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        view = self.page.viewport_size
        picture = "#stage" if self.page.locator("#stage").is_visible() else "#score-box"
        box = self.page.locator(picture).bounding_box()
        share = box["width"] * box["height"] / (view["width"] * view["height"])
        if share < LEAST_SHARE or box["width"] < LEAST_PX or box["height"] < LEAST_PX:
            self.faults.append((where, "picture", f"{share:.3f}", box["width"], box["height"]))
        if view["width"] < 400 and box["width"] < view["width"]:
            self.faults.append((where, "picture is not as wide as the phone", box["width"]))
        self.faults += [(where, *fault) for fault in self.page.evaluate(REACH)]
        if with_axe:
            found = Axe().run(self.page, context=part).response["violations"]
            self.faults += [(where, fault["id"], fault["nodes"][0]["html"][:100]) for fault in found]

    def sheet(self, name):
        if self.page.locator("#sheet-choice").is_visible():
            self.desk.sheet(name)
        else:
            self.page.select_option("#sheet-choice-list", name)
        self.page.wait_for_selector("#score-box svg" if name == "score" else f"#stage[data-ready={name}]")


@pytest.mark.parametrize("size", SIZES)
def test_the_picture_comes_first_and_everything_is_in_reach(open_desk, checked_job, size):
    desk = open_desk(checked_job, bypass_csp=True, **SIZES[size])  # axe-core is put in by the test
    room, page = Room(desk, size), desk.page
    page.wait_for_function("() => document.querySelectorAll('#panel-findings article').length > 0")
    room.look("as it opens", with_axe=size in AXE_SIZES)
    for panel in PANELS:
        is_the_same = page.locator(f"#panel-{panel}").is_visible()  # as it opened
        desk.tab(panel)
        # What stands around the panel was looked at as the page opened, and is again with the last three views.
        room.look(panel, with_axe=size in AXE_SIZES and not is_the_same, part=f"#panel-{panel}")
    desk.tab("pin")
    page.evaluate(PICK)
    room.look("picked", with_axe=size in AXE_SIZES)
    if not page.locator("#turn").is_visible():
        page.click("#turn-open")
    room.look("turn")
    for button in ("#play-more", "#shown", "#more"):
        if page.locator(button).is_visible():
            page.click(button)
            room.look(button)
            page.keyboard.press("Escape")
    for sheet in ("through", "turning", "score", "earlier", "upper"):
        room.sheet(sheet)
        room.look(sheet, with_axe=size in AXE_SIZES[1:] and sheet in ("score", "earlier"))
    page.focus("#stage")
    page.keyboard.press("f")
    room.look("nothing but the picture")
    page.keyboard.press("f")
    page.click("#more")
    page.select_option("#type-size", "20")
    page.select_option("#look-choice", "dark")
    page.keyboard.press("Escape")
    assert page.evaluate("() => getComputedStyle(document.body).fontSize") == "20px"
    room.look("large type, dark", with_axe=size in AXE_SIZES)
    assert not room.faults, "\n".join(map(str, room.faults))
