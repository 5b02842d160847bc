"""Plane and slant settled together, against pictures made by another's pinhole camera (OpenCV's projectPoints)."""

from __future__ import annotations

import numpy as np
import pytest

from disc.photo.image import opencv
from disc.photo.marks.slant import Slant
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.joint import PinMarks, feet_put_right, heard_others, settle_jointly, upright_share
from disc.photo.plane.settle import Perspective, settle
from disc.photo.plane.shared_lens import Shared

SIZE_PX, RADIUS_MM, HEIGHT_MM = 2000, 14.0, 0.5
TRACKS_MM = np.linspace(4.5, 12.5, 17)


def scene(tilt_deg, distance_mm, foot_error, seed):
    """A tilted face: (true plane to px (3, 3), roots mm, marks), pins on tracks, feet all seen foot_error beside."""
    cv2 = opencv()
    rng = np.random.default_rng(seed)
    f = 0.8 * SIZE_PX * distance_mm / (2 * RADIUS_MM)
    k = np.array([[f, 0, (SIZE_PX - 1) / 2], [0, f, (SIZE_PX - 1) / 2], [0, 0, 1.0]])
    tilt = np.radians(tilt_deg)
    # y up on the face, v down in the picture; then the face leans back about the picture's level axis.
    turn = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]]) @ np.diag(
        [1, -1, -1.0]
    )
    push = np.array([0.4, -0.3, distance_mm])

    def seen(xyz):
        return cv2.projectPoints(np.asarray(xyz, float), cv2.Rodrigues(turn)[0], push, k, None)[0][:, 0]

    def raised(xy, z):
        return np.column_stack([xy, np.full(len(xy), z)])

    r = TRACKS_MM[rng.integers(0, len(TRACKS_MM), 80)] + 0.02 * rng.standard_normal(80)
    theta = rng.uniform(0, 2 * np.pi, 80)
    root = np.column_stack([r * np.cos(theta), r * np.sin(theta)])
    foot = root + foot_error + 0.015 * rng.standard_normal(root.shape)
    tip = root + 0.012 * rng.standard_normal(root.shape)
    rim = RADIUS_MM * np.column_stack([np.cos(t := np.linspace(0, 6.2, 180)), np.sin(t)])
    h = k @ np.column_stack([turn[:, :2], push])
    marks = PinMarks(
        seen(raised(foot, 0.0)),
        seen(raised(tip, HEIGHT_MM)) + 0.2 * rng.standard_normal(root.shape),
        np.full(80, 0.012),
        np.full(80, 0.005),
        seen(raised(rim, 0.0)),
        0.01,
    )
    return h / h[2, 2], root, marks


def begun_badly(h):
    """The true plane with its middle 0.08 mm off and its scale growing wrongly across the face."""
    wrong = np.array([[1.002, 0.001, 0.08], [0.001, 0.999, -0.06], [3e-4, -2e-4, 1.0]])
    plane_to_px = h @ np.linalg.inv(wrong)
    return Plane(plane_to_px / plane_to_px[2, 2], 0.0, (SIZE_PX, SIZE_PX))


@pytest.mark.parametrize(("tilt_deg", "distance_mm"), [(0.0, 150.0), (12.0, 120.0), (20.0, 70.0)])
def test_plane_and_slant_come_out_though_all_feet_are_seen_beside(tilt_deg, distance_mm):
    errors, feet_alone = [], []
    for seed in range(4):
        beside = np.array([0.02, 0.025])
        h, root, marks = scene(tilt_deg, distance_mm, beside, seed)
        start = begun_badly(h)
        eye = np.array([0.0, distance_mm * np.sin(np.radians(tilt_deg))])
        gain = HEIGHT_MM / distance_mm
        joint = settle_jointly(start, Slant(gain, tuple(gain * eye), 0.03, 80), RADIUS_MM, marks)
        upright = (joint.plane.to_mm(marks.tip_px) + joint.slant.shift) / (1 + joint.slant.gain)
        errors.append((upright - root).mean(0))
        feet_alone.append((joint.plane.to_mm(marks.foot_px) - root).mean(0))
        # The face's own doubt is an honest one: the common error stays within a few of it.
        assert np.abs(errors[-1]).max() < 3.5 * joint.common_mm
        assert np.abs(feet_put_right(joint, joint.plane.to_mm(marks.foot_px)) - root).mean() < 0.025
    # The setting errors of 80 pins leave their circles' common middle in doubt by 0.02 * sqrt(2 / 80) = 0.003 mm and,
    # with the perspective free as well, by some three times that.
    assert np.sqrt(np.mean(np.square(errors))) < 0.012
    assert np.sqrt(np.mean(np.square(errors))) < 0.6 * np.sqrt(np.mean(np.square(feet_alone)))


def test_a_bent_pins_tip_says_nothing_of_its_root():
    sigma = np.full((3, 2), 0.02)
    share = upright_share(np.array([[0.0, 0.0], [0.03, 0.0], [0.3, 0.1]]), sigma, sigma)
    assert share[0] == 1.0
    assert share[1] > 0.6
    assert share[2] < 0.01


def test_a_perspective_told_by_marks_that_are_no_pins_is_not_believed():
    h, _, marks = scene(20.0, 70.0, np.zeros(2), 0)
    plane = Plane(h, 0.0, (SIZE_PX, SIZE_PX))
    centre = plane.to_px(np.zeros((1, 2)))[0]
    # Flat marks, taken for pins, say that the lens is far away, and that with much confidence.
    wrong = Perspective(0.0, 0.0, 0.002, 0.002)
    fine = settle(
        plane,
        RADIUS_MM,
        marks.foot_px[:20],
        np.full(20, 0.02),
        marks.rim_px,
        0.02,
        (0.04, 0.03, 0.03),
        wrong,
        centre + 3.0,
    )
    assert np.abs(fine.plane.to_mm(centre[None])).max() < 0.08


def test_what_other_photos_tell_moves_the_fit_once_and_only_once():
    h, _, marks = scene(12.0, 120.0, np.zeros(2), 1)
    gain = HEIGHT_MM / 120.0
    slant = Slant(gain, (0.0, gain * 120.0 * np.sin(np.radians(12.0))), 0.03, 80)
    alone = settle_jointly(begun_badly(h), slant, RADIUS_MM, marks)
    assert alone.shared is not None
    sure = Shared(alone.shared.value + np.array([0.1, 0.02]), 1e4 * np.eye(2))
    heard = heard_others(alone, sure)
    _, at = heard.fit
    assert at[[16, 15]] == pytest.approx(sure.value, abs=0.01)  # the lens, and the pins' height
    again = heard_others(heard, sure)
    assert again.plane.plane_to_px == pytest.approx(heard.plane.plane_to_px, rel=1e-4, abs=1e-4)
    # What this photo told by itself is not changed by what it heard.
    assert heard.shared.value == pytest.approx(alone.shared.value, abs=0.05)
