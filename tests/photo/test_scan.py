"""Scans: the sample's upper face drawn as a scanner would, to 1200 dpi across and a little otherwise down."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from disc.errors import BadInput
from disc.frame import to_xy_mm
from disc.photo.combine_photos import read_both_sides
from disc.photo.image import load_photo
from disc.photo.request import ReadRequest
from disc.photo.scan.of_request import make_ready
from disc.photo.scan.scanner import as_scan, diameter_by_resolution
from disc.records import About

DPI, LONGER = 1200, 0.004
PX = DPI / 25.4


@pytest.fixture(scope="module")
def scan(tmp_path_factory, upper_photo, upper_reading):
    view = upper_reading.view
    half = view.radius_mm + 2.0
    across, down = round(2 * half * PX * (1 + LONGER)), round(2 * half * PX)
    u, v = np.meshgrid(np.arange(across), np.arange(down))
    x, y = (u - (across - 1) / 2) / (PX * (1 + LONGER)), ((down - 1) / 2 - v) / PX
    at = [c.astype(np.float32) for c in view.to_photo_px(x, y)]
    pixels = cv2.remap(upper_photo.pixels, *at, cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE)
    path = tmp_path_factory.mktemp("scan") / "upper.png"
    Image.fromarray(pixels[..., ::-1]).save(path, dpi=(DPI, DPI))
    return load_photo(path)


def test_the_file_names_its_resolution(scan):
    assert scan.px_per_mm == pytest.approx(PX, rel=1e-3)


def test_too_coarse_a_scan_is_refused(scan):
    with pytest.raises(BadInput, match=r"at 300 dpi is too coarse.*1200 dpi"):
        as_scan(replace(scan, px_per_mm=300 / 25.4))


def test_diameter_by_the_resolution(scan, plate):
    diameter, sigma = diameter_by_resolution(scan)
    assert abs(diameter - plate.diameter_mm * (1 + LONGER / 2)) < 2 * sigma < 0.15
    assert diameter_by_resolution(replace(scan, px_per_mm=None)) is None


def test_read_without_perspective_both_directions_checked(scan, plate, upper_reading):
    path = Path(scan.path)
    ready = make_ready({path: scan}, plate.radius_mm)
    assert ready.longer[path] == pytest.approx(LONGER, abs=0.0015)
    told = ready.told_in_originals(read_both_sides(ReadRequest((path,)), ready.ready, plate))
    (face,) = told.sides
    assert face.view.k1 == 0 and (face.view.width_px, face.view.height_px) == (scan.width, scan.height)
    assert any("longer across" in note for note in told.notes)
    true = np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in upper_reading.pins])
    read = np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in face.pins])
    gap = np.linalg.norm(true[:, None] - read[None], axis=2).min(1)
    assert np.mean(gap < 0.1) > 0.97 and np.median(gap) < 0.03
    u, v = face.view.to_photo_px(true[:, 0], true[:, 1])
    where = np.stack(
        [(scan.width - 1) / 2 + true[:, 0] * PX * (1 + LONGER), (scan.height - 1) / 2 - true[:, 1] * PX], 1
    )
    assert np.abs(np.stack([u, v], 1) - where).max() < 0.08 * PX


def test_the_blur_of_a_scan_is_judged_in_mm_and_not_by_its_many_pixels(scan, plate):
    """Softened by 0.06 mm, three pixels: of a photograph that is said to be blurred, of a scan it is not."""
    soft = replace(scan, pixels=cv2.GaussianBlur(scan.pixels, (0, 0), 0.06 * PX))
    path = Path(scan.path)

    def blurred(photos):
        (face,) = read_both_sides(ReadRequest((path,)), photos, plate).sides
        return [doubt for doubt in face.doubts if doubt.about is About.SHARP and "px wide" in doubt.say]

    assert blurred({path: soft})
    assert not blurred(make_ready({path: soft}, plate.radius_mm).ready)
