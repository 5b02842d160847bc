"""Clearances against shapely (GEOS), which knows nothing of discs, and against cases worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Point, box

from disc.check.mechanics.clearance import (
    DROP_ROOM_MM,
    close_walls,
    depth_in_rest_arc_deg,
    tip_clashes,
    tip_width_mm,
    track_gaps,
)
from disc.comb.bar import return_time_s
from disc.records import Comb, Condition, Pin, Plate, Side, Tooth, Turns

PLATE = Plate(26.0, Turns.CLOCKWISE, 40.0, 14.0)
COMB = Comb((Tooth(1, Side.UPPER, 8.0, 30.0, 80.0), Tooth(2, Side.UPPER, 8.6, 34.0, 82.0)))


def circle(pin: Pin) -> object:
    x = pin.r_mm * math.cos(math.radians(pin.theta_deg))
    y = pin.r_mm * math.sin(math.radians(pin.theta_deg))
    return Point(x, y).buffer(pin.diameter_mm / 2, quad_segs=64)


def some_pins(side: Side, count: int, seed: int) -> list[Pin]:
    rng = np.random.default_rng(seed)
    offset = 0 if side is Side.UPPER else 1000
    return [
        Pin(offset + i, side, float(rng.uniform(4, 12)), float(rng.uniform(0, 360)), float(rng.uniform(0.2, 0.3)))
        for i in range(count)
    ]


def test_walls_equal_the_distance_between_shapely_circles():
    upper, lower = some_pins(Side.UPPER, 40, 1), some_pins(Side.LOWER, 40, 2)
    shapes = {pin.id: circle(pin) for pin in (*upper, *lower)}
    found = {(w.first.id, w.second.id): w.wall_mm for w in close_walls(upper, lower, 0.6)}
    for a in upper:
        for b in lower:
            between = shapes[a.id].distance(shapes[b.id])
            if between > 0:
                # 64 segments a quarter: the polygon lies within 0.15 (1 - cos(pi / 256)) = 1.2e-5 mm of its circle.
                assert ((a.id, b.id) in found) == (between < 0.6 - 3e-5) or abs(between - 0.6) < 1e-4
                if (a.id, b.id) in found:
                    assert found[a.id, b.id] == pytest.approx(between, abs=1e-4)
            else:
                assert found[a.id, b.id] <= 1e-4
    assert found, "the case must hold close pairs"


def test_a_pin_in_both_lists_is_not_its_own_neighbour():
    pins = some_pins(Side.UPPER, 5, 3)
    assert all(w.first.id != w.second.id for w in close_walls(pins, pins, 50.0))
    assert len(close_walls(pins, pins, 50.0)) == 10  # 5 * 4 / 2 pairs


def test_gap_on_a_track_by_hand():
    # 2 degrees at 8.0 mm: 8.0 * 2 * pi / 180 = 0.2793 mm; 40 s a turn: 2 / 360 * 40 = 0.2222 s.
    a, b = Pin(1, Side.UPPER, 8.0, 100.0, 0.3, tooth=1), Pin(2, Side.UPPER, 8.0, 102.0, 0.3, tooth=1)
    close = [gap for gap in track_gaps((a, b), COMB, PLATE) if gap.is_too_close]
    assert len(close) == 1
    gap = close[0]
    assert (gap.first.id, gap.second.id) == (1, 2)  # clockwise, the smaller angle passes a tip at 30 degrees first
    assert gap.gap_mm == pytest.approx(0.27925, abs=5e-6)
    assert gap.gap_s == pytest.approx(0.22222, abs=5e-6)
    assert gap.need_mm == pytest.approx(0.3 + DROP_ROOM_MM)
    assert gap.need_s == pytest.approx(return_time_s(80.0))


def test_gap_over_the_stop_slot_and_only_playing_pins():
    a, b = Pin(1, Side.UPPER, 8.0, 359.5, 0.3, tooth=1), Pin(2, Side.UPPER, 8.0, 0.5, 0.3, tooth=1)
    assert any(gap.is_too_close and gap.gap_mm < 0.15 for gap in track_gaps((a, b), COMB, PLATE))
    gone = replace(b, condition=Condition.MISSING)
    assert track_gaps((a, gone), COMB, PLATE) == ()
    other = replace(b, tooth=2)
    assert track_gaps((a, other), COMB, PLATE) == ()


def test_too_soon_for_a_slow_tooth_though_there_is_room():
    # A low tooth on a fast disc: 3 degrees of a 10 s turn are 83 ms, at 12 mm they are 0.63 mm.
    comb = Comb((Tooth(1, Side.UPPER, 12.0, 0.0, 55.0),))
    pins = (Pin(1, Side.UPPER, 12.0, 90.0, 0.25, tooth=1), Pin(2, Side.UPPER, 12.0, 93.0, 0.25, tooth=1))
    gaps = track_gaps(pins, comb, replace(PLATE, diameter_mm=30.0, revolution_s=10.0))
    close = [gap for gap in gaps if gap.is_too_close]
    assert len(close) == 1 and close[0].gap_mm > close[0].need_mm and close[0].gap_s < close[0].need_s


@pytest.mark.parametrize(
    ("turned", "depth"),
    [(0.0, 7.0), (6.0, 1.0), (7.0, 0.0), (8.0, -1.0), (354.0, 1.0), (352.0, -1.0), (180.0, -173.0)],
)
def test_rest_arc_lies_evenly_about_rest(turned, depth):
    assert depth_in_rest_arc_deg(turned, 14.0) == pytest.approx(depth)


def test_tip_clash_against_a_shapely_box():
    """A tip is a radial strip: a box across the pin's way. Ours must clash exactly where shapely's overlap."""
    tracks, sides, width = {1: 8.0, 2: 8.6}, {1: Side.UPPER, 2: Side.UPPER}, {Side.UPPER: 0.2, Side.LOWER: 0.2}
    for off in np.linspace(-0.1, 0.6, 71):
        pin = Pin(1, Side.UPPER, 8.0 + float(off), 0.0, 0.25, tooth=1)
        strip = box(8.6 - 0.1, -1.0, 8.6 + 0.1, 1.0)
        overlap = circle(pin).intersection(strip).area
        if abs(abs(off - 0.6) - 0.225) < 1e-3:
            continue  # touching: either answer is right
        assert bool(tip_clashes((pin,), tracks, sides, width)) == (overlap > 1e-9)


def test_a_lean_counts_for_the_clash_and_the_other_face_does_not():
    tracks, sides, width = {1: 8.0, 2: 8.6}, {1: Side.UPPER, 2: Side.UPPER}, {Side.UPPER: 0.2, Side.LOWER: 0.2}
    upright = Pin(1, Side.UPPER, 8.0, 90.0, 0.25, tooth=1, lean_x_mm=0.0, lean_y_mm=0.0)
    outward = replace(upright, lean_y_mm=0.45)  # at 90 degrees, y points outward
    along = replace(upright, lean_x_mm=0.45)
    assert not tip_clashes((upright,), tracks, sides, width)
    assert [c.tooth for c in tip_clashes((outward,), tracks, sides, width)] == [2]
    assert not tip_clashes((along,), tracks, sides, width)
    assert not tip_clashes((replace(outward, side=Side.LOWER),), tracks, sides, width)


def test_tip_width_follows_the_closest_tracks():
    assert tip_width_mm(np.array([5.0, 9.0, 5.2]), 0.25) == pytest.approx(2 * (0.2 - 0.125 - 0.03))
    assert tip_width_mm(np.array([5.0]), 0.25) == tip_width_mm(np.array([5.0, 9.0]), 0.25)  # the widest there is
