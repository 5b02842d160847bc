"""What concentric marks say of the plate's middle: the lathe's tool marks, polish in rings.

Drawn out by angle and radius about the supposed middle, such marks run straight along the angle; about another place
they wave. Each sector of the plate has its profile along the radius, and neighbouring sectors' profiles are laid on one
another: how far one must be moved to fit the next, ring by ring, gives the wave. What two neighbours do not share, the
grain of the metal and of the picture, is counted for nothing, so that faces without such marks say nothing.

Scribed circles and other deep cuts are left out: of a cut the wall towards the light shines and the other is dark, so
that its line seems to lie 0.03 mm and more to one side, all round the plate alike (seen on rendered faces).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.frame import FloatArray
from disc.photo.image import Pixels, opencv
from disc.photo.plane.face_plane import Plane

# Between hub and rim, sampled as finely as the marks are cut and the camera shows them; sectors short enough that a
# middle 0.1 mm off does not smear their profiles. Finer and coarser sectors told the middle equally well (rendered).
FROM_RADII, TO_RADII, STEP_MM, SMOOTH_MM, SLOW_MM = 0.22, 0.97, 0.016, 0.012, 0.07
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
SECTORS, ROWS, SAMPLES = 24, 8, 4  # rows of a sector of which the median is taken; samples averaged into a row
AT_ONCE = 24  # rows
RINGS = 40  # between hub and rim, each with a middle of its own
STRONGEST = 3.0  # of the usual contrast; letters, shadows and dirt lie above it
# A radius at which all sectors together stand out by this much is a cut, and so is what lies this near to it.
CUT_STANDS_OUT, CUT_MM = 2.5, 0.1
# Even shallow marks lie a hair towards the light, all alike.
ALIKE_MM = 0.006
LEAST_ALIKE = 0.15  # correlation of neighbours that chance seldom makes, over the places it is averaged
UNTOLD_MM, FEWEST_RINGS = 1.0, 10  # a ring in more doubt says nothing; agreement is not told from fewer rings
INNER, OUTER = 0.4, 0.8  # of the radius: where the two rings lie that stand for all


@dataclass(frozen=True, slots=True)
class Turned:
    """Two rings that stand for all marks. ring_px: (2, n, 2) photo pixels of circles about where the marks' middle is.

    way: (n, 2) unit vectors from the middle to them. weight: (2, 2, 2), for x and for y the inverse covariance of the
    two middles, mm^-2.
    """

    ring_px: FloatArray
    way: FloatArray
    weight: FloatArray

    def off_mm(self, plane: Plane) -> float:
        """How far the marks' middle lies from a plane's own, where it lies farther."""
        middles = [plane.to_mm(ring).mean(0) for ring in self.ring_px]
        return float(np.hypot(*np.transpose(middles)).max())


def turned_marks(pixels: Pixels, plane: Plane, radius_mm: float) -> Turned:
    """Read in a plane good to a tenth of a millimetre; without marks the weight is next to nothing."""
    r, profile = _profiles(pixels, plane, radius_mm)
    phi = 2 * np.pi * (np.arange(SECTORS) + 0.5) / SECTORS
    middle, sigma = _middles(profile, phi)
    at, cov = _two_rings(r.reshape(RINGS, -1).mean(1) / radius_mm, middle, sigma)
    way = np.stack([np.cos(phi), np.sin(phi)], 1)
    px = np.stack([plane.to_px(q * radius_mm * way + at[k]) for k, q in enumerate((INNER, OUTER))])
    return Turned(px, way, np.asarray(np.linalg.inv(cov + ALIKE_MM**2)))


def _profiles(pixels: Pixels, plane: Plane, radius_mm: float) -> tuple[FloatArray, FloatArray]:
    """Radii (n,), mm, and the sectors' contrast along them (SECTORS, n); 0 where there is a cut."""
    cv2 = opencv()
    n = int((TO_RADII - FROM_RADII) * radius_mm / STEP_MM / RINGS) * RINGS
    r: FloatArray = FROM_RADII * radius_mm + STEP_MM * np.arange(n, dtype=float)
    grey = _grey_face(pixels, plane, TO_RADII * radius_mm)
    rows = np.empty((SECTORS * ROWS, n), np.float32)
    phi = 2 * np.pi * (np.arange(len(rows) * SAMPLES) + 0.5) / (len(rows) * SAMPLES)
    for first in range(0, len(rows), AT_ONCE):  # as many as fit into the processor's cache
        u, v = plane.polar_px(r, phi[first * SAMPLES : (first + AT_ONCE) * SAMPLES])
        seen = cv2.remap(grey, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
        rows[first : first + AT_ONCE] = cv2.resize(seen, (n, AT_ONCE), interpolation=cv2.INTER_AREA)
    rows = cv2.log(rows + 8.0)  # contrast is then the same in light and in shade
    rows = cv2.GaussianBlur(rows, (0, 0), sigmaX=SMOOTH_MM / STEP_MM, sigmaY=0.01)
    rows = rows - cv2.GaussianBlur(rows, (0, 0), sigmaX=SLOW_MM / STEP_MM, sigmaY=0.01)
    ranked = np.sort(rows.reshape(SECTORS, ROWS, n), 1)
    profile = ranked[:, ROWS // 2 - 1 : ROWS // 2 + 1].mean(1, dtype=float)  # the median, of an even number
    size = np.abs(profile)
    most = STRONGEST * 1.48 * float(np.median(size))
    everywhere = np.median(size, 0)
    cut = (everywhere > CUT_STANDS_OUT * np.median(everywhere)).astype(np.uint8)
    near_cut = cv2.dilate(cut[None], np.ones((1, 2 * int(CUT_MM / STEP_MM) + 1), np.uint8))[0] > 0
    return r, np.where(near_cut, 0.0, np.clip(profile, -most, most))


def _grey_face(pixels: Pixels, plane: Plane, radius_mm: float) -> Pixels:
    """The photo in grey within a circle's bounds; what lies outside is left as it comes."""
    cv2 = opencv()
    phi = np.linspace(0, 2 * np.pi, 90)
    uv = plane.to_px(radius_mm * np.stack([np.cos(phi), np.sin(phi)], 1))
    left, top = np.clip(uv.min(0) - 4, 0, None).astype(int)
    right, below = np.clip(uv.max(0) + 4, 0, None).astype(int)
    grey = np.empty(pixels.shape[:2], np.uint8)
    part = grey[top:below, left:right]
    if part.size:
        cv2.cvtColor(pixels[top:below, left:right], cv2.COLOR_BGR2GRAY, dst=part)
    return grey


def _middles(profile: FloatArray, phi: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Middle (RINGS, 2) of each ring, mm, and its sigma (RINGS, 2) up to a common factor.

    In a sector whose marks lie d farther out than its neighbour's, the profile differs by -d times its own slope.
    """
    cv2 = opencv()
    slope = np.zeros_like(profile)  # by five points: the marks are hardly wider than the step
    slope[:, 2:-2] = (8 * (profile[:, 3:-1] - profile[:, 1:-3]) - profile[:, 4:] + profile[:, :-4]) / (12 * STEP_MM)
    after, slope_after = np.roll(profile, -1, 0), np.roll(slope, -1, 0)
    mean_slope = (slope + slope_after) / 2

    def summed(values: FloatArray) -> FloatArray:
        return values.reshape(SECTORS, RINGS, -1).sum(2)

    def around(values: FloatArray) -> FloatArray:
        wide = np.pad(values, ((2, 2), (1, 1)), mode="wrap")
        return np.asarray(cv2.blur(wide, (3, 5))[2:-2, 1:-1])

    differs = summed(mean_slope * (after - profile))
    strength = np.sqrt(summed(slope**2) * summed(slope_after**2))
    # What a sector shares with its neighbour, not what it shows by itself, is what a move would change.
    alike = around(summed(slope * slope_after)) / np.maximum(around(strength), 1e-12)
    shared = np.where(alike > LEAST_ALIKE, alike, 0.0) * strength
    each = profile.shape[1] / RINGS
    doubt = np.sqrt(summed(mean_slope**2) * summed((after - profile) ** 2).mean(0) / each)
    told = (doubt > 0) & (np.mean(mean_slope.reshape(SECTORS, RINGS, -1) != 0, 2) > 0.5)
    told[:, told.sum(0) < SECTORS / 2] = False
    on = phi + 2 * np.pi / SECTORS
    # The second harmonic is the plane's shear, which the rim tells better.
    form = np.stack([f(k * on) - f(k * phi) for k in (1, 2) for f in (np.cos, np.sin)], 1)
    size = told / np.where(told, doubt, 1.0)
    rows = form * (shared * size).T[..., None]  # (RINGS, SECTORS, 4)
    value, told = (-differs * size).T, told.T
    weight = np.ones_like(value)
    for _ in range(5):
        weighed = np.swapaxes(rows * weight[..., None], 1, 2)
        normal = weighed @ rows
        # Never singular: a sigma of 30 mm, and less than a ten thousandth of what is told best where that is a lot.
        normal += (1e-3 + 1e-8 * np.trace(normal, axis1=1, axis2=2))[:, None, None] * np.eye(4)
        x = np.linalg.solve(normal, weighed @ value[..., None])
        off = np.abs(value - (rows @ x)[..., 0])
        ranked = np.sort(np.where(told, off, np.inf), 1)
        middle = np.take_along_axis(ranked, np.maximum(told.sum(1) - 1, 0)[:, None] // 2, 1)
        scale = np.where(np.isfinite(middle), 1.48 * middle, 1.0) + 1e-3
        weight = 1 / (scale * np.hypot(1, off / scale / 2)) ** 2
    return x[:, :2, 0], np.sqrt(np.diagonal(np.linalg.inv(normal), axis1=1, axis2=2)[:, :2])


def _two_rings(q: FloatArray, middle: FloatArray, sigma: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Middles (2, 2) at INNER and OUTER radii, and their covariance (2, 2, 2) for x and for y.

    A shift moves all rings alike, a perspective those farther out by the square of their radius; how well the rings
    agree with that tells how far they are to be believed.
    """
    form = np.stack([np.ones_like(q), q**2], 1)
    there = np.array([[1.0, INNER**2], [1.0, OUTER**2]])
    told = (sigma < UNTOLD_MM).all(1)
    if told.sum() < FEWEST_RINGS:
        return np.zeros((2, 2)), np.broadcast_to(np.diag([UNTOLD_MM**2] * 2), (2, 2, 2))
    form, middle, sigma = form[told], middle[told], sigma[told]
    weight = 1 / sigma**2
    for _ in range(6):
        normal = np.einsum("ra,ri,rj->aij", weight, form, form)
        x = np.linalg.solve(normal, np.einsum("ra,ri,ra->ai", weight, form, middle)[..., None])[..., 0]
        off = np.abs(middle - form @ x.T) / sigma
        scale = max(1.48 * float(np.median(off)), 1e-3)
        weight = 1 / (sigma * scale * np.hypot(1, off / scale / 2)) ** 2
    return there @ x.T, there @ np.linalg.inv(normal) @ there.T
