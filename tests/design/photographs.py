"""Designs rendered as photographs and given to `disc read`: what it finds must be what was designed.

The photographs come from the renderer of disc/design (pinhole, tilt, shadows), with a sensor's noise, a lens's blur and
JPEG's losses put on top; the reader is told nothing but the files. They are easier than photographs of real discs.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from disc.design.brass import Light
from disc.design.camera import Camera
from disc.design.picture import render_face
from disc.design.plan import Design
from disc.frame import FloatArray, to_xy_mm
from disc.records import Pin, Side

NEAR_MM = 0.15  # a pin found this close to a designed one is that pin
PICTURE_PX = 2200


def photograph(design: Design, side: Side, path: Path, rng: np.random.Generator) -> None:
    """One face as a JPEG: tilted a little, turned at random, lit from a random window."""
    from PIL import Image
    from scipy.ndimage import gaussian_filter

    camera = Camera(
        PICTURE_PX,
        PICTURE_PX,
        design.plate.diameter_mm,
        distance_mm=float(rng.uniform(160, 260)),
        fill=0.80,
        tilt_deg=float(rng.uniform(0, 6)),
        towards_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.uniform(0, 360)),
    )
    light = Light(float(rng.uniform(0, 360)), float(rng.uniform(40, 55)), float(rng.uniform(0.6, 0.8)))
    image = render_face(design.pins, design.plate, side, camera, light, design.settings.keep_out).astype(float)
    image = gaussian_filter(image, (0.7, 0.7, 0)) + rng.normal(0.0, 2.5, image.shape)
    Image.fromarray(np.clip(np.rint(image), 0, 255).astype(np.uint8)).save(path, quality=90)


def match_f1(found: Sequence[Pin], wanted: Sequence[Pin]) -> float:
    """F1 of pins found against pins designed, one to one within NEAR_MM on the same face."""
    from scipy.optimize import linear_sum_assignment

    hits = 0
    for side in Side:
        a, b = _places(found, side), _places(wanted, side)
        if len(a) and len(b):
            gap = np.hypot(*(a[:, None, :] - b[None, :, :]).transpose(2, 0, 1))
            rows, columns = linear_sum_assignment(np.where(gap <= NEAR_MM, gap, 1e3))
            hits += int((gap[rows, columns] <= NEAR_MM).sum())
    return 2 * hits / max(1, len(found) + len(wanted))


def _places(pins: Sequence[Pin], side: Side) -> FloatArray:
    return np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in pins if pin.side is side]).reshape(-1, 2)


def read_back(design: Design, folder: Path, rng: np.random.Generator) -> tuple[float, bool, int]:
    """(F1 of the pins, whether the notes and their order in time are the same, pins found) after `disc read`."""
    raise NotImplementedError
