"""The lens's distortion by straight lines beside the disc: the plumb-line method.

What is straight on the bench, a cutting mat's grid, a ruler's edge, a sheet's border, is drawn straight by a lens
without distortion and bowed by one with it, the more the farther it passes from the picture's middle. No disc about the
middle tells that; three long lines do. (D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37,
1971, pp. 855-866. Segments: R. Grompone von Gioi et al., "LSD: a line segment detector", IPOL 2, 2012.)

Lengths are in half diagonals of the picture, counted from its middle, unless a name says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.photo.image import Photo, opencv, shrunk
from disc.photo.plane.view import half_diagonal_px, undistorted_share

Grey = npt.NDArray[np.uint8]

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
LONGEST_PX = 700  # of the picture that is looked at: grain and brush strokes are gone there, edges are not
SHORTEST_SEGMENT, SEED = 0.02, 0.08  # of a line, and of the piece that it begins with
# How a line goes on in the next segment: its direction's change, a step back, the farthest gap, and how far beside.
TURN_RAD, BACK, GAP, BESIDE, BESIDE_SHARE = 0.026, 0.01, 0.25, 0.0033, 0.012
LINE, COVERED = 0.35, 0.4  # shortest line, and what part of it must be seen
APART, APART_RAD = 0.02, 0.03  # both edges of one drawn line count once
SAMPLES = 0.015  # a point in so much of a segment
# Where a segment lies is its whole edge's mean: a bow of a pixel is straightened in it. So each point is looked for
# anew, across the segment, so far and in such steps, px of the smaller picture; what is fainter than this is no edge.
ACROSS_PX, STEP_PX, FAINTEST_GREY = 3.0, 1.0, 3.0
EDGE = 0.00023  # how well an edge's place is told: 0.1 px of the smaller picture
PULLS = 2.0  # neighbouring points of an edge err alike: sigma times this
VAGUE, FEWEST_LINES = 0.006, 3  # a line that tells k1 worse is not heard; so many must agree
AGREE_SIGMAS, AGREE, AGREEING = 3.0, 0.001, 0.75  # within so many sigmas and so much; what part of the lines must
LARGEST = 0.08  # no lens for small objects bends more; a round tray's edge would
LEAST_SIGMA = 0.0015  # what a distortion of one number leaves of a true lens's; chosen with tests/bench/measure/lens.py
ROUNDED = 0.3  # sine of the most that a line of a lens that bends by LARGEST turns from end to end, and more
ROUNDS = 4  # of reweighing; the last changes k1 by less than a hundredth of its sigma


@dataclass(frozen=True, slots=True)
class LinesTold:
    """k1 as the lines tell it, with its sigma; lines: how many agree."""

    k1: float
    sigma: float
    lines: int


@dataclass(frozen=True, slots=True)
class _Line:
    """points (n, 2) along one edge of the scene; way: (2,) about its direction."""

    points: FloatArray
    way: FloatArray

    @property
    def beside(self) -> float:
        """How far it passes from the picture's middle, with a sign."""
        return float(np.median(self.points @ _normal(self.way)))


def lines_told(photo: Photo) -> LinesTold | None:
    """What straight things in the picture say of its lens; None where too few are seen, or where they disagree."""
    grey = _grey(photo)
    lines = [exact for line in _lines(_segments(grey)) if (exact := _on_edge(grey, line)) is not None]
    each = [(line, *_bow(line)) for line in lines]
    clear = sorted((item for item in each if item[2] < VAGUE and abs(item[1]) < LARGEST), key=lambda item: item[2])
    kept: list[tuple[_Line, float, float]] = []
    for item in clear:
        if not any(_same(item[0], other) for other, _, _ in kept):
            kept.append(item)
    if len(kept) < FEWEST_LINES:
        return None
    return _agreed(np.array([k1 for _, k1, _ in kept]), np.array([sigma for _, _, sigma in kept]))


def _agreed(k1: FloatArray, sigma: FloatArray) -> LinesTold | None:
    """What most lines (n,) say; None where they do not agree."""
    order = np.argsort(k1)
    heard = np.cumsum(1 / sigma[order] ** 2)
    middle = k1[order][np.searchsorted(heard, heard[-1] / 2)]
    agree = np.abs(k1 - middle) < AGREE_SIGMAS * sigma + AGREE
    if agree.sum() < FEWEST_LINES or agree.mean() < AGREEING:
        return None
    weight = 1 / sigma[agree] ** 2
    mean = float(weight @ k1[agree] / weight.sum())
    return LinesTold(mean, float(np.hypot(LEAST_SIGMA, weight.sum() ** -0.5)), int(agree.sum()))


def _grey(photo: Photo) -> Grey:
    """The photo made smaller, without its colours."""
    scale = min(1.0, LONGEST_PX / max(photo.width, photo.height))
    grey = opencv().cvtColor(photo.pixels, opencv().COLOR_BGR2GRAY)  # first: a channel is shrunk in a third of the time
    return shrunk(grey, round(photo.width * scale), round(photo.height * scale))


def _middle_and_half(grey: Grey) -> tuple[FloatArray, float]:
    """The middle (2,) and half the diagonal of a picture, its pixels."""
    size = (grey.shape[1], grey.shape[0])
    return (np.array(size, float) - 1) / 2, half_diagonal_px(size)


def _segments(grey: Grey) -> FloatArray:
    """Straight pieces of edges, (n, 2, 2): both ends of each."""
    cv2 = opencv()
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE).detect(grey)[0]
    if found is None:
        return np.zeros((0, 2, 2))
    middle, half = _middle_and_half(grey)
    ends = (found.reshape(-1, 2, 2).astype(float) - middle) / half
    return np.asarray(ends[np.hypot(*(ends[:, 1] - ends[:, 0]).T) > SHORTEST_SEGMENT])


def _on_edge(grey: Grey, line: _Line) -> _Line | None:
    """The line with each point where the picture changes most across it; None where it hardly does."""
    cv2 = opencv()
    middle, half = _middle_and_half(grey)
    off = np.arange(-ACROSS_PX, ACROSS_PX + STEP_PX / 2, STEP_PX)
    at = (line.points * half + middle)[:, None] + off[:, None] * _normal(line.way)
    x, y = at[..., 0].astype(np.float32), at[..., 1].astype(np.float32)
    change = np.diff(cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(float), axis=1)
    middle_of = len(off) // 2
    change *= np.sign(np.median(change[:, middle_of - 2 : middle_of + 2].sum(1)) or 1.0)  # of the line's other edge not
    best = np.clip(change.argmax(1), 1, change.shape[1] - 2)
    before, peak, after = (change[np.arange(len(best)), best + k] for k in (-1, 0, 1))
    curve = np.minimum(before - 2 * peak + after, -1e-6)
    found = off[best] + STEP_PX / 2 + STEP_PX * np.clip((before - after) / (2 * curve), -1, 1)
    clear = peak > FAINTEST_GREY * STEP_PX
    if clear.sum() < len(clear) / 2:
        return None
    moved = line.points + found[:, None] / half * _normal(line.way)
    return _Line(moved[clear], line.way)


def _lines(ends: FloatArray) -> list[_Line]:
    """Segments that go on in one another, from the longest on; ends: (n, 2, 2)."""
    step = ends[:, 1] - ends[:, 0]
    length = np.hypot(*step.T)
    way = step / length[:, None]
    free = np.ones(len(ends), bool)
    lines = []
    for first in np.argsort(-length):
        if length[first] < SEED:
            break
        if not free[first]:
            continue
        free[first] = False
        chain = [int(first)]
        # Of segments that lie across, none is ever reached: each step turns a little only.
        near = np.flatnonzero(free & (np.abs(way @ _normal(way[first])) < ROUNDED))
        some, left = (ends[near], way[near]), free[near]
        for sense in (1.0, -1.0):
            chain += [
                int(near[k]) for k in _onward(*some, left, ends[first, 1 if sense > 0 else 0], sense * way[first])
            ]
        free[near] = left
        along = ends[chain].reshape(-1, 2) @ way[first]
        if np.ptp(along) > LINE and length[chain].sum() > COVERED * np.ptp(along):
            lines.append(_Line(np.concatenate([_sampled(*ends[k]) for k in chain]), way[first]))
    return lines


def _onward(ends: FloatArray, way: FloatArray, free: FloatArray, at: FloatArray, along: FloatArray) -> list[int]:
    """The segments in which a line that ends at a point, (2,), goes on; they are no longer free."""
    chain: list[int] = []
    while True:
        sense = way @ along
        begins = np.where((sense > 0)[:, None], ends[:, 0], ends[:, 1]) - at
        gap, beside = begins @ along, np.abs(begins @ _normal(along))
        fits = free & (np.abs(sense) > np.cos(TURN_RAD)) & (gap > -BACK) & (gap < GAP)
        fits &= beside < BESIDE + BESIDE_SHARE * np.maximum(gap, 0)
        if not fits.any():
            return chain
        near = np.flatnonzero(fits)
        best = int(near[np.argmin(gap[near] + 5 * beside[near])])
        free[best] = False
        chain.append(best)
        at, along = (ends[best, 1], way[best]) if sense[best] > 0 else (ends[best, 0], -way[best])


def _sampled(a: FloatArray, b: FloatArray) -> FloatArray:
    """Points (n, 2) from a to b."""
    n = max(2, int(np.hypot(*(b - a)) / SAMPLES))
    return a + ((np.arange(n) + 0.5) / n)[:, None] * (b - a)


def _normal(way: FloatArray) -> FloatArray:
    return np.array([-way[1], way[0]])


def _same(a: _Line, b: _Line) -> bool:
    """Whether both are edges of one thing."""
    cross = float(a.way[0] * b.way[1] - a.way[1] * b.way[0])
    beside = b.beside if a.way @ b.way > 0 else -b.beside
    return abs(cross) < APART_RAD and abs(a.beside - beside) < APART


def _bow(line: _Line) -> tuple[float, float]:
    """The k1 that makes a line straight, and its sigma: of a line at d from the middle a point s along it is moved
    across by k1 d (d^2 + s^2)."""
    square = np.sum(line.points**2, 1)
    across, k1, sigma = _normal(line.way), 0.0, np.inf
    for _ in range(ROUNDS):
        straight = line.points * undistorted_share(k1 * square)[:, None]
        beside, along = straight @ across, straight @ line.way
        rows = np.column_stack([np.ones(len(along)), along, np.sum(straight**2, 1) * beside])
        weight = np.ones(len(along))
        for _ in range(ROUNDS):
            normal = (rows * weight[:, None] ** 2).T @ rows
            try:
                step = np.linalg.solve(normal, (rows * weight[:, None] ** 2).T @ beside)
            except np.linalg.LinAlgError:
                return 0.0, np.inf
            left = beside - rows @ step
            scatter = max(1.4826 * float(np.median(np.abs(left))), EDGE)
            weight = 1 / (1 + (left / (2.5 * scatter)) ** 2)
        k1 += float(np.clip(step[2], -LARGEST, LARGEST))
        sigma = PULLS * scatter * float(np.sqrt(np.linalg.inv(normal)[2, 2]))
        if abs(k1) > 2 * LARGEST:
            return 0.0, np.inf
    return k1, sigma
