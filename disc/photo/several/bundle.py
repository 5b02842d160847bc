"""Several photographs of one face solved at once: every camera, and the pins as points that all of them show.

Unknown are each photograph's own numbers (plane/joint.py: plane, lens, slant, how its feet and rim are misread), the
turn of each on the first, and of every standing pin its root, its lean and how much taller it is than the others; the
lens and the pins' common height are held to be one. A pin's tip is drawn the farther from its root the taller the pin
is and the more it leans: seen from two sides the two part. Gauss-Newton steps, robustly weighed; the points are taken
out of the normal equations by blocks (Triggs and others, Bundle adjustment - a modern synthesis, 2000, section 6).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.photo.plane.joint import (
    FLOOR_MM,
    FOCAL,
    GAIN,
    HEIGHT,
    HEIGHT_SHARE,
    K1,
    LEAN_MM,
    ROOT_SCALES,
    SETTING_MM,
    SHIFT,
    SHOWN_MM,
    SIZE,
    STEP,
    TIGHT,
    WIDTH_MM,
    FaceProblem,
    Joint,
    MarksThere,
    joint_at,
)
from disc.photo.plane.settle import heaps
from disc.photo.plane.shared_lens import FOCAL_APART
from disc.photo.several.lay_on import lay_on

# A tip is seen short of the pin's end, towards its root: by 0.012 mm on faces of one renderer (h2, h3, h7), by nothing
# on another's (p2, p3, p7); mm, and its sigma.
SHORT_MM, SHORT_DOUBT_MM = 0.007, 0.007
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
MEET_MM = 0.15  # marks of two photographs that lie nearer are one pin
ROUNDS = 8
K1_APART = 0.002  # photographs of one camera, focused anew (as board/sheet_under.py)
ONE_HEIGHT_MM = 0.001  # the face's pins are the same ones in all photographs
BENT_SHARE = 0.15  # how much less tall than the others a leaning pin may be, one sigma
POINT = 5  # numbers of a point: root (2), lean (2), share by which it is taller; by definition
ROOT, LEAN, TALLER = slice(0, 2), slice(2, 4), 4  # where they stand, by definition
ODD = 2.5  # sigmas from which a reading counts less


@dataclass(frozen=True, slots=True)
class PinHeights:
    """Heights of standing pins by several photographs. foot_px (n, 2): their feet in one of these; height_mm, sigma_mm,
    parallax_mm (n,): how far apart their tips are drawn by the tilts alone, were the photographs laid on one another."""

    foot_px: FloatArray
    height_mm: FloatArray
    sigma_mm: FloatArray
    parallax_mm: FloatArray


@dataclass(frozen=True, slots=True)
class Bundled:
    """joints: of each photograph, as all of them together tell it; heights: of the pins, by their feet in each.
    roots, sigma: (p, 2) and (p,) mm of all points in the first photograph's view axes."""

    joints: tuple[Joint, ...]
    heights: tuple[PinHeights, ...]
    roots: FloatArray
    sigma: FloatArray


@dataclass(frozen=True, slots=True)
class _Shown:
    """One photograph: its problem, and which point each of its marks is (n,)."""

    problem: FaceProblem
    point: npt.NDArray[np.int_]


def bundle(joints: Sequence[Joint]) -> Bundled | None:
    """joints: of photographs of one face, each fitted by itself. None where one has too few standing pins, or the pins
    of two do not lie on one another."""
    fits = [joint.fit for joint in joints]
    if len(joints) < 2 or any(fit is None for fit in fits):
        return None
    problems, ats = [fit[0] for fit in fits if fit], [fit[1] for fit in fits if fit]
    found = _points([problem.roots(problem.there(at))[0] for problem, at in zip(problems, ats, strict=True)])
    if found is None:
        return None
    which, turns, roots = found
    shown = [_Shown(problem, point) for problem, point in zip(problems, which, strict=True)]
    state = _Face(shown, np.array(ats), np.array(turns), roots)
    for _ in range(ROUNDS):
        state.step()
    return state.told()


def _points(
    roots: Sequence[FloatArray],
) -> tuple[list[npt.NDArray[np.int_]], list[float], FloatArray] | None:
    """Which point each mark of each photograph is, by how much each is turned onto the first, and the points (p, 2)."""
    points = roots[0]
    which, turns = [np.arange(len(points))], [0.0]
    for mine in roots[1:]:
        laid = lay_on(points, mine)
        if not laid.fits:
            return None
        here = mine @ _turned(laid.turn_rad).T
        own = np.full(len(mine), -1)
        own[laid.pairs[:, 1]] = laid.pairs[:, 0]
        new = own < 0
        own[new] = len(points) + np.arange(new.sum())
        points = np.vstack([points, here[new]])
        which.append(own)
        turns.append(laid.turn_rad)
    return which, turns, points


def _turned(angle_rad: float) -> FloatArray:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[c, -s], [s, c]])


_QUARTER = np.array([[0.0, -1.0], [1.0, 0.0]])  # a quarter turn, by definition


class _Face:
    """State of all unknowns, and the normal equations there. Shared ones in order: each photograph's SIZE numbers, its
    turn, how short tips are seen, the tracks' radii."""

    def __init__(self, shown: Sequence[_Shown], ats: FloatArray, turns: FloatArray, roots: FloatArray) -> None:
        self.shown, self.ats, self.turns, self.short = shown, ats, turns, SHORT_MM
        self.points = np.zeros((len(roots), POINT))
        self.points[:, ROOT] = roots
        self.upright = np.ones(len(roots))
        self._heap()

    @property
    def _turn_at(self) -> int:
        return len(self.shown) * SIZE

    @property
    def _short_at(self) -> int:
        return self._turn_at + len(self.shown)

    @property
    def _shared(self) -> int:
        return self._short_at + 1 + len(self.tracks)

    def _heap(self) -> None:
        r = np.hypot(*self.points[:, ROOT].T)
        self.track, self.tracks = heaps(r, np.ones(len(r)), WIDTH_MM)

    def step(self) -> None:
        """One round."""
        self._heap()
        s, cross, blocks, pull, point_pull = self._normal()
        inverse = np.linalg.inv(blocks)
        less = inverse @ cross  # (p, POINT, shared)
        reduced = s - np.einsum("pks,pkt->st", cross, less)
        wanted = pull - np.einsum("pks,pk->s", less, point_pull)
        unit = np.sqrt(np.diag(reduced))
        move = np.linalg.solve(reduced / unit / unit[:, None], wanted / unit) / unit
        own = np.einsum("pkl,pl->pk", inverse, point_pull) - less @ move
        n = len(self.shown)
        self.ats = self.ats + np.clip(move[: self._turn_at].reshape(n, SIZE), -STEP, STEP)
        self.turns = self.turns + move[self._turn_at : self._short_at]
        self.short = float(self.short + move[self._short_at])
        self.points = self.points + np.clip(own, -0.3, 0.3)

    def _normal(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        """Of the shared unknowns (s, s), across (p, POINT, s), of each point (p, POINT, POINT), and the pulls."""
        size, count = self._shared, len(self.points)
        s, pull = np.zeros((size, size)), np.zeros(size)
        cross, blocks, own = np.zeros((count, POINT, size)), np.zeros((count, POINT, POINT)), np.zeros((count, POINT))

        def add(point: npt.NDArray[np.int_], shared: FloatArray, mine: FloatArray, value: FloatArray) -> None:
            """Rows (n, r) with slopes (n, r, s) and (n, r, POINT): slopes @ step = value."""
            flat = shared.reshape(-1, size)
            s[:] += flat.T @ flat
            pull[:] += flat.T @ value.ravel()
            np.add.at(cross, point, np.einsum("nrk,nrs->nks", mine, shared))
            np.add.at(blocks, point, np.einsum("nrk,nrl->nkl", mine, mine))
            np.add.at(own, point, np.einsum("nrk,nr->nk", mine, value))

        for k, one in enumerate(self.shown):
            there = one.problem.there(self.ats[k])
            rows, values = one.problem.rows_beside_pins(there, TIGHT[-1])
            mine = slice(k * SIZE, (k + 1) * SIZE)
            s[mine, mine] += rows.T @ rows
            pull[mine] += rows.T @ values
            add(one.point, *self._pin_rows(k, there))
        for rows, value in (self._alike_rows(), self._own_rows()):
            s += rows.T @ rows
            pull += rows.T @ value
        every = np.arange(count)
        add(every, *self._track_rows())
        add(every, *self._usual_rows())
        return s, cross, blocks, pull, own

    def _pin_rows(self, k: int, there: MarksThere) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Feet and tips of one photograph against the points, along and across its slant."""
        one, at = self.shown[k], self.ats[k]
        problem, point = one.problem, self.points[one.point]
        back, n = _turned(-self.turns[k]), len(one.point)
        here, raised = point[:, ROOT] @ back.T, 1 + at[GAIN]
        drawn = at[GAIN] * here - at[SHIFT]
        way, part = _way(drawn)
        lean, taller = point[:, LEAN] @ back.T, point[:, TALLER, None]
        foot_off = there.two[0] - here
        tip_off = there.two[1] - here - (lean + taller * drawn - self.short * part * way) / raised
        shared, mine = np.zeros((n, 4, self._shared)), np.zeros((n, 4, POINT))
        own = slice(k * SIZE, (k + 1) * SIZE)
        tip_slopes = there.slopes[1].copy()
        tip_slopes[..., GAIN] -= taller * here / raised
        tip_slopes[..., SHIFT] += taller[..., None] * np.eye(2) / raised
        spun = here @ _QUARTER.T
        frame = problem.frame
        foot_sigma = problem.foot
        tip_sigma = ROOT_SCALES[1] * np.maximum(problem.marks.tip_mm, FLOOR_MM)[:, None] * np.ones(2)
        for rows, off, slopes, sigma in (
            (slice(0, 2), foot_off, there.slopes[0], foot_sigma),
            (slice(2, 4), tip_off, tip_slopes, tip_sigma),
        ):
            far = np.sum((off @ frame.T / sigma) ** 2, 1)
            w = frame[None] / sigma[..., None] / (1 + far / ODD**2 / 2)[:, None, None]
            shared[:, rows, own] = w @ slopes
            shared[:, rows, self._turn_at + k] = (w @ spun[..., None])[..., 0]
            mine[:, rows, ROOT] = -w @ back
            if rows.start:
                shared[:, rows, self._short_at] = (w @ (part * way / raised)[..., None])[..., 0]
                mine[:, rows, LEAN] = -w @ back / raised
                mine[:, rows, TALLER] = -(w @ drawn[..., None])[..., 0] / raised
        value = -np.concatenate(
            [
                (frame[None] / s[..., None] / (1 + np.sum((o @ frame.T / s) ** 2, 1) / ODD**2 / 2)[:, None, None])
                @ o[..., None]
                for o, s in ((foot_off, foot_sigma), (tip_off, tip_sigma))
            ],
            1,
        )[..., 0]
        return shared, mine, value

    def _alike_rows(self) -> tuple[FloatArray, FloatArray]:
        """All photographs' lens and pins' height against the first's."""
        rows, values = [], []
        for k in range(1, len(self.shown)):
            same = self.shown[k].problem.plane.size == self.shown[0].problem.plane.size
            first, mine = self.shown[0].problem.plane.k1, self.shown[k].problem.plane.k1
            for number, sigma, plus in (
                (HEIGHT, ONE_HEIGHT_MM, 0.0),
                (FOCAL, FOCAL_APART if same else np.inf, 0.0),
                (K1, K1_APART if same else np.inf, mine - first),
            ):
                row = np.zeros(self._shared)
                row[k * SIZE + number], row[number] = 1 / sigma, -1 / sigma
                rows.append(row)
                values.append((self.ats[0, number] - self.ats[k, number] - plus) / sigma)
        return np.array(rows), np.array(values)

    def _own_rows(self) -> tuple[FloatArray, FloatArray]:
        """What is usual of the numbers that no photograph's problem holds: the first's turn is none."""
        rows = np.zeros((len(self.shown) + 1, self._shared))
        rows[np.arange(len(rows)), self._turn_at + np.arange(len(rows))] = [
            1e9,
            *([1e-3] * (len(self.shown) - 1)),
            1 / SHORT_DOUBT_MM,
        ]
        values = np.zeros(len(rows))
        values[-1] = (SHORT_MM - self.short) / SHORT_DOUBT_MM
        return rows, values

    def _track_rows(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Each root against its track's radius."""
        xy = self.points[:, ROOT]
        r = np.hypot(*xy.T)
        off = r - self.tracks[self.track]
        w = 1 / SETTING_MM / (1 + (off / (ODD * SETTING_MM)) ** 2)
        shared, mine = np.zeros((len(r), 1, self._shared)), np.zeros((len(r), 1, POINT))
        shared[np.arange(len(r)), 0, self._short_at + 1 + self.track] = -w
        mine[:, 0, ROOT] = xy / r[:, None] * w[:, None]
        return shared, mine, (-off * w)[:, None]

    def _usual_rows(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Pins stand upright and are equally tall, but for those that lean."""
        lean, taller = self.points[:, LEAN], self.points[:, TALLER]
        self.upright = 1 / (1 + np.sum((lean / LEAN_MM) ** 2, 1) / 12.0) ** 2
        w = np.sqrt(self.upright)[:, None] / LEAN_MM
        share = np.sqrt(self.upright * HEIGHT_SHARE**2 + (1 - self.upright) * BENT_SHARE**2)
        mine = np.zeros((len(lean), 3, POINT))
        mine[:, 0, 2] = mine[:, 1, 3] = w[:, 0]
        mine[:, 2, TALLER] = 1 / share
        value = np.column_stack([-lean * w, -taller / share])
        return np.zeros((len(lean), 3, self._shared)), mine, value

    def told(self) -> Bundled:
        """What came of it."""
        s, cross, blocks, _, _ = self._normal()
        inverse = np.linalg.inv(blocks)
        less = inverse @ cross
        reduced = s - np.einsum("pks,pkt->st", cross, less)
        unit = np.sqrt(np.diag(reduced))
        cov = np.linalg.inv(reduced / unit / unit[:, None]) / unit / unit[:, None]
        own = inverse + less @ cov @ np.swapaxes(less, 1, 2)
        with_height = -less[:, TALLER] @ cov[:, HEIGHT]
        tall, taller = self.ats[0, HEIGHT], self.points[:, TALLER]
        height = tall * (1 + taller)
        var = (1 + taller) ** 2 * cov[HEIGHT, HEIGHT] + tall**2 * own[:, TALLER, TALLER]
        sigma = np.sqrt(var + 2 * tall * (1 + taller) * with_height)
        joints, heights = [], []
        parallax = self._parallax()
        for k, one in enumerate(self.shown):
            mine = slice(k * SIZE, (k + 1) * SIZE)
            at = self.ats[k].copy()
            way, part = _way(-at[None, SHIFT])
            at[SHIFT] += self.short * (part * way)[0]  # as tips are seen
            joints.append(joint_at(one.problem, at, np.linalg.inv(cov[mine, mine])))
            heights.append(
                PinHeights(one.problem.marks.foot_px, height[one.point], sigma[one.point], parallax[one.point])
            )
        place = np.sqrt(np.trace(own[:, ROOT, ROOT], axis1=1, axis2=2) / 2)
        return Bundled(tuple(joints), tuple(heights), self.points[:, ROOT], place)

    def _parallax(self) -> FloatArray:
        """How far apart the photographs draw the tips, laid on one another, mm (p,); nothing of what one shows."""
        most = np.zeros(len(self.points))
        drawn = np.full((len(self.shown), len(self.points), 2), np.nan)
        for k, one in enumerate(self.shown):
            back = _turned(-self.turns[k])
            here = self.points[one.point, ROOT] @ back.T
            drawn[k, one.point] = (self.ats[k, GAIN] * here - self.ats[k, SHIFT]) @ back
        for a in range(len(drawn)):
            for b in range(a):
                most = np.fmax(most, np.linalg.norm(drawn[a] - drawn[b], axis=1))
        return most


def _way(drawn: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Which way pins are drawn (n, 2), and how far each shows its foot beside its tip, (n, 1)."""
    size = np.linalg.norm(drawn, axis=1, keepdims=True)
    return drawn / np.maximum(size, 1e-9), 1 - np.exp(-0.5 * (size / SHOWN_MM) ** 2)
