"""Plane and slant made exact together, from feet, tips, tracks, rim and turned marks at once.

A pin's foot is often half hidden or in shadow, and what is taken for it lies a little off along the slant, alike on all
pins of a face; tips are seen more sharply. The tips lie on circles too, drawn larger and moved by the slant, so tracks
tell the slant's shift without the feet. Unknown are the plane's correction (as in settle.py), the slant's gain and
shift, the feet's common error, and the rim's. Robust Gauss-Newton steps; what they leave in doubt is kept as a
covariance, from which each place gets its share of the common error.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from disc.frame import FloatArray
from disc.photo.plane import Plane
from disc.photo.settle import CORRECTION_PARTS, EXPECTED, RIM_OFF_MM, RIM_VOICES, heaps, in_mm
from disc.photo.settle import correction as correction_of
from disc.photo.shared import Shared
from disc.photo.slant import Slant
from disc.photo.turned import Turned

# Natural lean of a pin set upright, per axis, mm (common practice, no source).
LEAN_MM = 0.012
# Pins of one disc differ in height by some per cent (common practice, no source).
HEIGHT_SHARE = 0.03
# The feet's common error on rendered faces that the networks were not trained on: 0.01-0.04 mm, any direction.
FOOT_BIAS_MM = 0.02
# Squared on a foot is hidden and taken for the tip: the feet's error grows outwards by a part like this of the radius.
FOOT_GROWTH = 0.0007
# The networks' own sigmas of foot and tip times these are found of their difference on such faces; and the weights that
# give the best roots there: neighbouring feet err alike, so that a foot knows less of its place than its own scatter
# says. Along the slant a foot is told worse than across.
APART_SCALES, ROOT_SCALES = (1.3, 1.1), (1.6, 0.9)
ALONG, ACROSS, SHOWN_MM = 1.15, 0.75, 0.08
FLOOR_MM = 0.004
# Setting error about a track with what is left of lean; half width of a heap; the least scatter of rim points. All
# chosen on rendered faces outside the development set; the result hardly depends on them.
SETTING_MM, WIDTH_MM, RIM_FLOOR_MM = 0.025, 0.045, 0.02
ROUNDS = 6
# Order of the unknowns.
THETA, GAIN, SHIFT, BIAS, RIM = slice(0, 8), 8, slice(9, 11), slice(11, 13), slice(13, 15)
HEIGHT, FOCAL, MIDDLE, GROWTH = 15, 16, slice(17, 19), 19
SIZE = 20
STEP = np.full(SIZE, 0.05)
STEP[FOCAL], STEP[HEIGHT] = 0.3, 0.1
# Pins' height, mm; log of the lens's focal length in picture widths (angles of view of 8 to 50 degrees); the optical
# axis beside the picture's middle, in widths, some doubt being left to pictures that were cut out of larger ones.
HEIGHT_MM, HEIGHT_DOUBT_MM = 0.5, 0.16
FOCAL_WIDTHS, FOCAL_DOUBT = 3.0, 0.6
MIDDLE_DOUBT = 0.03
# Most cameras give straight lines, some bend them by per cents: a Cauchy belief about k1 (common practice, no source).
DISTORTION = 0.012
# Pins that do not stand as the slant says count this much towards the doubt (rendered faces that no network saw).
ASLANT_COUNTS = 2.0
# A pinhole's picture obeys these exactly; they are drawn tight in the course of the rounds.
TIGHT = (0.02, 0.006, 0.002, 0.001, 0.0005)


@dataclass(frozen=True, slots=True)
class Marks:
    """What is fitted. foot_px, tip_px: (n, 2) of likely standing pins; foot_mm, tip_mm: (n,) networks' sigmas.

    rim_px: (m, 2) on the rim; rim_mm: their scatter. slot_px: (2,) about where the stop slot is, None if not known.
    turned: what concentric marks on the face say.
    """

    foot_px: FloatArray
    tip_px: FloatArray
    foot_mm: FloatArray
    tip_mm: FloatArray
    rim_px: FloatArray
    rim_mm: float
    slot_px: FloatArray | None = None
    turned: Turned | None = None


@dataclass(frozen=True, slots=True)
class Joint:
    """plane, slant and the feet's common error (view mm); common_mm: what the fit leaves in doubt of
    all places alike, one sigma per axis, r.m.s. over the face; misfit: how many times more its parts disagree with one
    another than they should, at least 1. shared: None where too few pins stand."""

    plane: Plane
    slant: Slant
    bias: tuple[float, float]
    growth: float
    common_mm: float
    scatter_mm: float
    shared: Shared | None = None
    misfit: float = 1.0

    def turned(self, angle_rad: float) -> Joint:
        """The same in a view whose x axis lies at what is now angle_rad."""
        c, s = np.cos(angle_rad), np.sin(angle_rad)
        back = np.array([[c, s], [-s, c]])
        shift, bias = back @ np.asarray(self.slant.shift), back @ np.asarray(self.bias)
        slant = Slant(self.slant.gain, (float(shift[0]), float(shift[1])), self.slant.sigma_mm, self.slant.pins)
        return replace(self, plane=self.plane.turned(angle_rad), slant=slant, bias=(float(bias[0]), float(bias[1])))


def spreads(
    foot_mm: FloatArray, tip_mm: FloatArray, slant: Slant, scales: tuple[float, float] = ROOT_SCALES
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(frame (2, 2): along and across the slant as rows; sigma of feet (n, 2) and of upright tips (n, 2) in it), mm."""
    shift = -np.asarray(slant.shift)
    shown = float(np.hypot(*shift))
    way = shift / shown if shown > 1e-6 else np.array([1.0, 0.0])
    frame = np.array([way, [-way[1], way[0]]])
    part = 1 - np.exp(-0.5 * (shown / SHOWN_MM) ** 2)
    skew = np.array([1 + (ALONG - 1) * part, 1 + (ACROSS - 1) * part])
    foot = scales[0] * np.maximum(foot_mm, FLOOR_MM)[:, None] * skew
    tip = np.hypot(scales[1] * np.maximum(tip_mm, FLOOR_MM), LEAN_MM)[:, None] * np.ones(2)
    tip[:, 0] = np.hypot(tip[:, 0], HEIGHT_SHARE * shown)
    return frame, foot, tip


def settle_jointly(
    plane: Plane,
    slant: Slant,
    radius_mm: float,
    marks: Marks,
    focal_px: float | None = None,
    others: Shared | None = None,
) -> Joint:
    """The best of all. plane, slant: where it begins, good to a track's width or so. others: told by other photos."""
    problem = _Problem(plane, radius_mm, marks, slant, focal_px, others)
    at = np.zeros(SIZE)
    at[GAIN], at[SHIFT] = slant.gain, slant.shift
    at[HEIGHT] = HEIGHT_MM
    at[FOCAL] = problem.log_focal
    normal = np.eye(SIZE)
    for k in range(ROUNDS):
        rows, values = problem.rows(at, TIGHT[min(k, len(TIGHT) - 1)])
        normal = rows.T @ rows
        unit = np.sqrt(np.diag(normal))  # to one scale first: the unknowns differ by thousands
        step = np.linalg.solve(normal / unit / unit[:, None], rows.T @ values / unit) / unit
        at = at + np.clip(step, -STEP, STEP)
    left, upright = problem.left_over(at)
    size = float(np.sqrt(np.mean(left[upright] ** 2))) if upright.any() else slant.sigma_mm
    found = Slant(float(max(at[GAIN], 0.0)), (float(at[9]), float(at[10])), max(size, 0.003), int(upright.sum()))
    better = problem.moved(at)
    return Joint(
        better,
        found,
        (float(at[11]), float(at[12])),
        float(at[GROWTH]),
        problem.common(at, normal),
        problem.scatter(at),
        problem.told(at, normal),
        problem.misfit(at, float(1 - upright.mean())),
    )


def feet_put_right(joint: Joint, foot: FloatArray) -> FloatArray:
    """Feet (n, 2) in the plane's view mm without their common error."""
    return foot / (1 + joint.growth) - np.asarray(joint.bias)


def upright_share(left: FloatArray, foot: FloatArray, tip: FloatArray) -> FloatArray:
    """How far a tip that is off by left (n, 2) still speaks for its root; all along and across, mm."""
    far = np.sum((left / np.hypot(foot, tip)) ** 2, 1)
    return np.asarray(1 / (1 + far / 6.0) ** 2)


class _Problem:
    """Rows of the normal problem at a state of the unknowns."""

    def __init__(
        self,
        plane: Plane,
        radius_mm: float,
        marks: Marks,
        slant: Slant,
        focal_px: float | None,
        others: Shared | None,
    ) -> None:
        self.plane, self.radius_mm, self.marks, self.others = plane, radius_mm, marks, others
        self.log_focal = float(np.log(focal_px / plane.size[0] if focal_px else FOCAL_WIDTHS))
        self.focal_doubt = 0.05 if focal_px else FOCAL_DOUBT
        self.frame, self.foot, self.tip = spreads(marks.foot_mm, marks.tip_mm, slant)
        self.stands = np.ones(len(marks.foot_px))
        rings = np.zeros((0, 2)) if marks.turned is None else marks.turned.ring_px.reshape(-1, 2)
        slot = np.zeros((0, 2)) if marks.slot_px is None else marks.slot_px[None]
        parts = (marks.foot_px, marks.tip_px, marks.rim_px.reshape(-1, 2), rings, slot)
        self.all_px = np.concatenate(parts)
        ends = np.cumsum([0, *map(len, parts)])
        self.feet, self.tips, self.rim, self.rings, self.slot = (slice(a, b) for a, b in pairwise(ends))
        self.state, self.here = b"", (self.all_px, self.all_px)  # of the last call of marks_mm
        self.way = self._begun(0.0)[self.rim, :2]
        self.way = self.way / np.linalg.norm(self.way, axis=1, keepdims=True)

    def _begun(self, k1: float) -> FloatArray:
        """All marks in the plane it begins with, (n, 3) in radii; only the distortion changes them."""
        xy = replace(self.plane, k1=self.plane.k1 + k1).to_mm(self.all_px) / self.radius_mm
        return np.concatenate([xy, np.ones((len(xy), 1))], 1)

    def marks_mm(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """All marks, one after the other, in view mm (n, 2), and their slopes (n, 2, SIZE)."""
        if self.state == at.tobytes():
            return self.here
        eps = 1e-6
        c = correction_of(at[THETA])
        point = self._begun(float(at[7]))
        q = point @ c.T
        mm = q[:, :2] / q[:, 2:] * self.radius_mm
        moved = np.einsum("kab,nb->nak", CORRECTION_PARTS, point)
        slopes = np.zeros((*mm.shape, SIZE))
        slopes[..., :7] = (moved[:, :2] * self.radius_mm - mm[..., None] * moved[:, 2:]) / q[:, 2, None, None]
        bent = self._begun(float(at[7]) + eps) @ c.T
        slopes[..., 7] = (bent[:, :2] / bent[:, 2:] * self.radius_mm - mm) / eps
        self.state, self.here = at.tobytes(), (mm, slopes)
        return self.here

    def moved(self, at: FloatArray) -> Plane:
        return self.plane.corrected(in_mm(correction_of(at[THETA]), self.radius_mm), self.plane.k1 + float(at[7]))

    def two_roots(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Roots as the feet and as upright tips tell them, (2, n, 2) mm, and their slopes (2, n, 2, SIZE)."""
        mm, slopes = self.marks_mm(at)
        foot, foot_slopes = mm[self.feet] / (1 + at[GROWTH]), slopes[self.feet] / (1 + at[GROWTH])
        foot_slopes[..., GROWTH] = -foot / (1 + at[GROWTH])
        foot_slopes[..., BIAS] = -np.eye(2)
        tip, tip_slopes = (mm[self.tips] + at[SHIFT]) / (1 + at[GAIN]), slopes[self.tips] / (1 + at[GAIN])
        tip_slopes[..., GAIN] = -tip / (1 + at[GAIN])
        tip_slopes[..., SHIFT] = np.eye(2) / (1 + at[GAIN])
        return np.stack([foot - at[BIAS], tip]), np.stack([foot_slopes, tip_slopes])

    def left_over(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Lean and error of each tip, (n, 2) along and across, and which pins stand upright (n,)."""
        (by_foot, by_tip), _ = self.two_roots(at)
        left = (by_tip - by_foot) @ self.frame.T
        return left, np.hypot(*(left / np.hypot(self.foot, self.tip)).T) < 3.5

    def roots(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Foot and tip weighed together, (n, 2) mm, and their slopes (n, 2, SIZE)."""
        (by_foot, by_tip), (foot_slopes, tip_slopes) = self.two_roots(at)
        foot, tip = 1 / self.foot**2, self.stands[:, None] / self.tip**2
        share = (tip / (foot + tip))[:, :, None] * self.frame  # of the tip, along and across
        share = self.frame.T @ share
        root = by_foot + (share @ (by_tip - by_foot)[..., None])[..., 0]
        return root, foot_slopes + share @ (tip_slopes - foot_slopes)

    def scatter(self, at: FloatArray) -> float:
        r = np.hypot(*self.roots(at)[0].T)
        label, tracks = heaps(r, np.ones(len(r)), WIDTH_MM)
        return float(1.4826 * np.median(np.abs(r - np.array(tracks)[label])))

    def common(self, at: FloatArray, normal: FloatArray) -> float:
        """Doubt of the places as they will be told: from the slot on, which the plane's error moves too."""
        root, slopes = self.roots(at)
        if self.marks.slot_px is not None:
            mm, moved = self.marks_mm(at)
            (x, y), (dx, dy) = mm[self.slot][0], moved[self.slot][0]
            turn = (x * dy - y * dx) / (x * x + y * y)  # of the slot; all places are turned back by it
            slopes = slopes + np.stack([root[:, 1, None] * turn, -root[:, 0, None] * turn], 1)
        return float(np.sqrt(np.mean(np.einsum("nai,ij,naj->na", slopes, np.linalg.inv(normal), slopes))))

    def misfit(self, at: FloatArray, aslant: float) -> float:
        """From what had to be put down to feet, rim and height, and what the turned marks still say otherwise.

        aslant: share of the pins that do not stand as the slant would have them; of these some belong to a wrong slant.
        """
        put_down = [at[BIAS] / FOOT_BIAS_MM, at[RIM] / RIM_OFF_MM, (at[[HEIGHT]] - HEIGHT_MM) / HEIGHT_DOUBT_MM]
        if self.marks.turned is not None:
            put_down.append(self._turned_rows(at, self.marks.turned)[1])
        return max(1.0, float(np.mean(np.concatenate(put_down) ** 2))) * (1 + ASLANT_COUNTS * aslant)

    def rows(self, at: FloatArray, tight: float) -> tuple[FloatArray, FloatArray]:
        """All rows (k, SIZE) and values (k,): rows @ step = values in the sense of least squares."""
        left, _ = self.left_over(at)
        self.stands = upright_share(left, self.foot, self.tip)
        parts = [self._priors(at), self._pin_rows(at)]
        eps = 1e-6
        here, *beside = self.pinhole(np.vstack([at, at + eps * np.eye(SIZE)]))
        slopes = (np.stack(beside, 1) - here[:, None]) / eps
        parts.append((slopes / tight, -here / tight))
        if len(self.marks.rim_px):
            parts.append(self._rim_rows(at))
        if self.marks.turned is not None:
            parts.append(self._turned_rows(at, self.marks.turned))
        if self.others is not None:
            parts.append(self._rows_of_others(at, self.others))
        return np.vstack([p[0] for p in parts]), np.concatenate([p[1] for p in parts])

    def _priors(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        sigma = np.concatenate([EXPECTED, [1.0, 1.0, 1.0], [FOOT_BIAS_MM] * 2, [RIM_OFF_MM] * 2])
        sigma = np.concatenate([sigma, [HEIGHT_DOUBT_MM, self.focal_doubt], [MIDDLE_DOUBT] * 2, [FOOT_GROWTH]])
        wish = np.zeros(SIZE)
        wish[HEIGHT], wish[FOCAL] = HEIGHT_MM, self.log_focal
        bent = self.plane.k1 + at[7]
        sigma[7], wish[7] = np.sqrt((DISTORTION**2 + bent**2) / 2), -self.plane.k1
        keep = np.ones(SIZE, bool)
        keep[GAIN] = keep[SHIFT] = False
        return np.diag(1 / sigma)[keep], ((wish - at) / sigma)[keep]

    def _rows_of_others(self, at: FloatArray, others: Shared) -> tuple[FloatArray, FloatArray]:
        half = np.linalg.cholesky(others.weight).T
        rows = np.zeros((2, SIZE))
        rows[:, [FOCAL, HEIGHT]] = half
        return rows, half @ (others.value - at[[FOCAL, HEIGHT]])

    def told(self, at: FloatArray, normal: FloatArray) -> Shared:
        """What this photo alone says of what all share: the fit's answer less what was put in beforehand."""
        both = [FOCAL, HEIGHT]
        expected = np.diag([1 / self.focal_doubt**2, 1 / HEIGHT_DOUBT_MM**2])
        wish = expected @ np.array([self.log_focal, HEIGHT_MM])
        weight = np.linalg.inv(np.linalg.inv(normal)[np.ix_(both, both)])
        pull = weight @ at[both] - wish
        weight = weight - expected
        if self.others is not None:
            pull, weight = pull - self.others.weight @ self.others.value, weight - self.others.weight
        size, way = np.linalg.eigh(weight)
        weight = (way * np.maximum(size, 1e-3)) @ way.T
        return Shared(np.linalg.solve(weight, pull), weight)

    def _pin_rows(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Each tip against its foot, and each root against its track, the track's mean moving along."""
        here, slopes = self.two_roots(at)
        (foot, tip), (foot_slopes, tip_slopes) = here @ self.frame.T, self.frame @ slopes
        w = np.sqrt(self.stands)[:, None] / np.hypot(self.foot, self.tip)
        apart = ((tip_slopes - foot_slopes) * w[..., None]).reshape(-1, SIZE), ((foot - tip) * w).ravel()
        root, root_slopes = self.roots(at)
        r = np.hypot(*root.T)
        outward = np.einsum("na,nas->ns", root / r[:, None], root_slopes)
        both = 1 / self.foot**2 + self.stands[:, None] / self.tip**2
        spread = np.hypot(np.sqrt(np.mean(1 / both, 1)), SETTING_MM)
        on_track = _about_means(r, outward, spread)
        return np.vstack([apart[0], on_track[0]]), np.concatenate([apart[1], on_track[1]])

    def _rim_rows(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        r, slopes = self._radii(at, self.rim)
        here = r - self.radius_mm - self.way @ at[RIM]
        slopes[:, RIM] = -self.way
        sigma = max(self.marks.rim_mm, RIM_FLOOR_MM)
        w = np.sqrt(min(1.0, RIM_VOICES / len(here))) / sigma / (1 + (here / (2.5 * sigma)) ** 2)
        return slopes * w[:, None], -here * w

    def _turned_rows(self, at: FloatArray, turned: Turned) -> tuple[FloatArray, FloatArray]:
        """The middles of the rings that stand for the turned marks: the first harmonic of their radii."""
        n = len(turned.way)
        r, slopes = self._radii(at, self.rings)
        here = 2 / n * np.einsum("qn,na->aq", r.reshape(2, n), turned.way)
        moved = 2 / n * np.einsum("qns,na->aqs", slopes.reshape(2, n, SIZE), turned.way)
        half = np.swapaxes(np.linalg.cholesky(turned.weight), 1, 2)
        return (half @ moved).reshape(-1, SIZE), -(half @ here[..., None]).ravel()

    def _radii(self, at: FloatArray, which: slice) -> tuple[FloatArray, FloatArray]:
        """Of some of the marks: (n,) mm and slopes (n, SIZE)."""
        mm, slopes = self.marks_mm(at)
        r = np.hypot(*mm[which].T)
        return r, np.einsum("na,nas->ns", mm[which] / r[:, None], slopes[which])

    def pinhole(self, at: FloatArray) -> FloatArray:
        """What is zero for a pinhole, of states (m, SIZE): two of the plane, three of the slant seen from there."""
        h = self.plane.plane_to_px @ np.linalg.inv(in_mm(correction_of(at[:, THETA]), self.radius_mm))
        width, height = self.plane.size
        h[:, 0] -= (width - 1) / 2 * h[:, 2]
        h[:, 1] -= (height - 1) / 2 * h[:, 2]
        h[:, :2] = (h[:, :2] / width - at[:, MIDDLE, None] * h[:, 2:]) / np.exp(at[:, FOCAL])[:, None, None]
        one, two, t = np.moveaxis(h, 2, 0)
        square = (np.sum(one * one, 1) + np.sum(two * two, 1)) / 2
        tilted = np.stack([np.sum(one * two, 1), np.sum(one * one - two * two, 1) / 2], 1) / square[:, None]
        eye = -np.stack([np.sum(one * t, 1), np.sum(two * t, 1)], 1) / square[:, None]
        eye_z = np.abs(np.sum(np.cross(one, two) * t, 1)) / square**1.5
        gain = at[:, GAIN]
        stands = 3 * (at[:, SHIFT] - gain[:, None] * eye)
        return np.column_stack([tilted, stands, gain * eye_z / (1 + gain) - at[:, HEIGHT]])


def _about_means(r: FloatArray, slopes: FloatArray, spread: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Rows of radii (n,) with slopes (n, SIZE) about the means of their heaps, robustly weighed."""
    label, tracks = heaps(r, 1 / spread**2, WIDTH_MM)
    left = r - np.array(tracks)[label]
    slopes = slopes.copy()
    w = 1 / spread / (1 + (left / (2.5 * spread)) ** 2)
    for k in range(len(tracks)):
        mine = label == k
        share = w[mine] ** 2 / np.sum(w[mine] ** 2)
        left[mine] = r[mine] - share @ r[mine]
        slopes[mine] -= share @ slopes[mine]
    return slopes * w[:, None], -left * w
