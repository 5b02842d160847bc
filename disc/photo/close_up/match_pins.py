"""Where a handful of marks lies among a face's pins: turned, moved, scaled, perhaps mirrored.

Two marks and two pins make a guess; it is worth what all marks and pins then say: a mark on a pin speaks for it by
how much likelier it is there than one that just happens to be; marks without pins and pins without marks speak against.
What that leaves must outweigh how many places there are to be in (a disc's area, all turns, all scales).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
NEAR_MM = 0.055  # one sigma of a mark about its pin, both read, under a mild slant
REACH_MM = 0.22  # a mark belongs to a pin within it: four of NEAR_MM, by definition
# surest marks, and pairs of them, that guesses are made of (chosen: time grows with them)
MOST_MARKS, MOST_PAIRS = 14, 26
SHORTEST_MM = 0.7  # marks nearer to one another tell no turn
SCALE_OFF = 1.17  # a guess at the scale is good to this factor
LONE_MARK, UNSEEN_PIN = 1.2, 2.0  # what a mark without pin, a pin without mark count against, log-odds
BEST_GUESSES = 40  # guesses settled in full; chosen, four times as many are looked at
SHARED = 0.7  # of the pins of two matches that mean one place
GRID_MM = 0.03  # of the map for the first rough look; half of NEAR_MM
# Log of the number of places to be told apart: 400 mm2 by a sigma squared, turns of half a degree, scales of one per
# cent over a decade, mirrored or not.
PLACES = float(np.log(400 / NEAR_MM**2 * 720 * 230 * 2))
SHEAR = 0.05  # how far a slant draws a picture out of shape (18 degrees: 0.05)


@dataclass(frozen=True, slots=True)
class PinMatch:
    """matrix (2, 3): the marks' mm to the face's. pairs (k, 2): mark, pin. score: log-odds over lying elsewhere by
    chance; ahead: over the next best place."""

    matrix: FloatArray
    pairs: npt.NDArray[np.int_]
    score: float
    ahead: float

    @property
    def mirrored(self) -> bool:
        """Whether the picture shows the face the other way round."""
        return bool(np.linalg.det(self.matrix[:, :2]) < 0)

    @property
    def scale(self) -> float:
        """Face mm for one of the marks' mm."""
        return float(np.sqrt(abs(np.linalg.det(self.matrix[:, :2]))))

    def to_face(self, mm: FloatArray) -> FloatArray:
        """Marks' mm (n, 2) to the face's."""
        return mm @ self.matrix[:, :2].T + self.matrix[:, 2]


@dataclass(frozen=True, slots=True)
class Scene:
    """marks (n, 2) mm by a guessed scale, heat (n,); frame (4, 2): the picture's corners in the same; pins (m, 2) face
    mm, sure (m,) that each is one."""

    marks: FloatArray
    heat: FloatArray
    frame: FloatArray
    pins: FloatArray
    sure: FloatArray


def match(scene: Scene) -> PinMatch | None:
    """The best place for the marks; None where there are too few to say."""
    if len(scene.marks) < 3 or len(scene.pins) < 4:
        return None
    guesses = _guesses(scene)
    if not len(guesses):
        return None
    order = np.argsort(-_rough(scene, guesses), kind="stable")
    best: list[PinMatch] = []
    for k in order[: BEST_GUESSES * 4]:
        if len(best) >= BEST_GUESSES:
            break
        if any(_same_place(scene, guesses[k], one.matrix) for one in best[:6]):
            continue
        best.append(_settled(scene, guesses[k]))
    best.sort(key=lambda one: -one.score)
    first = best[0]
    rivals = [one.score for one in best[1:] if not is_same(first, one)]
    ahead = first.score - max(rivals, default=-PLACES)
    return PinMatch(first.matrix, first.pairs, first.score, ahead)


def _guesses(scene: Scene) -> FloatArray:
    """Similarities (h, 2, 3) by two marks on two pins, the marks as they are and mirrored."""
    marks = scene.marks[:MOST_MARKS]
    i, j = np.triu_indices(len(marks), 1)
    apart = np.linalg.norm(marks[i] - marks[j], axis=1)
    far = apart > SHORTEST_MM
    i, j, apart = i[far], j[far], apart[far]
    # The surest marks first, of these the farthest apart.
    order = np.argsort((i + j) * 0.15 - apart, kind="stable")[:MOST_PAIRS]
    gap = scene.pins[:, None] - scene.pins[None]
    between = np.linalg.norm(gap, axis=2)
    found = []
    pins = scene.pins @ [1, 1j]
    for a, b, d in zip(i[order], j[order], apart[order], strict=True):
        p, q = np.nonzero((between > d / SCALE_OFF) & (between < d * SCALE_OFF))
        for flip in (1.0, -1.0):
            points = marks @ [1, flip * 1j]
            turn = (pins[q] - pins[p]) / (points[b] - points[a])
            move = pins[p] - turn * points[a]
            matrix = np.array([[turn.real, -flip * turn.imag, move.real], [turn.imag, flip * turn.real, move.imag]])
            found.append(np.moveaxis(matrix, 2, 0))
    return np.concatenate(found) if found else np.zeros((0, 2, 3))


def _rough(scene: Scene, guesses: FloatArray) -> FloatArray:
    """How well marks lie on pins under each guess (h,), by a map of the nearest pin."""
    low = scene.pins.min(0) - 1.0
    size = np.ceil((scene.pins.max(0) + 1.0 - low) / GRID_MM).astype(int)
    gx, gy = (low[k] + GRID_MM * np.arange(size[k]) for k in (0, 1))
    worth = np.zeros((size[0], size[1]), np.float32)
    for x, y in scene.pins:
        a, b = np.searchsorted(gx, [x - REACH_MM, x + REACH_MM])
        c, d = np.searchsorted(gy, [y - REACH_MM, y + REACH_MM])
        square = (gx[a:b, None] - x) ** 2 + (gy[None, c:d] - y) ** 2
        worth[a:b, c:d] = np.maximum(worth[a:b, c:d], np.exp(-square / (2 * (1.4 * NEAR_MM) ** 2)))
    total = np.zeros(len(guesses))
    for mark, heat in zip(scene.marks[:MOST_MARKS], scene.heat, strict=False):
        at = guesses[:, :, :2] @ mark + guesses[:, :, 2]
        cell = ((at - low) / GRID_MM).astype(int)
        inside = np.all((cell >= 0) & (cell < size), axis=1)
        cell = np.where(inside[:, None], cell, 0)
        total += heat * np.where(inside, worth[cell[:, 0], cell[:, 1]], 0.0)
    return total


def _same_place(scene: Scene, a: FloatArray, b: FloatArray) -> bool:
    """Whether two placements put the picture's corners near one another."""
    there = [scene.frame @ m[:, :2].T + m[:, 2] for m in (a, b)]
    return bool(np.linalg.norm(there[0] - there[1], axis=1).max() < 6 * REACH_MM)


def is_same(a: PinMatch, b: PinMatch) -> bool:
    """Whether two matches lie on the same pins, as far as they do, and the same way round."""
    one, other = set(a.pairs[:, 1].tolist()), set(b.pairs[:, 1].tolist())
    return a.mirrored == b.mirrored and len(one & other) >= SHARED * min(len(one), len(other)) > 0


def _settled(scene: Scene, matrix: FloatArray) -> PinMatch:
    """The guess made exact on the marks that lie on pins; then what all say of it."""
    pairs = np.zeros((0, 2), int)
    for reach in (2.0 * REACH_MM, 1.3 * REACH_MM, REACH_MM):
        pairs = _pairs(scene, matrix, reach)
        if len(pairs) < 3:
            break
        matrix = _fit(scene.marks[pairs[:, 0]], scene.pins[pairs[:, 1]], matrix)
    pairs = _pairs(scene, matrix, REACH_MM)
    return PinMatch(matrix, pairs, _worth(scene, matrix, pairs) - PLACES, 0.0)


def _pairs(scene: Scene, matrix: FloatArray, reach: float) -> npt.NDArray[np.int_]:
    """Marks and pins that lie on one another, each once."""
    from scipy.optimize import linear_sum_assignment

    at = scene.marks @ matrix[:, :2].T + matrix[:, 2]
    gap = np.linalg.norm(at[:, None] - scene.pins[None], axis=2)
    i, j = linear_sum_assignment(np.minimum(gap, 2 * reach))
    near = gap[i, j] < reach
    return np.stack([i[near], j[near]], 1)


def _fit(marks: FloatArray, pins: FloatArray, near: FloatArray) -> FloatArray:
    """The affine map nearest to a similarity that lays marks (n, 2) on pins (n, 2)."""
    flip = np.array([1.0, np.sign(np.linalg.det(near[:, :2]))])
    x, y = (marks * flip).T
    one, none = np.ones_like(x), np.zeros_like(x)
    # Similarity (a, b, u, v), then two shears held by what a slant makes.
    rows = np.concatenate(
        [np.stack([x, -y, one, none, x, y], 1), np.stack([y, x, none, one, -y, x], 1), np.zeros((2, 6))]
    )
    scale = float(np.sqrt(abs(np.linalg.det(near[:, :2]))))
    rows[-2, 4] = rows[-1, 5] = NEAR_MM / (SHEAR * scale)
    a, b, u, v, s, t = np.linalg.lstsq(rows, np.concatenate([pins[:, 0], pins[:, 1], [0, 0]]), rcond=None)[0]
    return np.array([[a + s, (-b + t) * flip[1], u], [b + t, (a - s) * flip[1], v]])


def _worth(scene: Scene, matrix: FloatArray, pairs: npt.NDArray[np.int_]) -> float:
    at = scene.marks @ matrix[:, :2].T + matrix[:, 2]
    area = max(float(np.prod(np.ptp(scene.pins, axis=0))) * np.pi / 4, 1.0)
    density = len(scene.pins) / area
    off = at[pairs[:, 0]] - scene.pins[pairs[:, 1]]
    each = -np.log(2 * np.pi * NEAR_MM**2 * density) - np.sum(off**2, 1) / (2 * NEAR_MM**2)
    both = scene.heat[pairs[:, 0]] * scene.sure[pairs[:, 1]]
    lone = scene.heat.sum() - scene.heat[pairs[:, 0]].sum()
    unseen = _inside(scene, matrix)
    unseen[pairs[:, 1]] = False
    return float(np.sum(both * each) - LONE_MARK * lone - UNSEEN_PIN * scene.sure[unseen].sum())


def _inside(scene: Scene, matrix: FloatArray) -> npt.NDArray[np.bool_]:
    """Which pins the picture should show (m,), with a margin at its edges."""
    back = np.linalg.inv(np.vstack([matrix, [0, 0, 1]]))
    at = scene.pins @ back[:2, :2].T + back[:2, 2]
    low, high = scene.frame.min(0), scene.frame.max(0)
    margin = 0.35 / max(float(np.sqrt(abs(np.linalg.det(matrix[:, :2])))), 1e-6)
    return np.asarray(np.all((at > low + margin) & (at < high - margin), axis=1))
