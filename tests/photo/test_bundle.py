"""Photographs of a face solved together, against pictures made by another's pinhole camera (OpenCV's projectPoints)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.frame import to_polar
from disc.photo.image import opencv
from disc.photo.marks.slant import Slant
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.joint import GAIN, SHIFT, PinMarks, settle_jointly
from disc.photo.plane.view import View
from disc.photo.several import bundle_state
from disc.photo.several.bundle import _one_lens, _points, _roots, bundle, lie_together
from disc.photo.several.bundle_state import LEAN, ROOT, SHORT_MM, TALLER, FaceState, ShownMarks
from disc.photo.several.shared_pins import about_heights, with_shared
from disc.records import Condition, Pin, Side

SIZE_PX, RADIUS_MM, AWAY_MM = 2000, 14.0, 110.0
PINS, SHORTER, BENT = 70, slice(0, 4), slice(4, 7)


def face(seed=5):
    """Roots (n, 2), tips (n, 3) mm: pins 0.46 mm high, some 0.28, some leaning by 0.2 mm."""
    rng = np.random.default_rng(seed)
    r = np.linspace(4.5, 12.5, 15)[rng.integers(0, 15, PINS)] + 0.02 * rng.standard_normal(PINS)
    t = rng.uniform(0, 2 * np.pi, PINS)
    root = np.column_stack([r * np.cos(t), r * np.sin(t)])
    height = np.full(PINS, 0.46)
    height[SHORTER] = 0.28
    lean = 0.01 * rng.standard_normal(root.shape)
    lean[BENT] += [0.2, 0.0]
    height[BENT] = np.sqrt(0.46**2 - 0.2**2)
    return root, np.column_stack([root + lean, height])


def photographed(tilt_deg, roll_deg, seed, shown=slice(None)):
    """One photograph's fit by itself, tips seen short by what is usual; begun 0.05 mm off."""
    cv2, rng = opencv(), np.random.default_rng(seed)
    root, tip = (part[shown] for part in face())
    f = 0.8 * SIZE_PX * AWAY_MM / (2 * RADIUS_MM)
    k = np.array([[f, 0, (SIZE_PX - 1) / 2], [0, f, (SIZE_PX - 1) / 2], [0, 0, 1.0]])
    a, b = np.radians([tilt_deg, roll_deg])
    spin = np.array([[np.cos(b), -np.sin(b), 0], [np.sin(b), np.cos(b), 0], [0, 0, 1.0]])
    turn = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]]) @ np.diag([1, -1, -1.0]) @ spin
    push = np.array([0.3, -0.2, AWAY_MM])

    def seen(xyz):
        return cv2.projectPoints(np.asarray(xyz, float), cv2.Rodrigues(turn)[0], push, k, None)[0][:, 0]

    flat = np.column_stack([root, np.zeros(len(root))])
    eye = -turn.T @ push
    drawn = tip[:, :2] + tip[:, 2:] / (eye[2] - tip[:, 2:]) * (tip[:, :2] - eye[:2])
    way = (drawn - root) / np.linalg.norm(drawn - root, axis=1, keepdims=True)
    noise = rng.standard_normal((2, *root.shape)) * [[[0.012]], [[0.005]]]
    foot, end = (np.column_stack([part, flat[:, 2]]) for part in (root + noise[0], drawn - SHORT_MM * way + noise[1]))
    rim = RADIUS_MM * np.column_stack([np.cos(t := np.linspace(0, 6.2, 180)), np.sin(t), 0 * t])
    sigma = np.full(len(root), 0.012), np.full(len(root), 0.005)
    marks = PinMarks(seen(foot), seen(end), *sigma, seen(rim), 0.01)
    h = k @ np.column_stack([turn[:, :2], push]) @ np.linalg.inv([[1.001, 0, 0.05], [0, 1, -0.03], [0, 0, 1]])
    gain = 0.46 / AWAY_MM
    slant = Slant(gain, tuple(gain * eye[:2]), 0.03, len(root))
    return settle_jointly(Plane(h / h[2, 2], 0.0, (SIZE_PX, SIZE_PX)), slant, RADIUS_MM, marks, f)


@pytest.fixture(scope="module")
def from_two_sides():
    return [photographed(12.0, 0.0, 1), photographed(10.0, 170.0, 2, slice(0, 60))]


def test_heights_come_out_by_parallax_with_an_honest_sigma(from_two_sides):
    together = bundle(from_two_sides)
    root, tip = face()
    pins = together.pins[0]
    height = dict(zip(("told", "sigma"), (pins.height_mm, pins.height_sigma_mm), strict=True))
    off = (height["told"][:60] - tip[:60, 2]) / height["sigma"][:60]
    assert np.abs(off[7:]).max() < 3 and np.abs(np.mean(off[7:])) < 2
    assert np.all(height["sigma"][7:60] < 0.06) and np.all(pins.parallax_mm[:60] > 0.15)
    assert height["told"][SHORTER].mean() < 0.8 * np.median(height["told"])  # though pins are expected to be alike
    assert np.all(pins.parallax_mm[60:] == 0)  # one photograph alone shows these
    for joint, alone in zip(together.joints, from_two_sides, strict=True):
        assert joint.fit[1][15] == pytest.approx(together.joints[0].fit[1][15], abs=0.003)
        here, before = (one.plane.to_mm(one.fit[0].marks.foot_px) for one in (joint, alone))
        assert np.abs(here - before).max() < 0.08
    places = together.joints[0].plane.to_mm(pins.root_px)
    alone = _roots(from_two_sides[0])
    assert rms(places - root) < rms(alone - root) < 0.03


def rms(off):
    return float(np.sqrt(np.mean(np.sum(off**2, 1))))


def table(together):
    """The pins as they would stand in the table, without a slot's turn."""
    x, y = together.joints[0].plane.to_mm(together.pins[0].root_px).T
    r, theta = to_polar(x, y)
    kinds = [Condition.STUB, *[Condition.SOUND] * (PINS - 1)]
    return [
        Pin(k, Side.UPPER, float(r[k]), float(theta[k]) % 360, height_mm=0.5, condition=kinds[k]) for k in range(PINS)
    ]


def view_of(joint):
    matrix = tuple(float(v) for v in joint.plane.plane_to_px.ravel())
    return View("a.jpg", Side.UPPER, SIZE_PX, SIZE_PX, matrix, 0.0, (0.0, 0.0, AWAY_MM), True, RADIUS_MM)


def test_what_the_photographs_do_not_tell_is_blank_and_said(from_two_sides):
    together = bundle(from_two_sides)
    pins = with_shared(table(together), view_of(together.joints[0]), together.pins[0])
    by_id = {pin.id: pin for pin in pins}
    assert by_id[0].height_mm == 0.5  # a stub's is not told by standing pins
    assert by_id[20].height_mm == pytest.approx(0.46, abs=0.1) and 0 < by_id[20].height_sigma_mm < 0.08
    assert by_id[65].height_mm is None and by_id[65].height_sigma_mm is None
    assert "to 0.0" in about_heights(together.pins[0])
    one_side = bundle([from_two_sides[0], photographed(12.0, 4.0, 3)])
    assert "left blank" in about_heights(one_side.pins[0]) and "other way" in about_heights(one_side.pins[0])
    blank = with_shared(table(one_side), view_of(one_side.joints[0]), one_side.pins[0])
    assert all(pin.height_mm is None for pin in blank if pin.condition is Condition.SOUND)


def test_only_photographs_that_lie_on_one_another_are_solved_together(from_two_sides):
    first, other = from_two_sides
    assert bundle([first]) is None
    assert bundle([first, replace(other, fit=None)]) is None
    assert lie_together([first, replace(other, fit=None)]) == [0]
    marks = first.fit[0].marks
    mirrored = replace(marks, foot_px=marks.foot_px * [-1, 1] + [1999, 0], tip_px=marks.tip_px * [-1, 1] + [1999, 0])
    problem = first.fit[0]
    beside = settle_jointly(problem.plane, problem.slant, RADIUS_MM, mirrored)
    assert lie_together([first, other, beside]) == [0, 1]
    assert bundle([first, beside]) is None


def test_two_lenses_are_not_taken_for_one(from_two_sides):
    first, other = from_two_sides
    assert _one_lens(first, other)
    bent = replace(first, plane=replace(first.plane, k1=0.04), k1_sigma=0.001)
    assert not _one_lens(bent, replace(other, k1_sigma=0.001))
    zoomed = replace(other.shared, value=other.shared.value + np.array([0.5, 0.0]))
    assert not _one_lens(first, replace(other, shared=zoomed))


def test_slopes_against_differences(from_two_sides, monkeypatch):
    monkeypatch.setattr(bundle_state, "ODD", 1e6)  # weights are held while a step is found
    which, turns, roots = _points([_roots(joint) for joint in from_two_sides])
    shown = [ShownMarks(joint.fit[0], point) for joint, point in zip(from_two_sides, which, strict=True)]

    def state():
        one = FaceState(shown, np.array([joint.fit[1] for joint in from_two_sides]), np.array(turns), roots.copy())
        one.points[:, LEAN], one.points[:, TALLER] = [0.02, -0.01], 0.05
        return one

    def values(one):
        there = one.shown[1].problem.there(one.ats[1])
        return np.concatenate([part(1, there).values for part in (one._foot_rows, one._tip_rows)], 1)

    base = state()
    there = base.shown[1].problem.there(base.ats[1])
    rows = [part(1, there) for part in (base._foot_rows, base._tip_rows)]
    shared, mine = (np.concatenate([getattr(row, name) for row in rows], 1) for name in ("shared", "points"))
    small = 1e-6
    for number in (2, GAIN, SHIFT.start, base.turn_at + 1 - 20, base.short_at - 20):
        one = state()
        if number == base.turn_at + 1 - 20:
            one.turns = one.turns + np.array([0, small])
        elif number == base.short_at - 20:
            one.short += small
        else:
            one.ats[1, number] += small
        assert shared[..., number + 20] == pytest.approx((values(base) - values(one)) / small, abs=0.5, rel=0.01)
    for number in (*range(*ROOT.indices(9)), 2, 3, TALLER):
        one = state()
        one.points[:, number] += small
        assert mine[..., number] == pytest.approx((values(base) - values(one)) / small, abs=0.5, rel=0.01)
