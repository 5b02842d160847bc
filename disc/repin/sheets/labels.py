"""Where the hole numbers stand, so that none covers another, a hole or a pin.

Two ways: beside each mark, with a short line where it had to move off (the enlarged sheets); and on a ring outside the
rim (the sheets at 1:1, where nothing may be written on the plate itself). All places are page millimetres, y down.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from disc.repin.sheets.sheet import DIGIT_HEIGHT_EM, Point, text_width_mm

Box = tuple[float, float, float, float]  # left, top, right, bottom

DIRECTIONS = 24  # about the mark, tried for its number: every 15 degrees; chosen by hand
# Unless said otherwise: chosen by eye on the printed sheet.
# Distances from the edge of the mark to the number, mm on paper; the first that is free wins.
DISTANCES_MM = (0.5, 1.2, 2.2, 3.4, 4.8, 6.5, 8.5, 11.0, 14.0)
CROWD_MM = 8.0  # marks so near crowd one another: the most crowded choose their number's place first
AIR_MM = 0.25  # between a number and anything else


@dataclass(frozen=True, slots=True)
class Label:
    """A number's box, its centre, and where its line meets the mark (None: it stands right beside it)."""

    words: str
    centre: Point
    box: Box
    line_from: Point | None
    fits: bool


def place_beside(
    marks: Sequence[tuple[Point, str]],
    mark_radius_mm: float,
    size_mm: float,
    obstacles: Sequence[tuple[Point, float]] = (),
    blocked: Sequence[Box] = (),
    inside: Box | None = None,
) -> list[Label]:
    """A place for each number beside its mark, in the order given.

    marks: (centre, words). obstacles: other discs (centre, radius) to keep off. blocked: boxes to keep off. inside: the
    page's usable box. The most crowded marks choose first. fits is False where nothing within reach is free.
    """
    discs = [(centre, mark_radius_mm) for centre, _ in marks] + list(obstacles)
    crowd = [sum(math.dist(centre, other) < CROWD_MM for other, _ in discs) for centre, _ in marks]
    placed: dict[int, Label] = {}
    for index in sorted(range(len(marks)), key=lambda i: (-crowd[i], i)):
        taken = [label.box for label in placed.values()] + list(blocked)
        lines = [(label.line_from, label.centre) for label in placed.values() if label.line_from]
        placed[index] = _place(marks[index], index, mark_radius_mm, size_mm, discs, taken, lines, inside)
    return [placed[i] for i in range(len(marks))]


def _place(
    mark: tuple[Point, str],
    index: int,
    mark_radius_mm: float,
    size_mm: float,
    discs: Sequence[tuple[Point, float]],
    taken: Sequence[Box],
    lines: Sequence[tuple[Point, Point]],
    inside: Box | None,
) -> Label:
    centre, words = mark
    half_w, half_h = text_width_mm(words, size_mm) / 2.0, DIGIT_HEIGHT_EM * size_mm / 2.0
    best: Label | None = None
    for distance in DISTANCES_MM:
        for step in range(DIRECTIONS):
            angle = math.tau * step / DIRECTIONS - math.pi / 4.0  # the upper right is tried first
            ux, uy = math.cos(angle), math.sin(angle)
            reach = mark_radius_mm + distance + _half_extent(ux, uy, half_w, half_h)
            at = (centre[0] + ux * reach, centre[1] + uy * reach)
            box = (at[0] - half_w, at[1] - half_h, at[0] + half_w, at[1] + half_h)
            start = (centre[0] + ux * mark_radius_mm, centre[1] + uy * mark_radius_mm)
            label = Label(words, at, box, start if distance > DISTANCES_MM[0] else None, True)
            best = best or label
            others = [d for i, d in enumerate(discs) if i != index]
            if _is_free(label, others, taken, lines, inside):
                return label
    assert best is not None
    return Label(best.words, best.centre, best.box, best.line_from, False)


def _half_extent(ux: float, uy: float, half_w: float, half_h: float) -> float:
    """From a box's centre to its edge along a direction."""
    return min(half_w / abs(ux) if abs(ux) > 1e-9 else math.inf, half_h / abs(uy) if abs(uy) > 1e-9 else math.inf)


def _is_free(
    label: Label,
    discs: Sequence[tuple[Point, float]],
    taken: Sequence[Box],
    lines: Sequence[tuple[Point, Point]],
    inside: Box | None,
) -> bool:
    box = label.box
    if inside and not (box[0] >= inside[0] and box[1] >= inside[1] and box[2] <= inside[2] and box[3] <= inside[3]):
        return False
    if any(boxes_meet(box, other, AIR_MM) for other in taken):
        return False
    if any(_box_meets_disc(box, centre, radius + AIR_MM) for centre, radius in discs):
        return False
    if any(_box_meets_line(box, *line) for line in lines):
        return False
    if label.line_from is None:
        return True
    way = (label.line_from, label.centre)
    return not any(_distance_to_line(centre, *way) < radius + AIR_MM / 2 for centre, radius in discs) and not any(
        _box_meets_line(other, *way) for other in taken
    )


def boxes_meet(a: Box, b: Box, air_mm: float = 0.0) -> bool:
    """Whether two boxes come nearer than air_mm."""
    return not (a[2] + air_mm <= b[0] or b[2] + air_mm <= a[0] or a[3] + air_mm <= b[1] or b[3] + air_mm <= a[1])


def _box_meets_disc(box: Box, centre: Point, radius_mm: float) -> bool:
    dx = max(box[0] - centre[0], 0.0, centre[0] - box[2])
    dy = max(box[1] - centre[1], 0.0, centre[1] - box[3])
    return math.hypot(dx, dy) < radius_mm


def _distance_to_line(point: Point, start: Point, end: Point) -> float:
    length2 = (end[0] - start[0]) ** 2 + (end[1] - start[1]) ** 2
    if length2 == 0.0:
        return math.dist(point, start)
    along = ((point[0] - start[0]) * (end[0] - start[0]) + (point[1] - start[1]) * (end[1] - start[1])) / length2
    along = min(max(along, 0.0), 1.0)
    return math.dist(point, (start[0] + along * (end[0] - start[0]), start[1] + along * (end[1] - start[1])))


def _box_meets_line(box: Box, start: Point, end: Point) -> bool:
    """Clip the line against the box (Liang and Barsky's parameters)."""
    low, high = 0.0, 1.0
    for axis in (0, 1):
        way = end[axis] - start[axis]
        near, far = box[axis] - start[axis], box[axis + 2] - start[axis]
        if abs(way) < 1e-12:
            if near > 0 or far < 0:
                return False
            continue
        first, last = sorted((near / way, far / way))
        low, high = max(low, first), min(high, last)
    return low <= high


# ---- on a ring


def spread_on_ring(angles_deg: Sequence[float], apart_deg: float) -> list[float] | None:
    """Angles as near as can be to the given ones, at least apart_deg from each other all round; None: no room.

    The ring is cut in its widest gap and the angles are pooled where they are too close (isotonic regression, least
    squares). The order is kept; equal angles stay in the order given.
    """
    count = len(angles_deg)
    if count * apart_deg > 360.0:
        return None
    if count < 2:
        return list(angles_deg)
    order = sorted(range(count), key=lambda i: (angles_deg[i] % 360.0, i))
    around = [angles_deg[i] % 360.0 for i in order]
    gaps = [after - before for before, after in pairwise(around)] + [around[0] + 360.0 - around[-1]]
    cut = max(range(count), key=lambda k: gaps[k]) + 1
    order = order[cut:] + order[:cut]
    unrolled = [around[(cut + k) % count] + (360.0 if cut + k >= count else 0.0) for k in range(count)]
    spread = _pool([angle - k * apart_deg for k, angle in enumerate(unrolled)])
    placed = [value + k * apart_deg for k, value in enumerate(spread)]
    over = placed[-1] - placed[0] + apart_deg - 360.0
    if over > 0:  # the ends met at the cut: even spacing is the only way that is sure to fit
        placed = [placed[0] + over / 2.0 + k * 360.0 / count for k in range(count)]
    result = [0.0] * count
    for k, index in enumerate(order):
        result[index] = placed[k] % 360.0
    return result


def _pool(values: Sequence[float]) -> list[float]:
    """Nearest non-decreasing sequence (pool adjacent violators)."""
    blocks: list[list[float]] = []  # mean, count
    for value in values:
        blocks.append([value, 1.0])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            mean, count = blocks.pop()
            total = blocks[-1][0] * blocks[-1][1] + mean * count
            blocks[-1][1] += count
            blocks[-1][0] = total / blocks[-1][1]
    return [mean for mean, count in blocks for _ in range(int(count))]
