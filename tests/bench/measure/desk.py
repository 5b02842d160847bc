"""How fast the desk answers: a disc of 300 pins, photographs of 12 megapixels, a headless Chromium. Prints a table.

    python -m tests.bench.measure.desk [--heap-edits 1000]

Times are by the wall clock, as a hand feels them, from the key to the painted frame; a busy machine spoils them, so the
load of the machine is printed with them. Server times are of the processor alone.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.desk.rig import CHROMIUM_FLAGS, StartedDesk, chromium_path, make_job, many_pins, running_command

PINS = 300
PHOTO_PX = 3464  # square: 12.0 megapixels
EDITS = 12
ZOOMS = 25
HEAP_TIMES = 10  # how often the heap is looked at, evenly over the edits

# From the press of a key that changes the picked pin to the frame that shows it, and to the roll worked out anew.
WATCH = """async () => {
  const {desk, on} = await import('/static/js/store.js');
  window.times = {};
  const painted = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
  const press = () => { window.times = {pressed: performance.now()} };
  document.getElementById('stage').addEventListener('keydown', press, true);
  on('pins', async () => { await painted(); window.times.shown ??= performance.now() });
  on('music', async () => { await painted(); window.times.roll ??= performance.now() });
  on('state', async () => { await painted(); window.times.findings ??= performance.now() });
}"""
ZOOM = """async (steps) => {
  const {view, redraw, canvas} = await import('/static/js/stage.js');
  const times = [];
  for (let step = 0; step < steps; step += 1) {
    const start = performance.now();
    view().zoomAt(step < steps / 2 ? 1.25 : 0.8, canvas.clientWidth * 0.6, canvas.clientHeight * 0.4);
    redraw();
    await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
    times.push(performance.now() - start);
  }
  return times;
}"""


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--heap-edits", type=int, default=0, help="edits over which page and server are watched")
    options = parser.parse_args()
    path = chromium_path()
    if path is None:
        print("No Chromium on this machine: nothing was measured.")
        return
    with tempfile.TemporaryDirectory() as scratch:
        folder = make_job(Path(scratch) / "big", many_pins(PINS), PHOTO_PX)
        rows = [*server_rows(folder), *browser_rows(folder, path)]
        heap = heap_rows(folder, path, options.heap_edits) if options.heap_edits else []
    megapixels = PHOTO_PX * PHOTO_PX / 1e6
    print(f"{PINS} pins, {megapixels:.1f} megapixels; {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    print(f"{'what':58s} {'median':>9s} {'worst':>9s} {'bar':>9s}  met")
    for what, times_ms, bar_ms in rows:
        median, worst = statistics.median(times_ms), max(times_ms)
        bar = "" if bar_ms is None else f"{bar_ms:.0f} ms"
        met = "" if bar_ms is None else ("yes" if median <= bar_ms else "NO")
        print(f"{what:58s} {median:6.0f} ms {worst:6.0f} ms {bar:>9s}  {met}")
    for edits, heap_mb, nodes, server_mb in heap:
        print(f"after {edits:5d} edits: heap {heap_mb:6.1f} MB, {nodes} nodes; server {server_mb:.0f} MB")


def server_rows(folder: Path) -> list[tuple[str, list[float], float | None]]:
    """Processor time of one edit and of what follows from it, without a browser."""
    from disc.desk.open_job.session import Session

    session = Session(folder)
    session.wait_for_thoughts()
    edit_ms, think_ms = [], []
    for number in range(EDITS):
        start = time.process_time()
        session.change({"do": "change", "pins": [number + 1], "changes": {"condition": "bent"}})
        edit_ms.append(1000 * (time.process_time() - start))
        session.wait_for_thoughts()
        think_ms.append(1000 * (time.process_time() - start))
    session.go_to(0)
    session.wait_for_thoughts()
    session.close()
    return [
        ("server: one edit written to disk, processor time", edit_ms, None),
        ("server: that and the tune read anew, processor time", think_ms, None),
    ]


def browser_rows(folder: Path, chromium: str) -> list[tuple[str, list[float], float | None]]:
    """What a person feels."""
    from playwright.sync_api import sync_playwright

    with running_command(folder) as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        start = time.perf_counter()
        page.goto(address)
        page.wait_for_selector("#stage[data-ready]")
        first = page.evaluate(ZOOM, 1)
        opened = 1000 * (time.perf_counter() - start)
        page.wait_for_function("() => document.body.dataset.music === document.body.dataset.rev")
        zooms = page.evaluate(ZOOM, ZOOMS)
        shown, rolls = _edits(page)
        browser.close()
    assert first
    return [
        ("12-megapixel photograph opened and zoomed, from the address", [opened], 2000.0),
        ("one step of zoom drawn", zooms, None),
        ("edit of one pin: key to the frame that shows it", shown, 50.0),
        ("edit of one pin: key to the roll worked out anew", rolls, 1000.0),
    ]


def heap_rows(folder: Path, chromium: str, edits: int) -> list[tuple[int, float, int, float]]:
    """(edits so far, the page's heap in MB after collection, its DOM nodes, the server's memory in MB)."""
    from playwright.sync_api import sync_playwright

    rows = []
    desk = StartedDesk(folder)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(desk.address)
        page.wait_for_selector("#stage[data-ready]")
        page.focus("#stage")
        page.keyboard.press("n")
        screen = page.context.new_cdp_session(page)
        for number in range(edits + 1):
            if number % max(1, edits // HEAP_TIMES) == 0:
                page.wait_for_function("() => document.body.dataset.findings === document.body.dataset.rev")
                screen.send("HeapProfiler.collectGarbage")
                heap = screen.send("Runtime.getHeapUsage")["usedSize"] / 1e6
                nodes = screen.send("Memory.getDOMCounters")["nodes"]
                rows.append((number, heap, nodes, _memory_mb(desk.pid)))
            rev = page.evaluate("() => document.body.dataset.rev")
            page.keyboard.press("2" if number % 2 else "4")
            page.wait_for_function("(was) => document.body.dataset.rev !== was", arg=rev)
        browser.close()
    desk.kill()
    return rows


def _memory_mb(pid: int) -> float:
    """What a process holds in memory (proc(5), statm: resident pages)."""
    resident = Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1]
    return int(resident) * os.sysconf("SC_PAGE_SIZE") / 1e6


def _edits(page: Any) -> tuple[list[float], list[float]]:
    page.evaluate(WATCH)
    page.focus("#stage")
    shown, rolls = [], []
    for number in range(EDITS):
        page.keyboard.press("n")
        page.wait_for_timeout(100)
        page.keyboard.press("2" if number % 2 else "4")
        page.wait_for_function("() => window.times.shown && window.times.roll")
        times = page.evaluate("() => window.times")
        shown.append(times["shown"] - times["pressed"])
        rolls.append(times["roll"] - times["pressed"])
        page.wait_for_timeout(400)
    return shown, rolls


if __name__ == "__main__":
    main()
