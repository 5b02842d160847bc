"""An invented disc with drawn photographs, a running desk, and a headless browser: what the desk's tests stand on.

The disc looks the same in no mirror and no turning: its faces differ, and so do the cameras. The photographs are drawn
with a known slanted camera, so that every place in them can be computed here without the code under test.
"""

from __future__ import annotations

import json
import math
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from disc.comb.comb_job import keep_comb
from disc.comb.strikes import pins_from_strikes
from disc.desk.server import server
from disc.desk.server.server import run_desk
from disc.frame import turn_for_onset_deg
from disc.job import create_job, open_for_writing
from disc.photo.plane.view import View
from disc.records import Comb, Condition, Pin, Plate, Side, Strike, Tooth, Turns

PLATE = Plate(28.0, Turns.CLOCKWISE, 40.0, 14.0, 1.0, 3.0)
# 4/4 in G, eight bars over a bass, made for this test; MIDI numbers, one a quarter, the bass one every two.
# fmt: off
MELODY = [67, 71, 74, 71, 72, 71, 69, 66, 67, 69, 71, 72, 74, 74, 67, 67,
          76, 74, 72, 71, 74, 72, 71, 69, 71, 69, 67, 66, 67, 67, 67, 67]
BASS = [55, 59, 62, 59, 55, 60, 62, 55, 60, 55, 62, 59, 55, 62, 55, 55]
# fmt: on
FIRST_ONSET_S = 2.0
QUARTER_S = 1.08
PHOTO_PX = 900
LOOK_S = 0.2  # how often a desk of these tests looks whether another command changed its job
CHROMIUM_FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required",
]  # fmt: skip


def comb() -> Comb:
    """Teeth for the notes above: high ones on the upper face, the bass on the lower, staggered tips."""
    notes = sorted({*MELODY, *BASS})
    teeth = []
    for index, pitch in enumerate(notes):
        side = Side.UPPER if pitch >= 66 else Side.LOWER
        teeth.append(Tooth(index + 1, side, 4.4 + 0.62 * index, 8.0 + 3.1 * index, pitch + 0.06 * (index % 3 - 1)))
    return Comb(tuple(teeth))


def pins() -> tuple[Pin, ...]:
    """The pins of the tune, some of them damaged, one doubtful."""
    teeth = {round(t.pitch or 0): t.number for t in comb().teeth}
    strikes = [_strike(FIRST_ONSET_S + i * QUARTER_S, teeth[p]) for i, p in enumerate(MELODY)]
    strikes += [_strike(FIRST_ONSET_S + 2 * i * QUARTER_S, teeth[p]) for i, p in enumerate(BASS)]
    made = [
        replace(
            pin,
            tooth=None,
            diameter_mm=0.26,
            height_mm=0.5,
            sigma_mm=0.02,
            confidence=0.99,
            lean_x_mm=0.0,
            lean_y_mm=0.0,
        )
        for pin in pins_from_strikes(strikes, comb(), PLATE)
    ]
    for index, condition in {4: Condition.MISSING, 13: Condition.MISSING, 22: Condition.STUB}.items():
        made[index] = replace(made[index], condition=condition, height_mm=0.0, lean_x_mm=None, lean_y_mm=None)
    for index in (9, 10):
        made[index] = replace(made[index], condition=Condition.BENT, lean_x_mm=0.22, lean_y_mm=-0.12)
    made[30] = replace(made[30], confidence=0.6)
    return tuple(made)


def _strike(onset_s: float, tooth: int) -> Strike:
    return Strike(float(turn_for_onset_deg(onset_s, PLATE.revolution_s)), onset_s, tooth)


def many_pins(count: int = 300) -> tuple[Pin, ...]:
    """`count` pins on the tracks of the comb, for the speed table."""
    random = np.random.default_rng(9)
    teeth = comb().teeth
    made = []
    for i in range(count):
        tooth = teeth[i % len(teeth)]
        r_mm = tooth.tip_r_mm + random.normal(0, 0.02)
        theta_deg = (i * 360.0 / count + 0.11) % 360.0
        made.append(Pin(i + 1, tooth.side, r_mm, theta_deg, 0.25, 0.5, Condition.SOUND, 0.0, 0.0, 0.02, 0.99))
    return tuple(made)


def view_matrix(side: Side, size_px: int) -> np.ndarray:
    """Face millimetres (x right, y up as one looks at it) to pixels: turned, scaled and a little slanted."""
    turn = math.radians(31.0 if side is Side.UPPER else -57.0)
    scale = size_px / 33.0
    c, s = math.cos(turn) * scale, math.sin(turn) * scale
    middle = size_px / 2.0
    flat = np.array([[c, -s, middle + 9.0], [-s, -c, middle - 14.0], [0.0, 0.0, 1.0]])
    slant = np.eye(3)
    slant[2, 0] = 4e-5
    return slant @ flat


def photo_place(pin: Pin, size_px: int = PHOTO_PX) -> tuple[float, float]:
    """Where a pin is in its face's photograph, by the conventions' own words: the lower side is seen mirrored."""
    theta = math.radians(pin.theta_deg)
    x, y = pin.r_mm * math.cos(theta), pin.r_mm * math.sin(theta)
    if pin.side is Side.LOWER:
        y = -y
    u, v, w = view_matrix(pin.side, size_px) @ (x, y, 1.0)
    return u / w, v / w


def draw_photo(side: Side, shown: tuple[Pin, ...], size_px: int = PHOTO_PX) -> np.ndarray:
    """A plain picture: table, plate, slot, pins as dots. Shape (size, size, 3)."""
    image = np.full((size_px, size_px, 3), (60, 70, 90), np.uint8)
    matrix = view_matrix(side, size_px)
    rim = [matrix @ (14 * math.cos(a), 14 * math.sin(a), 1.0) for a in np.linspace(0, 2 * math.pi, 180)]
    cv2.fillPoly(image, [np.array([(p[0] / p[2], p[1] / p[2]) for p in rim], np.int32)], (120, 190, 215))
    slot = matrix @ (13.7, 0.0, 1.0)
    cv2.circle(image, (int(slot[0] / slot[2]), int(slot[1] / slot[2])), size_px // 60, (40, 40, 40), -1)
    for pin in shown:
        if pin.side is side:
            u, v = photo_place(pin, size_px)
            dark = (30, 30, 30) if pin.condition is Condition.MISSING else (160, 160, 165)
            cv2.circle(image, (round(u), round(v)), max(2, size_px // 260), dark, -1)
    return image


def make_job(
    folder: Path, shown: tuple[Pin, ...] | None = None, size_px: int = PHOTO_PX, with_comb: bool = True
) -> Path:
    """A job folder as the photo reader would leave it."""
    shown = pins() if shown is None else shown
    create_job(folder, PLATE)
    with open_for_writing(folder) as job:
        with job.step("read") as stage:
            for side in Side:
                name = f"{side.value}.jpg"
                stage.write_bytes(f"photos/{name}", cv2.imencode(".jpg", draw_photo(side, shown, size_px))[1].tobytes())
                matrix = tuple(view_matrix(side, size_px).ravel())
                view = View(name, side, size_px, size_px, matrix, 0.0, (0.0, 0.0, 300.0), False, 14.0)
                job.content.faces[side.value] = view.to_json()
                job.content.photos[name] = "0" * 64
            job.stage_reading(stage, shown)
        if with_comb:
            keep_comb(job, comb(), "comb", ())
    return folder


def run_disc(*args: str) -> subprocess.Popen[str]:
    """The command itself, in a process of its own."""
    command = [sys.executable, "-c", "from disc.cli import main; main()", *args]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@contextmanager
def running_command(folder: Path, *args: str) -> Iterator[str]:
    """`disc desk` of this job; yields the address with its key."""
    process = run_disc("desk", str(folder), "--no-browser", "--json", *args)
    assert process.stdout is not None
    try:
        line = process.stdout.readline()
        assert line, process.stderr.read() if process.stderr else ""
        yield json.loads(line)["address"]
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
        process.communicate(timeout=20)


# A desk in a process of its own, forked from one that has loaded the rooms: the command's start-up of 1.5 s, thirty
# times over, is not what the page's tests are about.
FORKS = multiprocessing.get_context("forkserver")
FORKS.set_forkserver_preload([
    "cv2", "scipy.optimize", "scipy.signal", "verovio", "disc.check.check_job", "disc.desk.server.api",
    "disc.desk.work.comb_take",
    "disc.desk.work.read_photos", "disc.desk.server.server", "disc.listen.listen_job", "disc.listen.comb.plucked_job",
    "disc.photo.read_photos", "disc.repin.plan_job", "disc.report.condition", "disc.turn.transcribe_job",
])  # fmt: skip


@contextmanager
def running_desk(folder: Path, earlier: Path | None = None) -> Iterator[str]:
    """What `disc desk` runs, of this job; yields the address with its key."""
    ours, theirs = FORKS.Pipe()
    process = FORKS.Process(target=_serve, args=(folder, earlier, theirs), daemon=True)
    process.start()
    theirs.close()
    try:
        yield ours.recv()
    finally:
        process.terminate()
        process.join(20)


class StartedDesk:
    """A desk that can be killed at any moment."""

    def __init__(self, folder: Path) -> None:
        ours, theirs = FORKS.Pipe()
        self._process = FORKS.Process(target=_serve, args=(folder, None, theirs), daemon=True)
        self._process.start()
        theirs.close()
        self.address: str = ours.recv()
        self.pid = self._process.pid or 0

    def kill(self) -> None:
        self._process.kill()
        self._process.join(20)


def _serve(folder: Path, earlier: Path | None, told: Any) -> None:
    server.OUTSIDE_LOOK_S = LOOK_S
    run_desk(folder, lambda address, _: told.send(address), 0, earlier)


def chromium_path() -> str | None:
    """Chromium without its own windows, which costs a third of the processor time, or with them, or one given by
    DISC_CHROMIUM; None if there is none."""
    return os.environ.get("DISC_CHROMIUM") or shutil.which("chromium-headless-shell") or shutil.which("chromium")
