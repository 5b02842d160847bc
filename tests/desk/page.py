"""The page as a person uses it: real pointer, keys and fingers; only places on the screen are read by script."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from disc.job.corrections_file import load_corrections
from disc.records import Pin
from disc.tables import read_pins

from .sample import sample_place

# Nothing is awaited of the server any more: what follows from the present pins has arrived.
WORKED_OUT = "() => document.body.dataset.rev && document.body.dataset.music === document.body.dataset.rev"
# How long anything is waited for: a busy machine is no fault; what never comes is told late, but is told.
PATIENCE_MS = 60_000
POLL_MS = 40  # asked every frame, the question itself keeps a busy machine busy
PREFERENCES = re.compile(r"disc_(type|look|language)")
Place = Callable[[Pin], tuple[float, float]]
TO_SCREEN = "async (at) => (await import('/static/js/stage.js')).view().toScreen(at)"


class DeskPage:
    """One browser window on a desk. place: where a pin is in its photograph, computed without the code under test."""

    def __init__(self, browser: Any, address: str, folder: Path, place: Place = sample_place, **context: Any) -> None:
        self.folder = folder
        self.place = place
        self.context = browser.new_context(**({"viewport": {"width": 1280, "height": 800}} | context))
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.requests: list[str] = []
        self.errors: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("websocket", lambda socket: self.requests.append(socket.url))
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", self._console)
        self.address = address
        self._open()

    def _open(self) -> None:
        self.page.goto(self.address)
        self.page.wait_for_selector("#bench:not([hidden]), #start:not([hidden])")
        if self.page.locator("#bench").is_visible():
            self.page.wait_for_selector("#stage[data-ready]")
            self.worked_out()

    def _console(self, message: Any) -> None:
        # A refused request is an error to the browser; the tests of refusals look at the words instead.
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.errors.append(message.text)

    def begin_anew(self) -> None:
        """The page opened anew, as if it had never been open: nothing is remembered, neither preferred nor begun."""
        self.context.clear_cookies(name=PREFERENCES)
        self.page.goto(self.address.partition("?")[0] + "static/desk.svg")
        self.page.evaluate("() => sessionStorage.clear()")
        self.requests.clear()
        self.errors.clear()
        self._open()

    def close(self) -> None:
        self.context.close()

    # ---- places on the screen

    def at_pin(self, pin: Pin) -> tuple[float, float]:
        """Window coordinates of a pin on its photograph."""
        return self.at_sheet(self.place(pin))

    def at_sheet(self, place: tuple[float, float]) -> tuple[float, float]:
        box = self.page.locator("#stage").bounding_box()
        x, y = self.page.evaluate(TO_SCREEN, list(place))
        return box["x"] + x, box["y"] + y

    def picked(self) -> list[int]:
        return self.page.evaluate("async () => [...(await import('/static/js/store.js')).desk.selection]")

    def told(self, part: str, timeout_ms: float = PATIENCE_MS) -> None:
        """Wait until the line at the top says this."""
        says = "(part) => document.getElementById('told').textContent.includes(part)"
        self.page.wait_for_function(says, arg=part, timeout=timeout_ms, polling=POLL_MS)

    def until(self, question: str, arg: Any = None) -> None:
        """Ask a question of the page's own modules (an async function) until the answer is yes."""
        end_s = time.monotonic() + PATIENCE_MS / 1000
        while not self.page.evaluate(question, arg):
            assert time.monotonic() < end_s, f"never came true: {question}"
            self.page.wait_for_timeout(20)

    def worked_out(self) -> None:
        """Wait until what follows from the present pins has arrived."""
        self.page.wait_for_function(WORKED_OUT, polling=POLL_MS)

    def drag(self, *places: tuple[float, float]) -> None:
        """Press the mouse at the first place, go through the others, and let go."""
        self.page.mouse.move(*places[0])
        self.page.mouse.down()
        for place in places[1:]:
            self.page.mouse.move(*place, steps=3)
        self.page.mouse.up()

    def strike_place(self, pin_id: int) -> tuple[float, float]:
        """Window coordinates of a pin's mark in the unrolled turn."""
        box = self.page.locator("#roll").bounding_box()
        x, y, _ = self.page.evaluate("async (id) => (await import('/static/js/roll.js')).placeOfStrike(id)", pin_id)
        return box["x"] + x, box["y"] + y

    # ---- fingers: each is a course of places, all of the same length

    def fingers(self, *courses: Sequence[tuple[float, float]], rest_ms: float = 0.0) -> None:
        """Set fingers down, draw them along their courses, lift them; rest_ms: how long they stay before they move."""
        screen = self.context.new_cdp_session(self.page)

        def touch(kind: str, step: int | None) -> None:
            at = [] if step is None else [{"x": c[step][0], "y": c[step][1], "id": i} for i, c in enumerate(courses)]
            screen.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": at})

        touch("touchStart", 0)
        if rest_ms:
            self.page.wait_for_timeout(rest_ms)
        for step in range(1, len(courses[0])):
            touch("touchMove", step)
        touch("touchEnd", None)
        screen.detach()

    def finger_line(self, start: tuple[float, float], goal: tuple[float, float], steps: int = 4) -> None:
        """One finger straight from here to there."""
        self.fingers([_between(start, goal, step / steps) for step in range(steps + 1)])

    def click_pin(self, pin: Pin, **options: Any) -> None:
        self.page.mouse.move(*self.at_pin(pin))
        self.page.mouse.click(*self.at_pin(pin), **options)

    def sheet(self, name: str) -> None:
        self.page.click(f"#sheet-choice [data-name={name}]")

    def tool(self, name: str) -> None:
        self.page.click(f"#tool-choice [data-name={name}]")

    def tab(self, name: str) -> None:
        """Open a panel by its step, or from the list of further ones; a second press would fold it away."""
        if self.page.locator(f"#panel-{name}").is_visible():
            return
        if self.page.locator(f"#tab-{name}").is_visible():
            self.page.click(f"#tab-{name}")
        else:
            self.page.click("#more")
            self.page.click(f"[data-open={name}]")

    # ---- what lies on disk

    def pins(self) -> dict[int, Pin]:
        return {pin.id: pin for pin in read_pins(self.folder / "pins.csv")}

    def corrections(self) -> tuple[Any, Any]:
        return load_corrections(self.folder / "corrections.json")

    def job_file(self) -> dict[str, Any]:
        return json.loads((self.folder / "job.json").read_text(encoding="utf-8"))


def _between(a: tuple[float, float], b: tuple[float, float], share: float) -> tuple[float, float]:
    return a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share
