"""Walls between holes and edges against shapely's distances, and against a cloud of points for blind holes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon, box

from disc.records import Plate, Side
from disc.repin.work.metal_left import (
    LEAST_WALL_MM,
    Hole,
    drill_depths,
    edge_gaps,
    least_wall,
    wall_between,
    window_gap,
)

PLATE = Plate(30.0, thickness_mm=1.0, bore_mm=3.2, slot_width_mm=1.1, slot_depth_mm=0.9)
WINDOWS = ((4.0, 9.5, 20.0, 100.0), (5.0, 8.0, 300.0, 10.0), (3.0, 6.0, 120.0, 290.0))
# A polygon of 4 x 4096 sides lies inside its circle by R (1 - cos(pi / 16384)), below 1e-6 mm here.
FINE = 4096


def ring_part(window):
    r_in, r_out, start, end = window
    angles = np.radians(np.linspace(start, start + (end - start) % 360.0, 20001))
    outer = np.column_stack([r_out * np.cos(angles), r_out * np.sin(angles)])
    inner = np.column_stack([r_in * np.cos(angles[::-1]), r_in * np.sin(angles[::-1])])
    return Polygon(np.vstack([outer, inner]))


def test_edges_against_shapely():
    rim = LineString(Point(0, 0).buffer(PLATE.radius_mm, FINE).exterior.coords)
    bore = Point(0, 0).buffer(1.6, FINE).exterior
    slot = box(PLATE.radius_mm - 0.9, -0.55, PLATE.radius_mm + 5.0, 0.55)
    rng = np.random.default_rng(3)
    for _ in range(200):
        r, angle = 1.7 + 12.9 * math.sqrt(rng.uniform()), rng.uniform(0, math.tau)
        x, y = r * math.cos(angle), r * math.sin(angle)
        place = Point(x, y)
        if slot.contains(place):
            continue
        gaps = {name: gap for gap, name in edge_gaps(x, y, PLATE)}
        assert gaps["the rim"] == pytest.approx(rim.distance(place), abs=1e-5)
        assert gaps["the bore"] == pytest.approx(bore.distance(place), abs=1e-5)
        assert gaps["the stop slot"] == pytest.approx(slot.distance(place), abs=1e-9)


@pytest.mark.parametrize("window", WINDOWS)
def test_windows_against_shapely(window):
    shape = ring_part(window)
    rng = np.random.default_rng(4)
    for x, y in rng.uniform(-12, 12, (300, 2)):
        place = Point(x, y)
        true = -shape.exterior.distance(place) if shape.contains(place) else shape.distance(place)
        assert window_gap(float(x), float(y), window) == pytest.approx(true, abs=1e-5)


def test_walls_of_through_holes_against_shapely():
    rng = np.random.default_rng(5)
    for _ in range(100):
        ax, ay, bx, by = rng.uniform(-8, 8, 4)
        da, db = rng.uniform(0.15, 0.4, 2)
        a, b = Hole(Side.UPPER, ax, ay, da), Hole(Side.LOWER, bx, by, db)
        discs = Point(ax, ay).buffer(da / 2, 256), Point(bx, by).buffer(db / 2, 256)
        if not discs[0].intersects(discs[1]):
            assert wall_between(a, b, 1.0) == pytest.approx(discs[0].distance(discs[1]), abs=1e-5)


def test_wall_of_blind_holes_against_a_cloud_of_points():
    rng = np.random.default_rng(6)
    turn = np.linspace(0, math.tau, 181)
    for _ in range(40):
        apart, da, db = rng.uniform(0.0, 0.8), *rng.uniform(0.15, 0.4, 2)
        depth_a, depth_b = rng.uniform(0.2, 0.7, 2)
        a, b = Hole(Side.UPPER, 0, 0, da, depth_a), Hole(Side.LOWER, apart, 0, db, depth_b)
        between = 1.0 - depth_a - depth_b
        if between <= 0:
            assert wall_between(a, b, 1.0) == pytest.approx(apart - (da + db) / 2)
            continue
        share = np.linspace(0, 1, 11)[:, None]
        bottom_a = np.stack([da / 2 * share * np.cos(turn), da / 2 * share * np.sin(turn)], -1).reshape(-1, 2)
        bottom_b = np.stack([apart + db / 2 * np.cos(turn), db / 2 * np.sin(turn)], -1)
        sideways = 0.0 if apart < (da + db) / 2 else np.hypot(*(bottom_a[:, None] - bottom_b[None]).T).min()
        assert wall_between(a, b, 1.0) == pytest.approx(math.hypot(sideways, between), abs=1e-3)


def test_least_wall_names_what_is_near():
    hole = Hole(Side.UPPER, 10.0, 0.0, 0.3)
    others = [Hole(Side.LOWER, 10.5, 0.0, 0.3, None, "hole 7 (lower)"), Hole(Side.UPPER, 9.0, 0.0, 0.3, None, "far")]
    wall = least_wall(hole, others, PLATE)
    assert wall is not None and wall.to == "hole 7 (lower)" and wall.wall_mm == pytest.approx(0.2)
    alone = least_wall(Hole(Side.UPPER, 0.0, 14.5, 0.3), [], PLATE)
    assert alone is not None and alone.to == "the rim" and alone.wall_mm == pytest.approx(0.35)


def test_depths_share_the_plate_where_holes_meet():
    near = [Hole(Side.UPPER, 8, 0, 0.25, name="hole 1 (upper)"), Hole(Side.LOWER, 8.1, 0, 0.25, name="hole 2 (lower)")]
    depths = drill_depths(near, [], PLATE)
    assert [d.depth_mm for d in depths] == [0.45, 0.45]  # (1.0 - 0.10) / 2
    assert "hole 2 (lower) comes from the other face" in depths[0].words and not depths[0].is_tight
    placed = [Hole(h.side, h.x_mm, h.y_mm, h.diameter_mm, d.depth_mm) for h, d in zip(near, depths, strict=True)]
    assert wall_between(*placed, 1.0) >= LEAST_WALL_MM - 1e-9


def test_depth_alone_is_three_diameters_and_keeps_a_bottom():
    lone = Hole(Side.UPPER, 8, 0, 0.25)
    assert drill_depths([lone], [], PLATE)[0].depth_mm == 0.75
    thin = Plate(30.0, thickness_mm=0.6)
    assert drill_depths([lone], [], thin)[0].depth_mm == pytest.approx(0.5)  # 0.6 - 0.10
    paper = drill_depths([lone], [], Plate(30.0, thickness_mm=0.4))[0]
    assert paper.is_tight and "too thin" in paper.words


def test_standing_hole_opposite_is_to_be_gauged_and_unknown_thickness_said():
    hole, standing = Hole(Side.UPPER, 8, 0, 0.25), Hole(Side.LOWER, 8.2, 0, 0.25, None, "pin 9 (lower)")
    assert "pin 9 (lower) of the other face" in drill_depths([hole], [standing], PLATE)[0].words
    assert drill_depths([hole], [Hole(Side.UPPER, 8.2, 0, 0.25)], PLATE)[0].words == ""
    unknown = drill_depths([hole], [], Plate(30.0))[0]
    assert unknown.depth_mm is None and "measure" in unknown.words


def test_holes_of_one_face_are_side_by_side_at_any_depth():
    a, b = Hole(Side.UPPER, 8.0, 0.0, 0.25, 0.2), Hole(Side.UPPER, 8.4, 0.0, 0.25, 0.2)
    assert wall_between(a, b, 1.0) == pytest.approx(0.15)
