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
from disc.photo.plane.joint import GAIN, HEIGHT, SHIFT, Joint, joint_at
from disc.photo.plane.shared_lens import FOCAL_APART
from disc.photo.several.bundle_state import (
    K1_APART,
    ODD,
    TALLER,
    FaceState,
    ShownMarks,
    drawn_way,
    reduced_normal,
    turning,
)
from disc.photo.several.lay_on import lay_on

ROUNDS = 8  # of Gauss-Newton; chosen, it settles in five or six
LEAST_DRAWN_MM = 0.02  # shorter than this a pin's drawn length says nothing; chosen by hand
ALIKE = 2.0  # sigmas; lenses that differ by more are two, or one that was zoomed; chosen by hand


@dataclass(frozen=True, slots=True)
class SharedPins:
    """Standing pins by several photographs, as one of these shows them. root_px (n, 2): seen pixels; height_mm and
    height_sigma_mm (n,); parallax_mm (n,): how far apart the photographs draw the tip, laid on one another."""

    root_px: FloatArray
    height_mm: FloatArray
    height_sigma_mm: FloatArray
    parallax_mm: FloatArray


@dataclass(frozen=True, slots=True)
class Bundled:
    """Of each photograph in turn: the fit as all of them together tell it, and the pins. cost: by how many squared
    sigmas they disagree, a pin that one does not show as an odd one."""

    joints: tuple[Joint, ...]
    pins: tuple[SharedPins, ...]
    cost: float


def bundle(joints: Sequence[Joint]) -> Bundled | None:
    """joints: of photographs of one face, each fitted by itself. None of less than two, where one has too few standing
    pins, or where the pins of one do not lie on the others'."""
    fits = [joint.fit for joint in joints if joint.fit is not None]
    if len(joints) < 2 or len(fits) < len(joints):
        return None
    found = _points([_roots(joint) for joint in joints])
    if found is None:
        return None
    which, turns, roots = found
    alike = [_one_lens(joints[0], joint) for joint in joints]
    shown = [ShownMarks(fit[0], point, one) for fit, point, one in zip(fits, which, alike, strict=True)]
    state = FaceState(shown, np.array([at for _, at in fits]), np.array(turns), roots)
    for _ in range(ROUNDS):
        state.step()
    return _told(state)


def lie_together(joints: Sequence[Joint]) -> list[int]:
    """Which of a face's photographs can be solved together: the one with the most pins, and those that lie on it."""
    fitted = [k for k, joint in enumerate(joints) if joint.fit is not None]
    roots = {k: _roots(joints[k]) for k in fitted}
    if not fitted:
        return []
    first = max(fitted, key=lambda k: len(roots[k]))
    return [k for k in fitted if k == first or lay_on(roots[first], roots[k]).fits]


def _one_lens(a: Joint, b: Joint) -> bool:
    """Whether two photographs may have been taken through one lens, by what each tells by itself."""
    if a.plane.size != b.plane.size or a.shared is None or b.shared is None:
        return False
    bend = float(np.sqrt(a.k1_sigma**2 + b.k1_sigma**2 + K1_APART**2))
    focal = float(np.sqrt(sum(np.linalg.inv(one.weight)[0, 0] for one in (a.shared, b.shared)) + FOCAL_APART**2))
    off = a.shared.value[0] - b.shared.value[0]
    return bool(abs(a.plane.k1 - b.plane.k1) < ALIKE * bend and abs(off) < ALIKE * focal)


def _roots(joint: Joint) -> FloatArray:
    if joint.fit is None:
        return np.zeros((0, 2))
    problem, at = joint.fit
    return problem.roots(problem.there(at))[0]


def _points(roots: Sequence[FloatArray]) -> tuple[list[npt.NDArray[np.int_]], list[float], FloatArray] | None:
    """Which point each mark of each photograph is, by how much each is turned onto the first, and the points (p, 2)."""
    points = roots[0]
    which, turns = [np.arange(len(points))], [0.0]
    for mine in roots[1:]:
        laid = lay_on(points, mine)
        if not laid.fits:
            return None
        own = np.full(len(mine), -1)
        own[laid.pairs[:, 1]] = laid.pairs[:, 0]
        new = own < 0
        own[new] = len(points) + np.arange(new.sum())
        points = np.vstack([points, (mine @ turning(laid.turn_rad).T)[new]])
        which.append(own)
        turns.append(laid.turn_rad)
    return which, turns, points


def _told(state: FaceState) -> Bundled:
    """What came of it."""
    normal = state.normal()
    inverse, less, reduced = reduced_normal(normal)
    unit = np.sqrt(np.diag(reduced))
    cov = np.linalg.inv(reduced / unit / unit[:, None]) / unit / unit[:, None]
    usual, taller = state.ats[0, HEIGHT], state.points[:, TALLER]
    own = inverse[:, TALLER, TALLER] + np.einsum("ps,st,pt->p", less[:, TALLER], cov, less[:, TALLER])
    both = -less[:, TALLER] @ cov[:, HEIGHT]
    sigma = np.sqrt(np.maximum(cov[HEIGHT, HEIGHT] + own + 2 * both, 0.0))
    height, parallax = usual + taller, _parallax(state)
    joints, pins = [], []
    for k, one in enumerate(state.shown):
        at, mine = state.ats[k].copy(), state.own(k)
        # As this photograph's tips are seen, which tell its roots; the lens stays where it stands, at shift over gain.
        _, part = drawn_way(at[None, SHIFT])
        shorter = 1 - state.short * float(part[0, 0]) / max(float(np.hypot(*at[SHIFT])), LEAST_DRAWN_MM)
        at[[GAIN, *range(*SHIFT.indices(len(at)))]] *= shorter
        joint = joint_at(one.problem, at, np.asarray(np.linalg.inv(cov[mine, mine])))
        joints.append(joint)
        pins.append(SharedPins(joint.plane.to_px(state.in_photo(k)), height, sigma, parallax))
    return Bundled(tuple(joints), tuple(pins), normal.cost + 2 * ODD**2 * len(state.points))


def _parallax(state: FaceState) -> FloatArray:
    """How far apart the photographs that show a pin draw its tip, laid on one another, mm (p,); 0 where one does."""
    drawn = np.full((len(state.shown), len(state.points), 2), np.nan)
    for k, one in enumerate(state.shown):
        drawn[k, one.point] = (state.drawn(k) @ turning(-state.turns[k]))[one.point]
    most = np.zeros(len(state.points))
    for a in range(len(drawn)):
        for b in range(a):
            most = np.fmax(most, np.linalg.norm(drawn[a] - drawn[b], axis=1))
    return most
