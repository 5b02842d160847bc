"""Plane and slant made exact together, from feet, tips, tracks, rim and turned marks at once.

A pin's foot is often half hidden or in shadow, and what is taken for it lies a little off along the slant, alike on all
pins of a face; tips are seen more sharply. The tips lie on circles too, drawn larger and moved by the slant, so tracks
tell the slant's shift without the feet. Unknown are the plane's correction (as in settle.py), the slant's gain and
shift, the feet's common error, and the rim's. Robust Gauss-Newton steps; what they leave in doubt is kept as a
covariance, from which each place gets its share of the common error.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from disc.frame import FloatArray
from disc.photo.marks.slant import Slant
from disc.photo.plane.correction import CORRECTION_PARTS, Carried, best_step, corrected, correction, in_mm
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.known_lens import KnownLens, known_rows, numbers_of
from disc.photo.plane.settle import EXPECTED, RIM_OFF_MM, RIM_VOICES, about_means, centre_rows, heaps
from disc.photo.plane.shared_lens import Shared
from disc.photo.plate.turned import Turned

# Natural lean of a pin set upright, per axis, mm (common practice, no source).
LEAN_MM = 0.012
# Pins of one disc differ in height by some per cent (common practice, no source).
HEIGHT_SHARE = 0.03
# The feet's common error on rendered faces that the networks were not trained on: 0.01-0.04 mm, any direction.
FOOT_BIAS_MM = 0.02
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Squared on a foot is hidden and taken for the tip: the feet's error grows outwards by a part like this of the radius.
FOOT_GROWTH = 0.0007
# The networks' own sigmas of foot and tip times these are found of their difference on such faces; and the weights that
# give the best roots there: neighbouring feet err alike, so that a foot knows less of its place than its own scatter
# says. Along the slant a foot is told worse than across.
APART_SCALES, ROOT_SCALES = (1.3, 1.1), (1.6, 0.9)
# As said above, on rendered faces; mm an upright pin must show to hide its foot so.
ALONG, ACROSS, SHOWN_MM = 1.15, 0.75, 0.08
FLOOR_MM = 0.004  # sigma of a place is never taken for less; chosen by hand
# Setting error about a track with what is left of lean; half width of a heap; the least scatter of rim points. All
# chosen on rendered faces outside the development set; the result hardly depends on them.
SETTING_MM, WIDTH_MM, RIM_FLOOR_MM = 0.025, 0.045, 0.02
# Order of the unknowns.
THETA, K1, GAIN, SHIFT, BIAS, RIM = slice(0, 8), 7, 8, slice(9, 11), slice(11, 13), slice(13, 15)
HEIGHT, FOCAL, MIDDLE, GROWTH = 15, 16, slice(17, 19), 19  # of one number each
SIZE = 20  # how many unknowns there are
STEP = np.full(SIZE, 0.05)  # farthest an unknown goes in one round; chosen by hand
STEP[FOCAL], STEP[HEIGHT] = 0.3, 0.1
# Pins' height, mm; log of the lens's focal length in picture widths (angles of view of 8 to 50 degrees); the optical
# axis beside the picture's middle, in widths, some doubt being left to pictures that were cut out of larger ones.
HEIGHT_MM, HEIGHT_DOUBT_MM = 0.5, 0.16
FOCAL_WIDTHS, FOCAL_DOUBT = 3.0, 0.6  # widths, and log sigma; chosen by hand to span those angles
MIDDLE_DOUBT = 0.03  # widths, as said above
# Most cameras give straight lines, some bend them by per cents: a Cauchy belief about k1 (common practice, no source).
DISTORTION = 0.012
# One photo of a disc about its middle tells k1 to 0.05-0.08 (the fit's own covariance on h1, h2, h3, h6): not at all.
# Of cameras that bend lines some have 0.03 either way, most have none: this is what both together scatter by. Over 17
# discs of two renderers r.m.s. 0.0082 (one's alone 0, the other's 0.012); all else that a sigma holds is true without
# it: 0.72 and 0.95 of the places lie within one and two.
K1_DOUBT = 0.008
# Pins that do not stand as the slant says count this much towards the doubt (rendered faces that no network saw).
ASLANT_COUNTS = 2.0
# Over a measuring sheet tilt and perspective are known, and the rim, a circle on plain paper, tells the middle by
# itself; turned marks, which light moves all alike, say half as much there. On twelve composed photographs places stay
# as they are so (0.0185 mm), on two rendered ones they come from 0.0146 to 0.0124 mm; all were looked at in choosing.
TURNED_OVER_SHEET = 0.5
# A pinhole's picture obeys these exactly; they are drawn tight in the course of the rounds.
TIGHT = (0.02, 0.006, 0.002, 0.001, 0.0005, 0.0005)
SMALL = 1e-6  # a step of the correction
ROUNDS_MORE = 4  # once other photos are heard


@dataclass(frozen=True, slots=True)
class PinMarks:
    """What is fitted. foot_px, tip_px: (n, 2) of likely standing pins; foot_mm, tip_mm: (n,) networks' sigmas.

    rim_px: (m, 2) on the rim; rim_mm: their scatter. slot_px, centre_px: (2,) about where the stop slot and the arbor's
    centre are, None if not known.
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
    centre_px: FloatArray | None = None


@dataclass(frozen=True, slots=True)
class Joint:
    """plane, slant and the feet's common error (view mm); common_mm: what the fit leaves in doubt of all places alike,
    one sigma per axis, r.m.s. over the face; k1_sigma: and of the lens's distortion, which is not in it; misfit: how
    many times more its parts disagree with one another than they should, at least 1. shared: None where too few pins
    stand. fit: what was fitted, and the state of its unknowns (before any turn), to go on from."""

    plane: Plane
    slant: Slant
    bias: tuple[float, float]
    growth: float
    common_mm: float
    scatter_mm: float
    shared: Shared | None = None
    misfit: float = 1.0
    fit: tuple[FaceProblem, FloatArray] | None = None
    k1_sigma: float = K1_DOUBT

    @property
    def log_focal(self) -> float | None:
        """Of the lens, in picture widths; None where too few pins stand to fit it."""
        return None if self.fit is None else float(self.fit[1][FOCAL])

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
    marks: PinMarks,
    focal_px: float | None = None,
    known: KnownLens | None = None,
) -> Joint:
    """The best of all. plane, slant: where it begins, good to a track's width or so. known: of lens and tilt."""
    problem = FaceProblem(plane, radius_mm, marks, slant, focal_px, known)
    at = np.zeros(SIZE)
    at[GAIN], at[SHIFT] = slant.gain, slant.shift
    at[HEIGHT] = HEIGHT_MM
    at[FOCAL] = problem.log_focal
    return _fitted(problem, at, TIGHT)


def heard_others(joint: Joint, others: Shared) -> Joint:
    """The fit gone on with, other photos of the disc being heard; what few pins told stays as it is."""
    heard = hearing(joint, others)
    return heard if heard.fit is None else _fitted(*heard.fit, TIGHT[-1:] * ROUNDS_MORE)


def hearing(joint: Joint, others: Shared | None) -> Joint:
    """The same, its problem hearing the others from now on."""
    if joint.fit is None or others is None:
        return joint
    problem = copy(joint.fit[0])
    problem.others = others
    return replace(joint, fit=(problem, joint.fit[1]))


def _fitted(problem: FaceProblem, at: FloatArray, tight: tuple[float, ...]) -> Joint:
    normal = np.eye(SIZE)
    for width in tight:
        step, normal = best_step(*problem.rows(problem.there(at), width))
        at = at + np.clip(step, -STEP, STEP)
    return joint_at(problem, at, normal)


def joint_at(problem: FaceProblem, at: FloatArray, normal: FloatArray) -> Joint:
    """What a state of the unknowns says; normal (SIZE, SIZE): the inverse of its covariance."""
    there = problem.there(at)
    left, upright = problem.left_over(there)
    size = float(np.sqrt(np.mean(left[upright] ** 2))) if upright.any() else problem.slant.sigma_mm
    found = Slant(float(max(at[GAIN], 0.0)), (float(at[9]), float(at[10])), max(size, 0.003), int(upright.sum()))
    return Joint(
        corrected(problem.plane, at[THETA], problem.radius_mm),
        found,
        (float(at[11]), float(at[12])),
        float(at[GROWTH]),
        problem.common(there, normal),
        problem.scatter(there),
        problem.told(at, normal),
        problem.misfit(there, float(1 - upright.mean())),
        (problem, at),
        problem.k1_sigma(at, normal),
    )


def feet_put_right(joint: Joint, foot: FloatArray) -> FloatArray:
    """Feet (n, 2) in the plane's view mm without their common error."""
    return foot / (1 + joint.growth) - np.asarray(joint.bias)


def upright_share(left: FloatArray, foot: FloatArray, tip: FloatArray) -> FloatArray:
    """How far a tip that is off by left (n, 2) still speaks for its root; all along and across, mm."""
    far = np.sum((left / np.hypot(foot, tip)) ** 2, 1)
    return np.asarray(1 / (1 + far / 6.0) ** 2)


@dataclass(frozen=True, slots=True)
class MarksThere:
    """A state of the unknowns, at (SIZE,), and where it puts things.

    mm, moved: all marks (2, m), view mm, and their slopes by THETA (8, 2, m). two: roots as the feet and as upright
    tips tell them, (2, n, 2) mm; slopes: theirs, (2, n, 2, SIZE).
    """

    at: FloatArray
    mm: FloatArray
    moved: FloatArray
    two: FloatArray
    slopes: FloatArray


class FaceProblem:
    """One photo's face as a problem of least squares: its rows at a state of the unknowns."""

    def __init__(
        self,
        plane: Plane,
        radius_mm: float,
        marks: PinMarks,
        slant: Slant,
        focal_px: float | None,
        known: KnownLens | None = None,
    ) -> None:
        self.plane, self.radius_mm, self.marks, self.slant = plane, radius_mm, marks, slant
        self.others: Shared | None = None  # what other photos told
        self.known = known
        told = known.focal_px(plane.size[0]) if known else None
        focal_px = told or focal_px
        self.log_focal = float(np.log(focal_px / plane.size[0] if focal_px else FOCAL_WIDTHS))
        self.focal_doubt = 0.05 if focal_px and told is None else FOCAL_DOUBT
        self.frame, self.foot, self.tip = spreads(marks.foot_mm, marks.tip_mm, slant)
        self.stands = np.ones(len(marks.foot_px))
        rings = np.zeros((0, 2)) if marks.turned is None else marks.turned.ring_px.reshape(-1, 2)
        slot, centre = (np.zeros((0, 2)) if one is None else one[None] for one in (marks.slot_px, marks.centre_px))
        parts = (marks.foot_px, marks.tip_px, marks.rim_px.reshape(-1, 2), rings, slot, centre)
        self.carried = Carried(plane, radius_mm, np.concatenate(parts))
        ends = np.cumsum([0, *map(len, parts)])
        self.feet, self.tips, self.rim, self.rings, self.slot, self.centre = (slice(a, b) for a, b in pairwise(ends))
        begun, _ = self.carried.mm(np.zeros(8))
        self.way = begun[:, self.rim].T
        self.way = self.way / np.linalg.norm(self.way, axis=1, keepdims=True)

    def there(self, at: FloatArray) -> MarksThere:
        """Where all marks lie, and the roots that feet and upright tips tell."""
        all_mm, moved = self.carried.mm(at[THETA])
        mm, by_theta = all_mm.T, moved.transpose(2, 1, 0)
        grown, raised = 1 + at[GROWTH], 1 + at[GAIN]
        foot, tip = mm[self.feet] / grown, (mm[self.tips] + at[SHIFT]) / raised
        slopes = np.zeros((2, len(foot), 2, SIZE))
        slopes[0, ..., THETA], slopes[1, ..., THETA] = by_theta[self.feet] / grown, by_theta[self.tips] / raised
        slopes[0, ..., GROWTH], slopes[1, ..., GAIN] = -foot / grown, -tip / raised
        slopes[0, ..., BIAS], slopes[1, ..., SHIFT] = -np.eye(2), np.eye(2) / raised
        return MarksThere(at, all_mm, moved, np.stack([foot - at[BIAS], tip]), slopes)

    def left_over(self, there: MarksThere) -> tuple[FloatArray, FloatArray]:
        """Lean and error of each tip, (n, 2) along and across, and which pins stand upright (n,)."""
        by_foot, by_tip = there.two
        left = (by_tip - by_foot) @ self.frame.T
        return left, np.hypot(*(left / np.hypot(self.foot, self.tip)).T) < 3.5

    def roots(self, there: MarksThere) -> tuple[FloatArray, FloatArray]:
        """Foot and tip weighed together, (n, 2) mm, and their slopes (n, 2, SIZE)."""
        (by_foot, by_tip), (foot_slopes, tip_slopes) = there.two, there.slopes
        foot, tip = 1 / self.foot**2, self.stands[:, None] / self.tip**2
        share = (tip / (foot + tip))[:, :, None] * self.frame  # of the tip, along and across
        share = self.frame.T @ share
        root = by_foot + (share @ (by_tip - by_foot)[..., None])[..., 0]
        return root, foot_slopes + share @ (tip_slopes - foot_slopes)

    def scatter(self, there: MarksThere) -> float:
        """Of the roots about their tracks, mm."""
        r = np.hypot(*self.roots(there)[0].T)
        label, tracks = heaps(r, np.ones(len(r)), WIDTH_MM)
        return float(1.4826 * np.median(np.abs(r - tracks[label])))

    def common(self, there: MarksThere, normal: FloatArray) -> float:
        """Doubt of the places as they will be told: from the slot on, which the plane's error moves too."""
        root, slopes = self.roots(there)
        if self.marks.slot_px is not None:
            (x, y), moved = (part[..., self.slot][..., 0] for part in (there.mm, there.moved))
            turn = np.zeros(SIZE)  # of the slot; all places are turned back by it
            turn[THETA] = (x * moved[:, 1] - y * moved[:, 0]) / (x * x + y * y)
            slopes = slopes + np.stack([root[:, 1, None] * turn, -root[:, 0, None] * turn], 1)
        rest = np.arange(SIZE) != K1
        slopes, normal = slopes[..., rest], normal[np.ix_(rest, rest)]
        return float(np.sqrt(np.mean(np.einsum("nai,ij,naj->na", slopes, np.linalg.inv(normal), slopes))))

    def k1_sigma(self, at: FloatArray, normal: FloatArray) -> float:
        """What is left in doubt of the distortion: by the photo, what is known of the lens, and K1_DOUBT."""
        told = 1 / float(np.linalg.inv(normal)[K1, K1]) - 1 / self._k1_belief(at) ** 2
        return float(np.sqrt(1 / (max(told, 0.0) + 1 / K1_DOUBT**2)))

    def _k1_belief(self, at: FloatArray) -> float:
        """Sigma of what is believed beforehand, for a step from here."""
        return float(np.sqrt((DISTORTION**2 + (self.plane.k1 + at[K1]) ** 2) / 2))

    def misfit(self, there: MarksThere, aslant: float) -> float:
        """From what had to be put down to feet, rim and height, and what the turned marks still say otherwise.

        aslant: share of the pins that do not stand as the slant would have them; of these some belong to a wrong slant.
        """
        at = there.at
        put_down = [at[BIAS] / FOOT_BIAS_MM, at[RIM] / RIM_OFF_MM, (at[[HEIGHT]] - HEIGHT_MM) / HEIGHT_DOUBT_MM]
        if self.marks.turned is not None:
            put_down.append(self._turned_rows(there, self.marks.turned)[1])
        return max(1.0, float(np.mean(np.concatenate(put_down) ** 2))) * (1 + ASLANT_COUNTS * aslant)

    def rows(self, there: MarksThere, tight: float) -> tuple[FloatArray, FloatArray]:
        """All rows (k, SIZE) and values (k,): rows @ step = values in the sense of least squares."""
        left, _ = self.left_over(there)
        self.stands = upright_share(left, self.foot, self.tip)
        pins, beside = self._pin_rows(there), self.rows_beside_pins(there, tight)
        return np.vstack([pins[0], beside[0]]), np.concatenate([pins[1], beside[1]])

    def rows_beside_pins(self, there: MarksThere, tight: float) -> tuple[FloatArray, FloatArray]:
        """The rows of everything but the pins: what is usual, the pinhole, rim, turned marks, arbor, what is known."""
        at = there.at
        parts = [self._priors(at)]
        here, slopes = self.pinhole(at)
        parts.append((slopes / tight, -here / tight))
        if len(self.marks.rim_px):
            parts.append(self._rim_rows(there))
        if self.marks.turned is not None:
            parts.append(self._turned_rows(there, self.marks.turned))
        if self.marks.centre_px is not None:
            rows, values = centre_rows(there.mm[:, self.centre], there.moved[..., self.centre])
            parts.append((np.hstack([rows, np.zeros((2, SIZE - 8))]), values))
        if self.others is not None:
            parts.append(self._rows_of_others(at, self.others))
        if self.known is not None:
            parts.append(self._known_rows(at, self.known))
        return np.vstack([p[0] for p in parts]), np.concatenate([p[1] for p in parts])

    def _priors(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        sigma = np.concatenate([EXPECTED, [1.0, 1.0, 1.0], [FOOT_BIAS_MM] * 2, [RIM_OFF_MM] * 2])
        sigma = np.concatenate([sigma, [HEIGHT_DOUBT_MM, self.focal_doubt], [MIDDLE_DOUBT] * 2, [FOOT_GROWTH]])
        wish = np.zeros(SIZE)
        wish[HEIGHT], wish[FOCAL] = HEIGHT_MM, self.log_focal
        sigma[K1], wish[K1] = self._k1_belief(at), -self.plane.k1
        keep = np.ones(SIZE, bool)
        keep[GAIN] = keep[SHIFT] = False
        return np.diag(1 / sigma)[keep], ((wish - at) / sigma)[keep]

    def _known_rows(self, at: FloatArray, known: KnownLens) -> tuple[FloatArray, FloatArray]:
        """The lens and the plane's tilt as known beforehand; slopes of the tilt by small steps."""
        here = corrected(self.plane, at[THETA], self.radius_mm)
        half, values = known_rows(known, here, float(at[FOCAL]), at[MIDDLE])
        slopes = np.zeros((6, SIZE))
        slopes[0, FOCAL] = slopes[1, 17] = slopes[2, 18] = slopes[3, 7] = 1.0
        line = numbers_of(here, 0.0, np.zeros(2))[4:]
        for k in range(7):
            step = at[THETA].copy()
            step[k] += SMALL
            moved = numbers_of(corrected(self.plane, step, self.radius_mm), 0.0, np.zeros(2))[4:]
            slopes[4:, k] = (moved - line) / SMALL
        return half @ slopes, values

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

    def _pin_rows(self, there: MarksThere) -> tuple[FloatArray, FloatArray]:
        """Each tip against its foot, and each root against its track, the track's mean moving along."""
        (foot, tip), (foot_slopes, tip_slopes) = there.two @ self.frame.T, self.frame @ there.slopes
        w = np.sqrt(self.stands)[:, None] / np.hypot(self.foot, self.tip)
        apart = ((tip_slopes - foot_slopes) * w[..., None]).reshape(-1, SIZE), ((foot - tip) * w).ravel()
        root, root_slopes = self.roots(there)
        r = np.hypot(*root.T)
        outward = np.einsum("na,nas->ns", root / r[:, None], root_slopes)
        both = 1 / self.foot**2 + self.stands[:, None] / self.tip**2
        spread = np.hypot(np.sqrt(np.mean(1 / both, 1)), SETTING_MM)
        on_track = _about_means(r, outward, spread)
        return np.vstack([apart[0], on_track[0]]), np.concatenate([apart[1], on_track[1]])

    def _rim_rows(self, there: MarksThere) -> tuple[FloatArray, FloatArray]:
        r, slopes = self._radii(there, self.rim)
        here = r - self.radius_mm - self.way @ there.at[RIM]
        slopes[:, RIM] = -self.way
        sigma = max(self.marks.rim_mm, RIM_FLOOR_MM)
        w = np.sqrt(min(1.0, RIM_VOICES / len(here))) / sigma / (1 + (here / (2.5 * sigma)) ** 2)
        return slopes * w[:, None], -here * w

    def _turned_rows(self, there: MarksThere, turned: Turned) -> tuple[FloatArray, FloatArray]:
        """The middles of the rings that stand for the turned marks: the first harmonic of their radii."""
        n = len(turned.way)
        r, slopes = self._radii(there, self.rings)
        here = 2 / n * np.einsum("qn,na->aq", r.reshape(2, n), turned.way)
        moved = 2 / n * np.einsum("qns,na->aqs", slopes.reshape(2, n, SIZE), turned.way)
        half = np.swapaxes(np.linalg.cholesky(turned.weight), 1, 2)
        half = half * (TURNED_OVER_SHEET if self.known is not None and self.known.tells_line else 1.0)
        return (half @ moved).reshape(-1, SIZE), -(half @ here[..., None]).ravel()

    def _radii(self, there: MarksThere, which: slice) -> tuple[FloatArray, FloatArray]:
        """Of some of the marks: (n,) mm and slopes (n, SIZE)."""
        mm, moved = (part[..., which] for part in (there.mm, there.moved))
        r = np.hypot(*mm)
        slopes = np.zeros((len(r), SIZE))
        slopes[:, THETA] = ((mm[0] * moved[:, 0] + mm[1] * moved[:, 1]) / r).T
        return r, slopes

    def pinhole(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What is zero for a pinhole, two of the plane, three of the slant seen from there, and slopes (5, SIZE)."""
        back = np.linalg.inv(in_mm(correction(at[THETA]), self.radius_mm))
        h = self.plane.plane_to_px @ back
        size = np.array(self.plane.size, float)
        focal = np.exp(at[FOCAL])
        h[:2] = ((h[:2] - (size[:, None] - 1) / 2 * h[2]) / size[0] - at[MIDDLE, None] * h[2]) / focal
        dh = np.zeros((SIZE, 3, 3))
        dh[:7] = -h @ in_mm(CORRECTION_PARTS, self.radius_mm) @ back
        dh[FOCAL, :2] = -h[:2]
        dh[17, 0] = dh[18, 1] = -h[2] / focal
        # Products of the columns: of the first two with all three, and their changes.
        pair, dpair = h.T @ h[:, :2], np.swapaxes(dh, 1, 2) @ h[:, :2]
        dpair = dpair + h.T @ dh[:, :, :2]
        square, dsquare = (pair[0, 0] + pair[1, 1]) / 2, (dpair[:, 0, 0] + dpair[:, 1, 1]) / 2
        some = np.array([pair[0, 1], (pair[0, 0] - pair[1, 1]) / 2, -pair[2, 0], -pair[2, 1]]) / square
        dsome = np.array([dpair[:, 0, 1], (dpair[:, 0, 0] - dpair[:, 1, 1]) / 2, -dpair[:, 2, 0], -dpair[:, 2, 1]])
        dsome = (dsome - some[:, None] * dsquare) / square
        eye, eye_z = some[2:], abs(np.linalg.det(h)) / square**1.5
        deye_z = eye_z * (np.sum(np.linalg.inv(h).T * dh, (1, 2)) - 1.5 * dsquare / square)
        gain = at[GAIN]
        here = np.concatenate([some[:2], 3 * (at[SHIFT] - gain * eye), [gain * eye_z / (1 + gain) - at[HEIGHT]]])
        slopes = np.vstack([dsome[:2], -3 * gain * dsome[2:], gain / (1 + gain) * deye_z])
        slopes[2:4, GAIN], slopes[2:4, SHIFT] = -3 * eye, 3 * np.eye(2)
        slopes[4, GAIN], slopes[4, HEIGHT] = eye_z / (1 + gain) ** 2, -1
        return here, slopes


def _about_means(r: FloatArray, slopes: FloatArray, spread: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Rows of radii (n,) with slopes (n, SIZE) about the means of their heaps, robustly weighed."""
    label, tracks = heaps(r, 1 / spread**2, WIDTH_MM)
    w = 1 / spread / (1 + ((r - tracks[label]) / (2.5 * spread)) ** 2)
    both = about_means(label, w**2, np.column_stack([r, slopes])) * w[:, None]
    return both[:, 1:], -both[:, 0]
