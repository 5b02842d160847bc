"""Ellipses and projected circles: against scikit-image, and by the laws of perspective."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from skimage.measure import EllipseModel

from disc.photo.face.sureness import bend_of
from disc.photo.image import opencv
from disc.photo.marks.pins_from_sites import FaceDoubt
from disc.photo.marks.slant import fit_slant, plane_tilt
from disc.photo.plane.face_plane import Plane, plane_from_ellipse
from disc.photo.plane.shared_lens import Shared, of_others
from disc.photo.plane.view import View, apply_homography, distort, undistort
from disc.photo.plate.ellipse import Ellipse, centre_boost, fit_ellipse
from disc.photo.plate.find_plate import robust_ellipse
from disc.photo.plate.outline import rim_points
from disc.photo.plate.slot import Slot, find_slot, running_median, window_mean
from disc.photo.plate.slot_signs import SlotPlace, slot_places
from disc.photo.plate.which_slot import FaceMarks, choose_slots
from disc.records import Side


@pytest.mark.parametrize("noise", [0.0, 0.5, 2.0])
def test_ellipse_fit_agrees_with_scikit_image(noise):
    # EllipseModel fits the same algebraic distance (Halir and Flusser 1998); (x, y) order in both.
    rng = np.random.default_rng(3)
    u, v = Ellipse(1100, 900, 800, 700, 0.4).point(rng.uniform(0, 2 * np.pi, 300))
    u, v = u + noise * rng.standard_normal(300), v + noise * rng.standard_normal(300)
    ours = fit_ellipse(u, v)
    theirs = EllipseModel.from_estimate(np.stack([u, v], 1))
    cx, cy = theirs.center
    a, b = sorted(theirs.axis_lengths, reverse=True)
    assert ours is not None
    assert (ours.u, ours.v, ours.a, ours.b) == pytest.approx((cx, cy, a, b), abs=1e-3)


def test_points_on_a_line_are_no_ellipse():
    x = np.linspace(0, 100, 30)
    fitted = fit_ellipse(x, 2 * x + 1)
    assert fitted is None or fitted.b < 0.05 * fitted.a


def test_a_covered_stretch_of_rim_does_not_move_the_ellipse():
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    true = Ellipse(1000, 1000, 800, 730, 0.3)
    points = np.stack(true.point(t), 1)
    points[100:240] = points[100:240] * 0.9 + 100 + 0.15 * (1000 - points[100:240])  # a finger over a fifth of it
    fitted = robust_ellipse(points)
    assert fitted is not None
    assert (fitted[0].u, fitted[0].v, fitted[0].a, fitted[0].b) == pytest.approx((1000, 1000, 800, 730), abs=2)


speeds = st.floats(0.0, 0.5)
angles = st.floats(0.0, 2 * np.pi)


@given(speed=speeds, way=angles, t=angles)
def test_centre_boost_keeps_the_unit_circle(speed, way, t):
    boost = centre_boost(speed * np.cos(way), speed * np.sin(way))
    x, y = apply_homography(boost, np.cos(t), np.sin(t))
    assert np.hypot(x, y) == pytest.approx(1.0, abs=1e-9)
    assert apply_homography(boost, speed * np.cos(way), speed * np.sin(way)) == pytest.approx((0, 0), abs=1e-9)


def camera(tilt_deg, distance_mm, roll_deg=20.0, f_px=9000.0, size=(2000, 2000)):
    """A pinhole looking at the disc's centre: 3 x 4 projection of view mm (x, y up, z towards the lens)."""
    tilt, roll = np.radians([tilt_deg, roll_deg])
    rx = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    rz = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    turn = np.diag([1.0, -1.0, -1.0]) @ rz @ rx  # picture v runs down, z away from the lens
    k = np.array([[f_px, 0, (size[0] - 1) / 2], [0, f_px, (size[1] - 1) / 2], [0, 0, 1]])
    eye = turn.T @ np.array([0, 0, -distance_mm])
    return k @ np.hstack([turn, np.array([[0], [0], [distance_mm]])]), eye


def seen(projection, xyz):
    p = np.atleast_2d(xyz) @ projection[:, :3].T + projection[:, 3]
    return p[:, :2] / p[:, 2:]


@settings(max_examples=40)
@given(tilt=st.floats(0.0, 30.0), distance=st.floats(40.0, 300.0), roll=st.floats(0, 360))
def test_plane_from_ellipse_and_centre(tilt, distance, roll):
    # The picture of a circle's centre is not the ellipse's middle; given both, the plane comes out exact up to a turn.
    p, _ = camera(tilt, distance, roll)
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    circle = 14.0 * np.stack([np.cos(t), np.sin(t), 0 * t], 1)
    rim = seen(p, circle)
    ellipse = fit_ellipse(rim[:, 0], rim[:, 1])
    centre = seen(p, [[0.0, 0.0, 0.0]])[0]
    plane = plane_from_ellipse(ellipse, tuple(centre), 14.0, (2000, 2000))
    inner = plane.to_mm(seen(p, 0.5 * circle))
    assert np.hypot(inner[:, 0], inner[:, 1]) == pytest.approx(7.0, abs=1e-4)
    if tilt > 10 and distance < 80:
        assert np.hypot(centre[0] - ellipse.u, centre[1] - ellipse.v) > 3.0


def test_view_projects_heights_like_a_pinhole():
    p, eye = camera(18.0, 60.0)
    view = View("x.jpg", Side.UPPER, 2000, 2000, tuple(p[:, [0, 1, 3]].ravel()), 0.0, tuple(eye), True, 14.0)
    xyz = np.array([[3.0, 4.0, 0.6], [-8.0, 2.0, 0.3], [0.0, 0.0, 0.0]])
    u, v = view.to_photo_px(xyz[:, 0], xyz[:, 1], xyz[:, 2])
    assert np.stack([u, v], 1) == pytest.approx(seen(p, xyz), abs=1e-6)
    x, y = view.to_disc_mm(*view.to_photo_px(xyz[:, 0], xyz[:, 1]))
    assert np.stack([x, y], 1) == pytest.approx(xyz[:, :2], abs=1e-9)
    assert View.from_json(view.to_json()) == view
    assert view.tilt_deg == pytest.approx(18.0, abs=1e-6)


def test_lower_view_is_mirrored():
    p, eye = camera(0.0, 100.0, roll_deg=0.0)
    both = {
        side: View("x", side, 2000, 2000, tuple(p[:, [0, 1, 3]].ravel()), 0.0, tuple(eye), True, 14.0) for side in Side
    }
    up, low = (np.array(both[side].to_photo_px(0.0, 5.0)) for side in (Side.UPPER, Side.LOWER))
    assert up[0] == pytest.approx(low[0])
    assert up[1] - 999.5 == pytest.approx(-(low[1] - 999.5))


@given(k1=st.floats(-0.08, 0.08), u=st.floats(0, 3999), v=st.floats(0, 2999))
def test_distortion_is_undone(k1, u, v):
    back = undistort(k1, (4000, 3000), *distort(k1, (4000, 3000), u, v))
    assert back == pytest.approx((u, v), abs=0.01)


def test_slant_field_survives_bent_pins_and_shadows():
    rng = np.random.default_rng(1)
    p, _ = camera(15.0, 150.0)
    plane = plane_from_ellipse(
        fit_ellipse(*seen(p, 15 * np.stack([np.cos(t := np.linspace(0, 6.2, 80)), np.sin(t), 0 * t], 1)).T),
        tuple(seen(p, [[0, 0, 0]])[0]),
        15.0,
        (2000, 2000),
    )
    root = rng.uniform(-9, 9, (70, 2))
    px = seen(p, np.hstack([root, np.zeros((70, 1))]))
    tip_px = seen(p, np.hstack([root + 0.012 * rng.standard_normal((70, 2)), np.full((70, 1), 0.55)]))
    mm, tip = plane.to_mm(px), plane.to_mm(tip_px)
    tip[:20] = mm[:20] + np.array([0.35, -0.1])  # twenty shadows of one lamp, all alike
    slant = fit_slant(mm, tip, np.full(70, 0.02), np.ones(70), plane)
    left = np.linalg.norm((tip - mm - slant.at(mm))[20:], axis=1)
    assert np.sqrt(np.mean(left**2)) < 0.03
    tangent, _ = plane_tilt(plane)
    assert np.degrees(np.arctan(tangent)) == pytest.approx(15.0, abs=0.5)


def test_undistort_is_the_inverse_of_distort():
    size = (4000, 3000)
    u, v = np.meshgrid(np.linspace(0, 3999, 9), np.linspace(0, 2999, 7))
    for k1 in (-0.08, -1e-6, 0.0, 0.03, 0.15):
        back = undistort(k1, size, *distort(k1, size, u, v))
        assert np.abs(back[0] - u).max() < 1e-6 and np.abs(back[1] - v).max() < 1e-6


def painted_face(slot_deg, slot_mm, colours, size_px=1200, bevel_mm=0.0):
    """A plain disc seen squarely at 40 px/mm: plane and picture. colours: plate, bevel, ground (BGR)."""
    radius, over = 13.0, 3
    n = size_px * over
    y, x = np.mgrid[0:n, 0:n]
    x, y = (x - (n - 1) / 2) / (40.0 * over), ((n - 1) / 2 - y) / (40.0 * over)
    c, s = np.cos(np.radians(slot_deg)), np.sin(np.radians(slot_deg))
    along, across = c * x + s * y, c * y - s * x
    in_slot = (np.abs(across) < slot_mm / 2) & (along > radius - 0.9)
    r = np.hypot(x, y)
    picture = np.empty((n, n, 3), np.uint8)
    picture[:] = colours[0]
    picture[r > radius - bevel_mm] = colours[1]
    picture[(r > radius) | in_slot] = colours[2]
    cv2 = opencv()
    small = cv2.resize(picture, (size_px, size_px), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), 0.9)
    mid = (size_px - 1) / 2
    to_px = np.array([[40.0, 0, mid], [0, -40.0, mid], [0, 0, 1]])
    return Plane(to_px, 0.0, (size_px, size_px)), small


BRASS, GREY, DARK = (90, 150, 180), (150, 152, 150), (20, 25, 30)


@pytest.mark.parametrize("ground", [GREY, DARK])
def test_slot_among_dirt(ground):
    plane, picture = painted_face(33.0, 0.9, (BRASS, BRASS, ground))
    cv2 = opencv()
    # A dark spot beside the slot makes edges as strong as the slot's own.
    turn = np.radians(33.0 + 5.0)
    spot = plane.to_px(np.array([[12.5 * np.cos(turn), 12.5 * np.sin(turn)]]))[0]
    cv2.circle(picture, (round(spot[0]), round(spot[1])), 6, DARK, -1, cv2.LINE_AA)
    slot = find_slot(picture, plane, 13.0, np.radians(33.6))
    assert slot is not None
    assert abs(np.degrees(slot.angle_rad) - 33.0) * np.pi / 180 * 13.0 < 0.01
    assert slot.width_mm == pytest.approx(0.9, abs=0.03)


def test_slot_that_the_finder_saw_elsewhere():
    plane, picture = painted_face(33.0, 0.9, (BRASS, BRASS, DARK))
    elsewhere = tuple(plane.to_px(13.0 * np.array([[np.cos(2.0), np.sin(2.0)]]))[0])
    places = slot_places(picture, plane, 13.0, elsewhere, 0.9)
    chosen = choose_slots([places], [FaceMarks(True, 13.0, np.zeros((0, 2)))])[0]
    assert np.degrees(chosen.place.slot.angle_rad) == pytest.approx(33.0, abs=0.1)
    assert chosen.probability > 0.9


def test_stain_across_the_rim_is_no_slot():
    """As dark, wide and deep as the slot, and where the finder looks; but the rim's edge goes on across it."""
    plane, picture = painted_face(33.0, 0.9, (BRASS, BRASS, GREY))
    for depth in np.arange(0.0, 0.9, 0.02):  # painted over the plate up to its outline, like the ground in colour
        across = np.linspace(-0.45, 0.45, 60)
        turn = np.radians(120.0)
        c, s = np.cos(turn), np.sin(turn)
        xy = np.stack([c * (12.97 - depth) - s * across, s * (12.97 - depth) + c * across], 1)
        for u, v in plane.to_px(xy):
            cv = picture[round(v), round(u)]
            picture[round(v), round(u)] = np.clip(cv * 0.45, 0, 255)
    stain = tuple(plane.to_px(12.5 * np.array([[np.cos(np.radians(120)), np.sin(np.radians(120))]]))[0])
    places = slot_places(picture, plane, 13.0, stain, 0.9)
    chosen = choose_slots([places], [FaceMarks(True, 13.0, np.zeros((0, 2)))])[0]
    assert np.degrees(chosen.place.slot.angle_rad) == pytest.approx(33.0, abs=0.1)


def test_two_photographs_settle_a_slot_that_one_leaves_open():
    """Each alone would take another place; the pins that both show, laid on each other, leave one pair of places."""
    rng = np.random.default_rng(5)
    r, turn = 12 * np.sqrt(rng.uniform(0.1, 1, 60)), rng.uniform(0, 2 * np.pi, 60)
    pins = np.stack([r * np.cos(turn), r * np.sin(turn)], 1)  # counted from the slot
    seen = [to_view(pins, at) for at in (0.4, 2.9)]
    place = lambda at, odds: SlotPlace(Slot(at, 0.9, 9.0), odds)  # noqa: E731
    places = [(place(1.7, 1.0), place(0.4, 0.0)), (place(5.0, 1.0), place(2.9, 0.0))]
    chosen = choose_slots(places, [FaceMarks(True, 13.0, xy) for xy in seen])
    assert [one.place.slot.angle_rad for one in chosen] == [0.4, 2.9]
    assert all(one.probability > 0.97 for one in chosen)
    alone = choose_slots(places[:1], [FaceMarks(True, 13.0, seen[0])])[0]
    assert alone.place.slot.angle_rad == 1.7 and alone.probability < 0.9
    assert alone.runner_up_rad == 0.4


def to_view(xy, angle):
    """Places counted from the slot as a photograph's plane has them, the slot at this angle."""
    c, s = np.cos(angle), np.sin(angle)
    return xy @ np.array([[c, s], [-s, c]])


def test_rim_where_the_bevel_is_a_dark_line():
    plane, picture = painted_face(0.0, 0.9, (BRASS, DARK, GREY), bevel_mm=0.06)
    points, _ = rim_points(picture, plane, 13.0, None)
    radii = np.hypot(*plane.to_mm(points).T)
    assert abs(np.median(radii) - 13.0) < 0.012


def test_medians_and_means_round_the_rim_are_scipys():
    values = np.random.default_rng(0).normal(size=(200, 3))
    theirs = np.stack([ndimage.median_filter(values[:, k], size=41, mode="wrap") for k in range(3)], 1)
    assert np.array_equal(running_median(values, 20), theirs)
    assert np.allclose(window_mean(values[:, 0], 9), ndimage.uniform_filter1d(values[:, 0], 19, mode="wrap"))


def test_what_an_untold_lens_does_is_told_by_where_a_pin_stands():
    """Against the distortion itself: a disc about the picture's middle, its rim held where it is."""
    k1, size, scale, radius = 0.013, (2000, 2000), 60.0, 15.0
    plane = Plane(np.array([[scale, 0, 999.5], [0, -scale, 999.5], [0, 0, 1.0]]), 0.0, size)
    doubt = FaceDoubt(0.0, 0.0, bend_of(plane, radius, k1), radius)
    r = np.array([5.0, radius / 3**0.5, 12.0, radius])
    seen = (distort(k1, size, 999.5 + scale * r, 999.5)[0] - 999.5) / scale
    off = np.abs(seen * radius / seen[-1] - r)
    assert [doubt.at(0.0, float(one)) for one in r] == pytest.approx(off, rel=0.03, abs=1e-9)
    assert doubt.most_bent_mm == pytest.approx(off[1], rel=0.03)
    assert doubt.at(0.03, radius) == pytest.approx(0.03)


def test_rim_beside_a_shadow_that_follows_it():
    plane, picture = painted_face(0.0, 0.9, (BRASS, BRASS, GREY))
    v, u = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]]
    x, y = plane.to_mm(np.stack([u.ravel(), v.ravel()], 1)).T.reshape(2, *u.shape)
    r, turn = np.hypot(x, y), np.degrees(np.arctan2(y, x)) % 360
    picture[(r > 13.02) & (r < 13.3) & (turn < 220)] = DARK
    points, _ = rim_points(picture, plane, 13.0, None)
    radii = np.hypot(*plane.to_mm(points).T)
    assert len(radii) > 100
    assert np.quantile(np.abs(radii - 13.0), 0.9) < 0.05


def test_what_photos_share_weighs_by_how_well_each_knows():
    mine = Shared(np.array([1.2, 0.50]), np.linalg.inv(np.diag([0.2**2, 0.1**2])))
    sure = Shared(np.array([1.4, 0.55]), np.linalg.inv(np.diag([0.02**2, 0.02**2])))
    vague = Shared(np.array([0.9, 0.40]), np.linalg.inv(np.diag([0.4**2, 0.2**2])))
    told = of_others(mine, [sure, vague])
    assert told is not None
    # Inverse-variance weighing by hand: sigmas hypot(.02, .04) and hypot(.4, .04) for the focal length.
    assert told.value[0] == pytest.approx((1.4 / 0.002 + 0.9 / 0.1616) / (1 / 0.002 + 1 / 0.1616), abs=1e-9)
    zoomed = Shared(np.array([3.0, 0.55]), sure.weight)
    assert of_others(mine, [zoomed]) is None
