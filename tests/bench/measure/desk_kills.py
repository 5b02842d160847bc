"""The desk killed at random moments while edits are sent one after the other: is one that was acknowledged ever lost?

    python -m tests.bench.measure.desk_kills --kills 100 [--page 10]

An edit counts as acknowledged when its answer has come. After each kill the desk is started again on the same folder
and asked for its state: every acknowledged edit must be there, in its order, at most one more than was acknowledged
(the answer was lost, not the edit), and the job must be whole. --page: so many of the kills with a browser's page open:
how long until the page notices, and whether it comes back by itself.
"""

from __future__ import annotations

import argparse
import http.client
import json
import tempfile
import threading
import time
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np

from disc.job import open_job
from disc.job.corrections_file import load_corrections
from disc.tables import read_pins
from tests.desk.rig import CHROMIUM_FLAGS, StartedDesk, chromium_path, make_job

LONGEST_S = 1.2  # of edits before the kill: some hundred of them
PICKED = 1
NOTICED = "() => document.body.dataset.link === 'lost'"
BACK = "() => document.body.dataset.link === 'up' && document.getElementById('link').hidden"


class Client:
    """Asks one desk as its page does."""

    def __init__(self, address: str) -> None:
        parts = urlsplit(address)
        self.port = parts.port
        answer = self._ask("GET", f"/?{parts.query}", None, {})
        self.cookie = answer.headers["Set-Cookie"].split(";")[0]

    def _ask(self, method: str, path: str, body: str | None, more: dict[str, str]) -> http.client.HTTPResponse:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        connection.request(method, path, body, {"Host": f"127.0.0.1:{self.port}", "X-Desk": "1", **more})
        return connection.getresponse()

    def edit(self, note: str) -> bool:
        """Whether the edit was acknowledged."""
        request = json.dumps({"do": "note", "pins": [PICKED], "note": note})
        more = {"Cookie": self.cookie, "Content-Type": "application/json"}
        try:
            answer = self._ask("POST", "/api/edit", request, more)
            answer.read()
        except (OSError, http.client.HTTPException):
            return False
        return answer.status == 200


def one_kill(folder: Path, rng: np.random.Generator, sent: list[str]) -> tuple[int, int, str]:
    """(acknowledged, found afterwards, fault) of all edits so far; a fault is words, or nothing."""
    desk = StartedDesk(folder)
    client = Client(desk.address)
    if not client.edit(f"edit {len(sent) + 1}"):  # else nothing would be measured, and no fault found
        raise SystemExit("the desk takes no edit: nothing was measured")
    sent.append(f"edit {len(sent) + 1}")
    timer = threading.Timer(float(rng.uniform(0.0, LONGEST_S)), desk.kill)
    timer.start()
    under_way = ""
    while True:
        under_way = f"edit {len(sent) + 1}"
        if not client.edit(under_way):
            break
        sent.append(under_way)
    timer.join()
    fault = whole = ""
    try:
        open_job(folder)  # first: a step that was in the journal when the desk was killed is finished by this
        read_pins(folder / "pins.csv")
    except Exception as error:
        whole = f"the job is not whole: {error}"
    notes = [correction.note for correction in load_corrections(folder / "corrections.json")[0]]
    if notes[: len(sent)] != sent:
        fault = "an acknowledged edit is lost"
    elif notes not in (sent, [*sent, under_way]):
        fault = "edits that nobody sent"
    fault = whole or fault
    acknowledged = len(sent)
    sent[:] = notes
    return acknowledged, len(notes), fault


def page_kill(folder: Path, rng: np.random.Generator, browser: object) -> tuple[float, float]:
    """Seconds until the page notices, and until it is back once the desk is started again."""
    desk = StartedDesk(folder)
    page = browser.new_page()  # type: ignore[attr-defined]
    page.goto(desk.address)
    page.wait_for_selector("#stage[data-ready]")
    page.wait_for_timeout(float(rng.uniform(0.0, 1500.0)))
    desk.kill()
    start = time.monotonic()
    page.wait_for_function(NOTICED, timeout=20_000)
    noticed = time.monotonic() - start
    again = StartedDesk(folder)
    start = time.monotonic()
    page.wait_for_function(BACK, timeout=30_000)
    back = time.monotonic() - start
    page.context.close()
    again.kill()
    return noticed, back


def main() -> None:
    """Kill and count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--page", type=int, default=10)
    parser.add_argument("--seed", type=int, default=23)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    with tempfile.TemporaryDirectory() as scratch:
        folder = make_job(Path(scratch) / "watch")
        sent: list[str] = []
        faults, edits = [], 0
        for count in range(options.kills):
            acknowledged, found, fault = one_kill(folder, rng, sent)
            edits = max(edits, found)
            if fault:
                faults.append(f"kill {count + 1}: {fault} ({acknowledged} acknowledged, {found} found)")
        print(f"{options.kills} kills, {edits} edits: {len(faults)} faults", *faults, sep="\n")
        if options.page and (path := chromium_path()):
            from playwright.sync_api import sync_playwright

            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=path, args=CHROMIUM_FLAGS)
                times = [page_kill(folder, rng, browser) for _ in range(options.page)]
                browser.close()
            noticed, back = zip(*times, strict=True)
            print(f"page, {options.page} kills: noticed after {max(noticed):.2f} s at most", end=", ")
            print(f"back {max(back):.2f} s at most after the new start")


if __name__ == "__main__":
    main()
