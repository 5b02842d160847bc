"""The sheet found in photographs, and the lens it tells, against an invented camera and OpenCV's own calibration."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from disc.photo.board.camera_of_board import SheetNotFlat, solve_camera, told_by_others
from disc.photo.board.find_board import find_board
from disc.photo.board.plain_ground import hide_print
from disc.photo.board.sheet_under import SheetUnder, lens_by_sheets
from disc.photo.image import CameraName, Photo
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.known_lens import known_rows, lens_alone, vanishing_line
from disc.photo.read_faces import read_faces
from disc.records import Side

from .sheet_camera import Shot, corners_seen, photograph

BENT = Shot(k1=-0.03, sx=1.004, sy=0.999)


def photo_of(shot: Shot) -> Photo:
    return Photo(Path("invented.jpg"), photograph(shot))


@pytest.fixture(scope="module")
def bent_photo():
    return photo_of(BENT)


@pytest.fixture(scope="module")
def bent_board(bent_photo):
    return find_board(bent_photo)


def test_every_corner_is_found_where_it_is(bent_board):
    true = corners_seen(BENT)
    inside = np.all((true > 12) & (true < np.array(BENT.size) - 13), axis=1)
    k = np.arange(285)
    off = np.hypot((k % 19 + 1) * 4.0 - 40.0, (k // 19 + 1) * 4.0 - 32.0)
    shown = set(np.nonzero(inside & (off > 15.6))[0])
    assert shown <= set(bent_board.ids)
    error = bent_board.px - true[bent_board.ids]
    assert np.abs(error.mean(0)).max() < 0.03  # no half pixel
    assert np.sqrt(np.mean(error**2)) < 0.12


def test_lens_and_tilt(bent_board):
    camera = solve_camera(bent_board)
    assert camera.k1 == pytest.approx(BENT.k1, abs=0.003)  # the bars: k1 within .003, focal length 2 %
    # Tilted by 12 degrees alone, focal length and uneven print go together: it says so, and lets the rim tell.
    sigma = camera.known.sigmas()[0]
    assert abs(np.log(camera.focal_px / BENT.focal_px)) < 3 * sigma < 0.3
    assert camera.tilt_deg == pytest.approx(BENT.tilt_deg, abs=1.0)
    off = camera.told - [np.log(BENT.focal_px / BENT.size[0]), BENT.k1, BENT.sx / BENT.sy - 1]
    assert np.all(np.abs(off) < 4 * np.sqrt(np.diag(np.linalg.inv(camera.told_weight))) + 1e-4)


def test_the_same_corners_by_opencv():
    """cv2.calibrateCamera on an even print (it knows no other): its k1 is in focal lengths, ours in half diagonals."""
    shot = Shot(k1=0.02, tilt_deg=20.0)
    board = find_board(photo_of(shot))
    camera = solve_camera(board)
    w, h = shot.size
    start = np.array([[2500.0, 0, (w - 1) / 2], [0, 2500.0, (h - 1) / 2], [0, 0, 1.0]])
    flags = cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_PRINCIPAL_POINT | cv2.CALIB_FIX_ASPECT_RATIO
    flags |= cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3
    flat = np.column_stack([board.mm, np.zeros(len(board.mm))]).astype(np.float32)
    rms, lens, bend, _, _ = cv2.calibrateCamera([flat], [board.px.astype(np.float32)], (w, h), start, None, flags=flags)
    assert rms < 0.2
    assert camera.focal_px == pytest.approx(lens[0, 0], rel=0.01)
    assert camera.k1 == pytest.approx(bend.ravel()[0] * (np.hypot(w, h) / 2 / lens[0, 0]) ** 2, abs=0.0005)


def test_plain_ground_has_no_board(bent_photo):
    empty = replace(bent_photo, pixels=np.full_like(bent_photo.pixels, 180))
    assert find_board(empty) is None


def test_one_false_mark_does_no_harm(bent_photo, bent_board):
    marks = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    pixels = bent_photo.pixels.copy()
    pixels[600:700, 450:550] = 255
    pixels[612:688, 462:538] = cv2.aruco.generateImageMarker(marks, 3, 76)[..., None]
    found = find_board(replace(bent_photo, pixels=pixels))
    assert set(found.ids) == set(bent_board.ids)


def test_a_hand_over_part_of_it(bent_photo, bent_board):
    pixels = bent_photo.pixels.copy()
    pixels[:, :350] = (120, 140, 190)
    found = find_board(replace(bent_photo, pixels=pixels))
    gone = bent_board.px[:, 0] < 345
    assert set(found.ids) <= set(bent_board.ids[~gone]) | set(bent_board.ids[np.abs(bent_board.px[:, 0] - 350) < 10])
    assert solve_camera(found).k1 == pytest.approx(BENT.k1, abs=0.003)


@pytest.mark.parametrize("sag", [2.5, 5.0])
def test_a_curled_sheet_is_left_out_with_a_word(sag):
    board = find_board(photo_of(Shot(sag_mm=sag)))
    with pytest.raises(SheetNotFlat, match=r"(not flat|stray).*left out\. Lay it"):
        solve_camera(board)


def test_two_photographs_tell_more_than_one():
    shots = Shot(tilt_deg=5.0, azimuth_deg=0.0), Shot(tilt_deg=14.0, azimuth_deg=80.0)
    boards = [find_board(photo_of(shot)) for shot in shots]
    one, two = (solve_camera(board) for board in boards)
    helped = solve_camera(boards[0], told_by_others(one, [two]))
    assert helped.known.sigmas()[0] < 0.5 * one.known.sigmas()[0]
    assert helped.focal_px == pytest.approx(shots[0].focal_px, rel=0.02)


def test_a_lens_is_shared_by_photos_of_one_camera_only(bent_photo, bent_board):
    sheets = [SheetUnder(bent_board, solve_camera(bent_board)), None]
    wide, long = (CameraName("Invented", "One", mm, 1.0, *sorted(BENT.size, reverse=True)) for mm in (4.2, 9.0))

    def told(other, with_sheet):
        photos = [replace(bent_photo, camera=with_sheet), replace(bent_photo, camera=other)]
        return lens_by_sheets(photos[1], sheets, photos)

    assert told(wide, wide).k1 == pytest.approx(BENT.k1, abs=0.003)
    assert told(None, wide) is not None and told(None, None) is not None
    assert told(long, wide) is None


def test_the_print_is_hidden(bent_photo, bent_board):
    ground = hide_print(bent_photo, solve_camera(bent_board))
    assert ground.window_mm == BENT.window_mm
    grey = ground.photo.pixels.mean(2)
    assert grey.min() > 150 and np.ptp(cv2.GaussianBlur(grey, (0, 0), 3)) < 25


def test_parallel_planes_share_their_vanishing_line(bent_board):
    camera = solve_camera(bent_board)
    paper, face = (vanishing_line(camera.plane_to_px(h), camera.size) for h in (0.0, 3.0))
    assert np.allclose(paper, face, atol=1e-9)
    half, left = known_rows(
        camera.known, Plane(camera.plane_to_px(2.0), camera.k1, camera.size), camera.told[0], camera.known.value[1:3]
    )
    assert half.shape == (6, 6)
    assert np.abs(left).max() < 1e-3


def test_a_lens_that_is_not_the_photos_costs_no_pin(upper_photo, upper_reading, plate):
    """A photograph zoomed by two names no camera: what another told of the lens is half as long, and bends."""
    wrong = replace(upper_photo, lens=lens_alone(float(np.log(1.3)), 0.02, 0.01, 0.002))
    (read,) = read_faces([(wrong, Side.UPPER)], plate)
    assert len(read.pins) >= 0.9 * len(upper_reading.pins)
