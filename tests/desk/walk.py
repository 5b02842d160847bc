"""From a new job to the report by what the page shows, with one kind of hands: keyboard, fingers or mouse alone.

Nothing is clicked by script: the keyboard goes from part to part with Tab until it stands on what it wants; fingers and
mouse go to it. Files are named in the browser's own chooser, which no page can fill in.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from playwright.sync_api import Locator

from .page import DeskPage

MOST_TABS = 400
LONG_MS = 180_000
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, "device_scale_factor": 1}
IS_HERE = "(one) => document.activeElement === one"


class Keys:
    """Tab to it, and Enter; a list by its letters, a field by typing."""

    def __init__(self, desk: DeskPage) -> None:
        self.page = desk.page

    def go(self, where: str) -> None:
        """Tab until this part of the page has the focus."""
        one = self.page.locator(where).first
        one.wait_for(state="attached")
        for _ in range(MOST_TABS):
            if one.evaluate(IS_HERE):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"{where} is not reached by Tab")

    def press(self, where: str) -> None:
        self.go(where)
        self.page.keyboard.press("Enter")

    def write(self, where: str, words: str) -> None:
        self.go(where)
        self.page.keyboard.press("Control+a")
        self.page.keyboard.type(words)

    def choose(self, where: str, value: str) -> None:
        self.go(where)
        for _ in range(20):
            if self.page.locator(where).input_value() == value:
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError(f"{value} is not in the list {where}")

    def bring(self, where: str, path: Path) -> None:
        self.go(where)
        with self.page.expect_file_chooser() as chooser:
            self.page.keyboard.press("Space")
        chooser.value.set_files(str(path))


class Fingers:
    """Tap it; the tablet's own keys and lists, which no page draws, are filled in."""

    def __init__(self, desk: DeskPage) -> None:
        self.page = desk.page

    def press(self, where: str) -> None:
        self.touch(self.page.locator(where).first)

    def touch(self, one: Locator) -> None:
        one.tap()

    def write(self, where: str, words: str) -> None:
        self.press(where)
        self.page.keyboard.type(words)

    def choose(self, where: str, value: str) -> None:
        self.page.locator(where).select_option(value)

    def bring(self, where: str, path: Path) -> None:
        is_under_its_label = self.page.locator(where).evaluate("(one) => one.classList.contains('unseen')")
        target = f"label:has({where})" if is_under_its_label else where
        with self.page.expect_file_chooser() as chooser:
            self.press(target)
        chooser.value.set_files(str(path))


class Mouse(Fingers):
    """Click it; a list's own window, which no page draws, is filled in."""

    def touch(self, one: Locator) -> None:
        one.click()

    def write(self, where: str, words: str) -> None:
        self.page.locator(where).first.click(click_count=3)  # what stands there is picked, and written over
        self.page.keyboard.type(words)


def walk(desk: DeskPage, hands: Keys | Fingers, photos: tuple[Path, Path], given: Mapping[str, Any]) -> None:
    """given: diameter_mm, turns, revolution_s, rest_arc_deg, and comb, the path of a table (None: a draft)."""
    page = desk.page
    page.set_default_timeout(LONG_MS)
    # Listened to throughout: the driver turns choosers over to a listener only some time after it was added, without
    # saying when, so that the first key of a busy machine would open one that nobody is told of.
    page.on("filechooser", lambda _: None)
    for side, path in zip(("upper", "lower"), photos, strict=True):
        hands.bring(f"#photo-{side}", path)
        page.wait_for_selector(f".drop[data-side={side}] img:not([hidden])", timeout=LONG_MS)
    hands.write("#start-diameter", str(given["diameter_mm"]))
    hands.choose("#start-form [name=turns]", str(given["turns"]))
    hands.write("#start-form [name=revolution_s]", str(given["revolution_s"]))
    hands.write("#start-form [name=rest_arc_deg]", str(given["rest_arc_deg"]))
    hands.press("#start-form [type=submit]")
    page.wait_for_selector("#bench:not([hidden])", timeout=LONG_MS)
    desk.told("pins and holes were read", LONG_MS)
    _open(hands, "comb")
    if given["comb"] is None:
        hands.press("#comb-draft")
        desk.told("A draft comb", LONG_MS)
    else:
        hands.bring("#comb-table", given["comb"])
        desk.told("a comb of", LONG_MS)
    _open(hands, "findings")
    hands.press("#check")
    desk.told("Checked", LONG_MS)
    if page.locator("#panel-findings article").count():
        hands.press("#panel-findings article [data-verdict=accepted]")
        desk.told("accepted", LONG_MS)
    _open(hands, "plan")
    hands.press("#plan")
    desk.told("is made", LONG_MS)
    _open(hands, "save")
    hands.press("#panel-save [data-make=report]")
    desk.told("condition report with", LONG_MS)
    page.wait_for_selector("#panel-save a:has-text('report.pdf')")
    assert (desk.folder / "out" / "report.pdf").stat().st_size > 10_000


def _open(hands: Keys | Fingers, panel: str) -> None:
    """A panel by its step in the strip, whose arrows the keyboard uses."""
    if isinstance(hands, Fingers):
        if not hands.page.locator(f"#panel-{panel}").is_visible():
            hands.press(f"#tab-{panel}")
        return
    hands.go("#tabs [role=tab][tabindex='0'], #tabs [role=tab][aria-selected=true]")
    for _ in range(10):
        if hands.page.locator(f"#tab-{panel}").evaluate(IS_HERE):
            break
        hands.page.keyboard.press("ArrowRight")
    if not hands.page.locator(f"#panel-{panel}").is_visible():
        hands.page.keyboard.press("Enter")
