"""What the sheet tells beside the lens: the face's height, the print's size, a diameter nobody measured."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from disc.photo.board.disc_on_sheet import outline_of, plane_of, radius_at, where_it_lies
from disc.photo.board.sheet_told import SheetTold, advice, sheet_told
from disc.photo.board.sheet_under import look_for_sheets, place_disc, settled_edge
from disc.photo.image import Photo
from disc.photo.plate.ellipse import fit_ellipse
from disc.photo.plate.find_plate import CoarsePlate

from .sheet_camera import Shot, photograph, turn_of

SHOT = Shot(tilt_deg=14.0, sx=1.002, sy=1.002)
RADIUS_MM, HEIGHT_MM, OFF_MM = 12.0, 3.0, (0.6, -0.4)


@pytest.fixture(scope="module")
def sheet():
    return look_for_sheets([Photo(Path("invented.jpg"), photograph(SHOT))])[0]


@pytest.fixture(scope="module")
def outline():
    """The rim as the camera sees it: no paper's axes but millimetres."""
    t = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    rim = np.stack([RADIUS_MM * np.cos(t) + OFF_MM[0], RADIUS_MM * np.sin(t) + OFF_MM[1], np.full_like(t, -HEIGHT_MM)])
    x, y, z = turn_of(SHOT) @ rim + np.array([[0.0], [0.0], [SHOT.distance_mm]])
    return np.stack([SHOT.focal_px * x / z + 499.5, SHOT.focal_px * y / z + 649.5], 1)


def test_height_over_the_paper(sheet, outline):
    lies = where_it_lies(sheet.camera, outline, RADIUS_MM)
    assert np.abs(outline_of(sheet.camera, lies, RADIUS_MM)[:1] - outline).min() < 0.5
    # A caliper on the bar reads 50.1 mm: 0.2 % of the distance are 0.3 mm of height.
    told = sheet_told(sheet, plane_of(sheet.camera, lies), None, 50.1)
    assert abs(told.height_mm - HEIGHT_MM) < 3 * told.height_sigma_mm < 1.0
    assert told.print_across == pytest.approx(1.002, abs=0.002)
    blind = sheet_told(sheet, plane_of(sheet.camera, lies), None, None)
    assert blind.height_sigma_mm > told.height_sigma_mm
    assert abs(blind.height_mm - HEIGHT_MM) < 3 * blind.height_sigma_mm


def test_radius_by_the_bar(sheet, outline):
    assert radius_at(sheet.camera, outline, HEIGHT_MM / 1.002) * 1.002 == pytest.approx(RADIUS_MM, abs=0.02)


def test_read_back(sheet, outline):
    told = sheet_told(sheet, plane_of(sheet.camera, where_it_lies(sheet.camera, outline, RADIUS_MM)), 1.1, None)
    again = SheetTold.from_json(told.to_json())
    assert again.focal_px == pytest.approx(told.focal_px, abs=1e-3)
    assert len(again.corners_px) == len(told.corners_px)
    assert "corners; focal length 3004 px" in again.words()
    vague = replace(again, focal_sigma=0.05)
    assert vague.focal_is_vague and "focal length not told, somewhere about 2858 to 3158 px" in vague.words()


def test_words_where_the_lens_is_told_badly_or_the_bar_cannot_be(sheet, outline):
    told = sheet_told(sheet, plane_of(sheet.camera, where_it_lies(sheet.camera, outline, RADIUS_MM)), None, 48.0)
    assert "measure the bar (--bar-mm)" in " ".join(advice(told, bar_given=True))
    vague = replace(told, focal_sigma=0.08, height_mm=2.0)
    assert "tilted the other way" in " ".join(advice(vague, bar_given=True))
    assert advice(replace(vague, focal_sigma=0.005), bar_given=True) == ()


def test_too_few_corners_and_a_curled_sheet_are_said():
    photo = Photo(Path("invented.jpg"), photograph(Shot(sag_mm=5.0)))
    (curled,) = look_for_sheets([photo])
    assert curled.camera is None and "left out" in curled.notes[0]
    covered = photograph(SHOT)
    cv2.rectangle(covered, (0, 0), (999, 850), (120, 140, 190), -1)
    (few,) = look_for_sheets([Photo(Path("invented.jpg"), covered)])
    assert few is None or len(few.board.ids) >= 40 or "corners only" in few.notes[0]


def test_a_disc_that_reaches_over_the_print_is_placed_by_its_own_edge(monkeypatch):
    """Its coarse outline, 0.15 mm too small, is all that is found at first; beside it lie black and white fields."""
    shot, radius_mm, (x0, y0, z0) = Shot(tilt_deg=15.0, azimuth_deg=0.0, roll_deg=0.0), 13.6, (0.9, -0.8, -3.5)
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)

    def rim(r_mm):
        mm = np.stack([r_mm * np.cos(t) + x0, r_mm * np.sin(t) + y0, np.full_like(t, z0)])
        x, y, z = turn_of(shot) @ mm + np.array([[0.0], [0.0], [shot.distance_mm]])
        return np.stack([shot.focal_px * x / z + 499.5, shot.focal_px * y / z + 649.5], 1)

    pixels = photograph(shot)
    face = np.zeros((*pixels.shape[:2], 3), np.float32)
    cv2.fillPoly(face, [np.round(rim(radius_mm) * 16).astype(np.int32)], (1.0, 1.0, 1.0), cv2.LINE_AA, 4)
    face = cv2.GaussianBlur(face, (0, 0), 0.7)
    photo = Photo(Path("over.jpg"), (face * (70, 140, 175) + (1 - face) * pixels).astype(np.uint8))
    coarse = rim(radius_mm - 0.15)
    found = CoarsePlate(fit_ellipse(*coarse.T), tuple(coarse.mean(0)), None, 0.0, coarse, 0.0)
    monkeypatch.setattr("disc.photo.board.sheet_under.find_plate", lambda photo: found)
    placed = place_disc(photo, look_for_sheets([photo])[0].camera, radius_mm)
    r_mm = np.hypot(*placed.plane.to_mm(rim(radius_mm)).T)
    assert np.abs(r_mm - radius_mm).max() < 0.06
    # Outside the disc the print is hidden, inside nothing is.
    inside = cv2.erode((face[..., 0] > 0.99).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    assert np.array_equal(placed.photo.pixels[inside], photo.pixels[inside])
    beyond = cv2.dilate((face[..., 0] > 0.01).astype(np.uint8), np.ones((25, 25), np.uint8)) == 0
    assert placed.photo.pixels[beyond].min() > 90  # no black field is left


def test_an_edge_looked_for_from_afar_does_not_have_the_last_word(sheet, outline, monkeypatch):
    """From a place off by d the edges are in part another line's, off by 0.4 d: looked for until that settles."""
    camera = sheet.camera
    right = where_it_lies(camera, outline, RADIUS_MM)
    far = replace(right, middle_mm=(right.middle_mm[0] + 0.3, right.middle_mm[1] - 0.2))

    def edges(_photo, _camera, lies, radius_mm):
        middle = np.array(right.middle_mm) + 0.4 * (np.array(lies.middle_mm) - right.middle_mm)
        return outline_of(camera, replace(right, middle_mm=tuple(middle)), radius_mm)

    monkeypatch.setattr("disc.photo.board.sheet_under.exact_rim", edges)
    photo = Photo(Path("invented.jpg"), np.zeros((4, 4, 3), np.uint8))
    edge, lies = settled_edge(photo, camera, far, RADIUS_MM, 44.0, np.zeros((0, 2)))
    assert np.hypot(*np.subtract(lies.middle_mm, right.middle_mm)) < 0.02
    assert np.abs(edge - outline_of(camera, right, RADIUS_MM)).max() < 1.0


def test_an_arc_that_throws_the_disc_aside_is_not_believed(sheet, outline, monkeypatch):
    """A quarter of the rim over the window's white, a little bent by what lies beside it, tells no circle."""
    camera = sheet.camera
    right = where_it_lies(camera, outline, RADIUS_MM)
    aside = replace(right, middle_mm=(right.middle_mm[0] + 20.0, right.middle_mm[1] - 14.0))
    monkeypatch.setattr("disc.photo.board.sheet_under.exact_rim", lambda *_: outline[: len(outline) // 4])
    monkeypatch.setattr("disc.photo.board.sheet_under.edge_in_window", lambda _camera, edge, _window_mm: edge)
    monkeypatch.setattr("disc.photo.board.sheet_under.where_it_lies", lambda *_: aside)
    photo = Photo(Path("invented.jpg"), np.zeros((4, 4, 3), np.uint8))
    edge, lies = settled_edge(photo, camera, right, RADIUS_MM, 44.0, outline)
    assert lies == right and edge is outline
