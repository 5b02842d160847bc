"""The unknowns of several photographs of one face, and the normal equations there: what bundle.py steps on.

Shared ones in order: each photograph's SIZE numbers (plane/joint.py), each one's turn on the first, how short tips are
seen, the tracks' radii. A point's own: its root, its lean and by how much it is taller than the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.photo.plane.joint import (
    FLOOR_MM,
    FOCAL,
    GAIN,
    HEIGHT,
    HEIGHT_MM,
    HEIGHT_SHARE,
    K1,
    LEAN_MM,
    ROOT_SCALES,
    SETTING_MM,
    SHIFT,
    SIZE,
    STEP,
    TIGHT,
    WIDTH_MM,
    FaceProblem,
    MarksThere,
)
from disc.photo.plane.settle import heaps
from disc.photo.plane.shared_lens import FOCAL_APART

# A tip is seen short of the pin's end, towards its root: by 0.012 mm on faces of one renderer (h2, h3, h7), by nothing
# on another's (p2, p3, p7), alike at 0.07 to 0.3 mm of drawn length; mm, and its sigma.
SHORT_MM, SHORT_DOUBT_MM = 0.007, 0.008
BESIDE_MM = 0.03  # drawn shorter than this a tip lies over its foot, and is seen less short (h1: by 0.005 of 0.02 mm)
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
K1_APART = 0.002  # photographs of one camera, focused anew (as board/sheet_under.py)
ONE_HEIGHT_MM = 0.001  # the face's pins are the same ones in all photographs
# How much taller or less tall than the others a pin is, one sigma, mm; and one that leans
TALLER_MM, BENT_TALLER_MM = HEIGHT_SHARE * HEIGHT_MM, 0.075
POINT = 5  # numbers of a point: root (2), lean (2), how much it is taller, all mm; by definition
ROOT, LEAN, TALLER = slice(0, 2), slice(2, 4), 4  # where they stand, by definition
# Sigmas from which a reading counts less; beside its own a reading's is this, or a pin that is shorter than the others
# would be taken for one that was misread.
ODD, ASIDE_MM = 2.5, 0.03
FARTHEST_MM = 0.3  # a point goes in one round
LEAST_HEIGHT_MM = 0.1  # a fit that says less of its pins is not believed in that
MUCH_LEAN = 12.0  # squared sigmas of lean from which a pin is not one that stands upright
UNTURNED = 1e6  # weight by which the first photograph is held, 1 / rad


@dataclass(frozen=True, slots=True)
class ShownMarks:
    """One photograph: its problem, which point each of its marks is (n,), and whether it was taken as the first was."""

    problem: FaceProblem
    point: npt.NDArray[np.int_]
    one_lens: bool = True


def _way_slopes(drawn: FloatArray) -> FloatArray:
    """Of drawn_way's product, by drawn, (n, 2, 2)."""
    way, part = drawn_way(drawn)
    size = np.maximum(np.linalg.norm(drawn, axis=1), 1e-9)[:, None, None]
    along = way[:, :, None] * way[:, None, :]
    across, outward = part[..., None] / size, (1 - part[..., None]) * size / BESIDE_MM**2
    return np.asarray(across * (np.eye(2) - along) + outward * along)


@dataclass(frozen=True, slots=True)
class Normal:
    """The normal equations: of the shared unknowns (s, s), across (p, POINT, s), of each point (p, POINT, POINT), and
    the pulls (s,) and (p, POINT). cost: squared sigmas by which everything disagrees, odd readings counting less."""

    shared: FloatArray
    across: FloatArray
    points: FloatArray
    pull: FloatArray
    point_pull: FloatArray
    cost: float = 0.0


def turning(angle_rad: float) -> FloatArray:
    """The matrix (2, 2) that turns by an angle."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[c, -s], [s, c]])


def drawn_way(drawn: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Which way pins are drawn (n, 2), and how far each shows its tip beside its foot, (n, 1)."""
    size = np.linalg.norm(drawn, axis=1, keepdims=True)
    return drawn / np.maximum(size, 1e-9), 1 - np.exp(-0.5 * (size / BESIDE_MM) ** 2)


_QUARTER = np.array([[0.0, -1.0], [1.0, 0.0]])  # a quarter turn, by definition


class FaceState:
    """All unknowns: ats (k, SIZE), turns (k,), short, tracks (t,), points (p, POINT)."""

    def __init__(self, shown: Sequence[ShownMarks], ats: FloatArray, turns: FloatArray, roots: FloatArray) -> None:
        """roots (p, 2): where all begin, in the first photograph's view mm."""
        self.shown, self.ats, self.turns, self.short = shown, ats, turns, SHORT_MM
        self.points = np.zeros((len(roots), POINT))
        self.points[:, ROOT] = roots
        # How far a millimetre of height is drawn, held: were it to grow with the pins' common height, taller pins would
        # explain the tips' own errors by smaller differences among them, and be the likelier for it.
        self.drawn_per_mm = [self.drawn(k) / max(self.ats[k, HEIGHT], LEAST_HEIGHT_MM) for k in range(len(shown))]
        self._heap()

    def _heap(self) -> None:
        r = np.hypot(*self.points[:, ROOT].T)
        self.track, self.tracks = heaps(r, np.ones(len(r)), WIDTH_MM)

    @property
    def turn_at(self) -> int:
        """Where the turns stand among the shared unknowns."""
        return len(self.shown) * SIZE

    @property
    def short_at(self) -> int:
        """And how short tips are seen; the tracks' radii follow."""
        return self.turn_at + len(self.shown)

    def own(self, k: int) -> slice:
        """And the numbers of photograph k."""
        return slice(k * SIZE, (k + 1) * SIZE)

    def step(self) -> None:
        """One round of Gauss and Newton."""
        self._heap()
        normal = self.normal()
        inverse, less, reduced = reduced_normal(normal)
        wanted = normal.pull - np.einsum("pks,pk->s", less, normal.point_pull)
        unit = np.sqrt(np.diag(reduced))
        move = np.linalg.solve(reduced / unit / unit[:, None], wanted / unit) / unit
        points = np.einsum("pkl,pl->pk", inverse, normal.point_pull) - less @ move
        self.ats = self.ats + np.clip(move[: self.turn_at].reshape(-1, SIZE), -STEP, STEP)
        self.turns = self.turns + move[self.turn_at : self.short_at]
        self.short = float(self.short + move[self.short_at])
        self.points = self.points + np.clip(points, -FARTHEST_MM, FARTHEST_MM)

    def normal(self) -> Normal:
        """The normal equations at this state."""
        size, count = self.short_at + 1 + len(self.tracks), len(self.points)
        total = Normal(
            np.zeros((size, size)),
            np.zeros((count, POINT, size)),
            np.zeros((count, POINT, POINT)),
            np.zeros(size),
            np.zeros((count, POINT)),
        )
        cost = 0.0
        for k, one in enumerate(self.shown):
            there = one.problem.there(self.ats[k])
            rows, values = one.problem.rows_beside_pins(there, TIGHT[-1])
            total.shared[self.own(k), self.own(k)] += rows.T @ rows
            total.pull[self.own(k)] += rows.T @ values
            cost += float(values @ values)
            for part in (self._foot_rows(k, there), self._tip_rows(k, there)):
                _add(total, one.point, part)
                cost += part.cost
        every = np.arange(count)
        for part in (self._track_rows(), self._usual_rows()):
            _add(total, every, part)
            cost += float(np.sum(part.values**2))
        rows, values = self._shared_rows()
        total.shared[:] += rows.T @ rows
        total.pull[:] += rows.T @ values
        return replace(total, cost=cost + float(values @ values))

    def in_photo(self, k: int) -> FloatArray:
        """All roots (p, 2) as they lie in photograph k's own view mm."""
        return np.asarray(self.points[:, ROOT] @ turning(-self.turns[k]).T)

    def drawn(self, k: int) -> FloatArray:
        """How far photograph k draws a usual pin's tip from its root, (p, 2), in its view mm."""
        at = self.ats[k]
        return np.asarray(at[GAIN] * self.in_photo(k) - at[SHIFT])

    def _rows(self, k: int, slopes: FloatArray, off: FloatArray, sigma: FloatArray) -> tuple[_Rows, FloatArray]:
        """Rows of what is off (n, 2) along and across the slant, with slopes (n, 2, SIZE) by the photograph's own
        numbers, and the weights (n, 2, 2) of what is off; by turn and root they are alike for feet and tips."""
        one = self.shown[k]
        frame, n = one.problem.frame, len(off)
        far = np.sum((off @ frame.T / np.hypot(sigma, ASIDE_MM)) ** 2, 1)
        less = 1 + far / (2 * ODD**2)
        w = frame / sigma[..., None] / less[:, None, None]
        shared, mine = np.zeros((n, 2, self.short_at + 1 + len(self.tracks))), np.zeros((n, 2, POINT))
        shared[..., self.own(k)] = w @ slopes
        shared[..., self.turn_at + k] = (w @ (self.in_photo(k)[one.point] @ _QUARTER.T)[..., None])[..., 0]
        mine[..., ROOT] = -w @ turning(-self.turns[k])
        values = -(w @ off[..., None])[..., 0]
        return _Rows(shared, mine, values, float(np.sum(values**2 * less[:, None]))), w

    def _foot_rows(self, k: int, there: MarksThere) -> _Rows:
        """Feet of one photograph against the roots."""
        one = self.shown[k]
        return self._rows(k, there.slopes[0], there.two[0] - self.in_photo(k)[one.point], one.problem.foot)[0]

    def _tip_rows(self, k: int, there: MarksThere) -> _Rows:
        """Its tips against the roots, the lean, and how much farther a taller pin's is drawn."""
        one, at = self.shown[k], self.ats[k]
        here, drawn = self.in_photo(k)[one.point], self.drawn(k)[one.point]
        raised, back = 1 + at[GAIN], turning(-self.turns[k])
        way, part = drawn_way(drawn)
        lean, taller = self.points[one.point, LEAN] @ back.T, self.points[one.point, TALLER, None]
        tall = self.drawn_per_mm[k][one.point]
        beyond = lean + taller * tall - self.short * part * way
        moved = -self.short * _way_slopes(drawn) / raised  # by how it is drawn
        slopes = there.slopes[1].copy()
        slopes[..., GAIN] += beyond / raised**2 - (moved @ here[..., None])[..., 0]
        slopes[..., SHIFT] += moved
        sigma = ROOT_SCALES[1] * np.maximum(one.problem.marks.tip_mm, FLOOR_MM)[:, None] * np.ones(2)
        rows, weight = self._rows(k, slopes, there.two[1] - here - beyond / raised, sigma)
        rows.shared[..., self.turn_at + k] += (weight @ (lean @ _QUARTER.T / raised)[..., None])[..., 0]
        rows.shared[..., self.short_at] = (weight @ (part * way / raised)[..., None])[..., 0]
        rows.points[..., LEAN] = -weight @ back / raised
        rows.points[..., TALLER] = -(weight @ tall[..., None])[..., 0] / raised
        return rows

    def _track_rows(self) -> _Rows:
        """Each root against its track's radius."""
        xy = self.points[:, ROOT]
        r = np.hypot(*xy.T)
        off = r - self.tracks[self.track]
        w = 1 / SETTING_MM / (1 + (off / (ODD * SETTING_MM)) ** 2)
        shared, mine = np.zeros((len(r), 1, self.short_at + 1 + len(self.tracks))), np.zeros((len(r), 1, POINT))
        shared[np.arange(len(r)), 0, self.short_at + 1 + self.track] = -w
        mine[:, 0, ROOT] = xy / r[:, None] * w[:, None]
        return _Rows(shared, mine, (-off * w)[:, None])

    def _usual_rows(self) -> _Rows:
        """Pins stand upright and are equally tall, but for some."""
        lean, taller = self.points[:, LEAN], self.points[:, TALLER]
        upright = 1 / (1 + np.sum((lean / LEAN_MM) ** 2, 1) / MUCH_LEAN) ** 2
        w = np.sqrt(upright)[:, None] / LEAN_MM
        share = np.sqrt(upright * TALLER_MM**2 + (1 - upright) * BENT_TALLER_MM**2 + (taller / ODD) ** 2)
        mine = np.zeros((len(lean), 3, POINT))
        mine[:, :2, LEAN] = w[:, None] * np.eye(2)
        mine[:, 2, TALLER] = 1 / share
        value = np.column_stack([-lean * w, -taller / share])
        return _Rows(np.zeros((len(lean), 3, self.short_at + 1 + len(self.tracks))), mine, value)

    def _shared_rows(self) -> tuple[FloatArray, FloatArray]:
        """One lens and one height in all photographs; how short tips are seen; the first photograph is not turned."""
        size = self.short_at + 1 + len(self.tracks)
        first = self.shown[0].problem.plane
        rows, values = [np.zeros(size), np.zeros(size)], [0.0, (SHORT_MM - self.short) / SHORT_DOUBT_MM]
        rows[0][self.turn_at], rows[1][self.short_at] = UNTURNED, 1 / SHORT_DOUBT_MM
        for k, one in enumerate(self.shown[1:], 1):
            plane = one.problem.plane
            kinds = [(HEIGHT, ONE_HEIGHT_MM, 0.0)]
            if one.one_lens:
                kinds += [(FOCAL, FOCAL_APART, 0.0), (K1, K1_APART, plane.k1 - first.k1)]
            for number, sigma, apart in kinds:
                row = np.zeros(size)
                row[k * SIZE + number], row[number] = 1 / sigma, -1 / sigma
                rows.append(row)
                values.append((self.ats[0, number] - self.ats[k, number] - apart) / sigma)
        return np.array(rows), np.array(values)


@dataclass(frozen=True, slots=True)
class _Rows:
    """shared (n, r, s) and points (n, r, POINT): slopes of n points' rows, times a step values (n, r); cost."""

    shared: FloatArray
    points: FloatArray
    values: FloatArray
    cost: float = 0.0


def _add(total: Normal, point: npt.NDArray[np.int_], rows: _Rows) -> None:
    """point (n,): whose rows they are."""
    flat = rows.shared.reshape(-1, rows.shared.shape[-1])
    total.shared[:] += flat.T @ flat
    total.pull[:] += flat.T @ rows.values.ravel()
    turned = np.swapaxes(rows.points, 1, 2)
    np.add.at(total.across, point, turned @ rows.shared)
    np.add.at(total.points, point, turned @ rows.points)
    np.add.at(total.point_pull, point, (turned @ rows.values[..., None])[..., 0])


def reduced_normal(normal: Normal) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The points taken out: the inverses of their blocks (p, POINT, POINT), by how much each follows a step of the
    shared unknowns, against it (p, POINT, s), and what is left of theirs (s, s)."""
    inverse = np.linalg.inv(normal.points)
    less = inverse @ normal.across
    flat = normal.across.reshape(-1, normal.across.shape[-1])
    return np.asarray(inverse), less, np.asarray(normal.shared - flat.T @ less.reshape(flat.shape))
