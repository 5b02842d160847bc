"""The shipped sample disc as a job, and where its truth says that everything lies.

Places in the photographs come from the truth file alone: the plate is flat, so a pinhole camera sees it through a
homography, which is fitted here to the true pins' pixels. Neither the reader nor the page has a hand in them.
"""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from disc.check.check_job import check_job
from disc.comb.comb_job import take_table
from disc.demo import sample_folder, sample_plate
from disc.job import create_job, open_for_writing
from disc.photo.read_photos import read_job
from disc.records import Condition, Pin, Side
from disc.turn.transcribe_job import transcribe_job

SAMPLE = sample_folder()
GIVEN = json.loads((SAMPLE / "sample.json").read_text(encoding="utf-8"))
TRUTH = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))
SAME_PIN_MM = 0.25  # a pin that was read lies this near to the true one; tracks and beats lie farther apart


def read_sample(folder: Path, with_comb: bool = True) -> Path:
    """A job as the commands start, read and comb leave it."""
    create_job(folder, sample_plate(SAMPLE))
    with open_for_writing(folder) as job:
        read_job(job, upper=(SAMPLE / "upper.jpg",), lower=(SAMPLE / "lower.jpg",))
        if with_comb:
            take_table(job, SAMPLE / "comb.csv")
    return folder


def check_sample(folder: Path) -> Path:
    """That job, transcribed and checked as by the commands."""
    with open_for_writing(folder) as job:
        transcribe_job(job)
        check_job(job)
    return folder


def copied(folder: Path, to: Path) -> Path:
    """A job of a test's own; times of files stay, since they tell what is older than what."""
    return Path(shutil.copytree(folder, to, ignore=shutil.ignore_patterns(".lock", ".desk*")))


def true_photo(side: Side) -> dict[str, Any]:
    """What the truth says of the photograph of a face."""
    return next(photo for photo in TRUTH["photos"] if photo["side"] == side.value)


def _camera(side: Side) -> np.ndarray:
    """Disc axes (mm) to the pixels of a face's photograph, shape (3, 3)."""
    roots = {row["id"]: row["root"] for row in true_photo(side)["pins_px"]}
    mine = [pin for pin in TRUTH["pins"] if pin["id"] in roots and pin["side"] == side.value]
    mm = np.array([_xy(pin["r_mm"], pin["theta_deg"]) for pin in mine])
    matrix, _ = cv2.findHomography(mm, np.array([roots[pin["id"]] for pin in mine]))
    return np.asarray(matrix)


def _xy(r_mm: float, theta_deg: float) -> tuple[float, float]:
    """Disc axes by the conventions' own words: counter-clockwise from the slot, which lies to the right."""
    return r_mm * math.cos(math.radians(theta_deg)), r_mm * math.sin(math.radians(theta_deg))


CAMERAS = {side: _camera(side) for side in Side}


def place_px(side: Side, r_mm: float, theta_deg: float) -> tuple[float, float]:
    """Where a place of the disc is in the photograph of that face."""
    u, v, w = CAMERAS[side] @ (*_xy(r_mm, theta_deg), 1.0)
    return float(u / w), float(v / w)


def sample_place(pin: Pin) -> tuple[float, float]:
    """Where a pin is in its face's photograph."""
    return place_px(pin.side, pin.r_mm, pin.theta_deg)


def gap_mm(pin: Pin, true: dict[str, Any]) -> float:
    """How far a pin is from a true one; infinite on the other face."""
    if pin.side.value != true["side"]:
        return math.inf
    return math.dist(_xy(pin.r_mm, pin.theta_deg), _xy(true["r_mm"], true["theta_deg"]))


def true_pin(pin: Pin) -> dict[str, Any] | None:
    """The true pin that a read one stands for."""
    best = min(TRUTH["pins"], key=lambda true: gap_mm(pin, true))
    return best if gap_mm(pin, best) < SAME_PIN_MM else None


def lonely(pins: Iterable[Pin], side: Side, condition: Condition | None = None) -> list[Pin]:
    """Pins of a face that were read as they are, those with most room around them first."""
    mine = [pin for pin in pins if pin.side is side]
    room = {pin.id: min(math.dist(_mm(pin), _mm(other)) for other in mine if other is not pin) for pin in mine}
    known = [pin for pin in mine if (true := true_pin(pin)) is not None and true["condition"] == pin.condition.value]
    chosen = [pin for pin in known if condition is None or pin.condition is condition]
    return sorted(chosen, key=lambda pin: -room[pin.id])


def free_place(pins: Sequence[Pin], side: Side) -> tuple[float, float]:
    """(r_mm, theta_deg) on a tooth's track where the nearest pin is far away."""
    radii = [tooth["tip_r_mm"] for tooth in TRUTH["comb"] if tooth["side"] == side.value]
    mine = [_mm(pin) for pin in pins if pin.side is side]
    return max(
        ((r, float(theta)) for r in radii for theta in range(20, 340, 4)),
        key=lambda place: min(math.dist(_xy(*place), other) for other in mine),
    )


def _mm(pin: Pin) -> tuple[float, float]:
    return _xy(pin.r_mm, pin.theta_deg)


def true_onset_s(true: dict[str, Any]) -> float:
    """When a true pin strikes, by the conventions: turn = s (phi - theta) mod 360, s = -1 clockwise."""
    tip = next(tooth["tip_theta_deg"] for tooth in TRUTH["comb"] if tooth["number"] == true["tooth"])
    way = -1.0 if GIVEN["turns"] == "clockwise" else 1.0
    return float(way * (tip - true["theta_deg"]) % 360.0 / 360.0 * GIVEN["revolution_s"])


def true_plays(true: dict[str, Any]) -> bool:
    """Whether a true pin sounds as the disc stands."""
    return true["condition"] in ("sound", "bent")
