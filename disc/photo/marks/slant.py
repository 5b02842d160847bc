"""The common slant of standing pins: it tells where the lens was, and what is left of it is lean.

Seen from the lens at E over the face plane, a tip at height h over X is drawn at X + a (X - E), a = h / (Ez - h). All
pins of a disc are about equally long, so tip minus root is one linear field over the face; it is fitted robustly, so
that bent pins do not pull it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.frame import FloatArray
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.settle import Perspective

# A first guess at how far sound tips stray from the field, mm: their own lean (to 0.03 mm an axis, common practice, no
# source) and the measuring error together. Only the weighting of the first rounds depends on it.
STRAY_MM = 0.05
FEWEST_PINS = 6  # that tell a slant; chosen by hand
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
SETTLED = 1e-6  # a field that changes by less, mm and mm a mm
# Beginnings: gains from a far lens to a near one; shifts as pins of these heights make them, mm, either way.
FIRST_GAINS, FIRST_REACHES, WIDEST_MM = (0.002, 0.008, 0.018), (0.0, 0.35, -0.35, 0.65, -0.65), 0.15


@dataclass(frozen=True, slots=True)
class Slant:
    """tip - root = gain * X - shift, in view mm; eye = shift / gain. sigma_mm: scatter of sound tips about it."""

    gain: float
    shift: tuple[float, float]
    sigma_mm: float
    pins: int

    def at(self, xy: FloatArray) -> FloatArray:
        """The field at places (n, 2), mm."""
        return self.gain * xy - np.asarray(self.shift)

    @property
    def eye_xy_mm(self) -> tuple[float, float] | None:
        """Where the lens stood over the face plane; None if the slant is too weak to say."""
        if self.gain < 2e-4:
            return None
        return self.shift[0] / self.gain, self.shift[1] / self.gain


def plane_tilt(plane: Plane) -> tuple[float, FloatArray]:
    """(tangent of the tilt, its direction in view mm up to the sign), from the foreshortening at its middle.

    A plane seen at a slant is drawn narrower along the slant by the cosine of the angle.
    """
    eps = 0.05
    at = plane.to_px(np.array([[-eps, 0.0], [eps, 0.0], [0.0, -eps], [0.0, eps]]))
    jacobian = np.stack([at[1] - at[0], at[3] - at[2]], 1)
    _, size, right = np.linalg.svd(jacobian)
    cosine = float(np.clip(size[1] / size[0], 0.3, 1.0))
    return float(np.sqrt(1 / cosine**2 - 1)), right[1]


# Pins stand 0.25-0.8 mm high (conventions.md, Words); a field outside what that allows at the plane's tilt is something
# else, such as shadows. Tilts below 4 degrees are not told from none by foreshortening.
LOWEST_MM, HIGHEST_MM = 0.2, 0.9
TILT_FLOOR = 0.07  # tangent of the tilt that is always allowed for; chosen by hand
GAIN_SIGMA = 0.0007  # how well the networks' tips tell the gain, on rendered faces


def fit_slant(
    root: FloatArray,
    tip: FloatArray,
    sigma: FloatArray,
    weight: FloatArray,
    plane: Plane,
    near: Slant | None = None,
) -> Slant:
    """The field through tips and roots, each (n, 2) view mm, of standing pins; sigma (n,): of their difference, mm.

    weight (n,): how surely each is a pin. Tried from several beginnings that the plane's tilt allows; the field that
    most pins share is taken. near: found before in a plane a little off this one; then from there only.
    """
    if len(root) < FEWEST_PINS:
        middle = np.median(tip - root, 0) if len(root) else np.zeros(2)
        return Slant(0.0, (float(-middle[0]), float(-middle[1])), STRAY_MM, len(root))
    tangent, way = plane_tilt(plane)
    if near is not None and near.pins >= FEWEST_PINS:
        starts = np.array([[near.gain, *near.shift]])
    else:
        starts = np.array([[gain, *(reach * tangent * way)] for gain in FIRST_GAINS for reach in FIRST_REACHES])
    found, sigma_mm, pins = _settle(root, tip, sigma, weight, starts)
    score = _share(found, root, tip, weight) * [_allowed(one[1:], tangent, way) for one in found]
    k = int(np.argmax(score > score.max() - 1e-6))
    gain, x, y = (float(v) for v in found[k])
    return Slant(gain, (x, y), float(sigma_mm[k]), int(pins[k]))


def _squares(field: FloatArray, root: FloatArray, tip: FloatArray) -> FloatArray:
    """Squared lengths of what fields (m, 3), gain and shift, leave of tips minus roots: (m, n), mm2."""
    gain, *shift = field.T[..., None]
    x, y = (t - (1 + gain) * r + s for t, r, s in zip(tip.T, root.T, shift, strict=True))
    return np.asarray(x * x + y * y)


def _share(field: FloatArray, root: FloatArray, tip: FloatArray, weight: FloatArray) -> FloatArray:
    """How much of all the pins' weight follows each field, closely counting more, (m,)."""
    return np.asarray(np.exp(-0.5 / 0.04**2 * _squares(field, root, tip)) @ weight / max(weight.sum(), 1e-9))


def _allowed(shift: FloatArray, tangent: float, way: FloatArray) -> float:
    """1 where the field at the middle is one that pins can make at this tilt, less where it is not."""
    along, across = abs(float(shift @ way)), abs(float(shift[0] * way[1] - shift[1] * way[0]))
    most, least = HIGHEST_MM * (tangent + TILT_FLOOR), LOWEST_MM * max(tangent - TILT_FLOOR, 0.0)
    over = (
        max(along - most, 0.0) + max(least - along, 0.0) + max(across - (0.35 * along + HIGHEST_MM * TILT_FLOOR), 0.0)
    )
    return float(np.exp(-over / 0.05))


def _settle(
    root: FloatArray, tip: FloatArray, sigma: FloatArray, weight: FloatArray, starts: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """From each beginning (m, 3): the field (m, 3), scatter of sound tips about it (m,), mm, and their number (m,)."""
    base = weight / np.hypot(sigma, STRAY_MM) ** 2
    field, cut, going = starts.astype(float), np.full(len(starts), WIDEST_MM), np.ones(len(starts), bool)
    for _ in range(10):
        square = _squares(field, root, tip)
        soft = np.maximum(1 - square / cut[:, None] ** 2, 0) ** 2  # Tukey's biweight
        going &= soft.sum(1) >= 3
        if not going.any():
            break
        before = field[going]
        field[going] = _field(root, tip - root, soft[going] * base)
        # 1.18 sigma is the median length of a 2-axis normal error; the window closes to four of it.
        ranked, inside = np.sort(square[going], 1), np.sum(soft[going] > 0, 1)
        middle = np.sqrt(np.take_along_axis(ranked, (inside[:, None] - 1) // 2, 1)[:, 0])
        cut[going] = np.clip(4.0 * middle / 1.18, 0.05, WIDEST_MM)
        if np.abs(field[going] - before).max() < SETTLED:
            break
    field[:, 0] = np.maximum(field[:, 0], 0.0)
    square = _squares(field, root, tip)
    good = square < cut[:, None] ** 2
    count = good.sum(1)
    sigma_mm = np.sqrt(np.sum(square * good, 1) / np.maximum(2 * count, 1))
    return field, np.where(count > 0, np.maximum(sigma_mm, 0.003), STRAY_MM), count


def _field(root: FloatArray, value: FloatArray, weight: FloatArray) -> FloatArray:
    """Least squares of value (n, 2) = gain root - shift under weights (m, n): gain, shift x, shift y, (m, 3)."""
    total, one, two = weight.sum(1), weight @ root, weight @ value
    # The gain is h / (Ez - h): from 0.5 mm at 400 mm to 0.8 mm at 35 mm. A weak prior keeps it there.
    prior = 1 / 0.02**2
    square, cross = weight @ np.sum(root**2, 1), weight @ np.sum(root * value, 1)
    gain = cross - np.sum(one * two, 1) / total + 0.01 * prior
    gain = gain / (square - np.sum(one * one, 1) / total + prior)
    return np.column_stack([gain, (gain[:, None] * one - two) / total[:, None]])


def expected_perspective(slant: Slant, plane: Plane, radius_mm: float, focal_px: float | None) -> Perspective | None:
    """The perspective that goes with this slant, if the optical axis goes through the picture's middle; None unknown.

    With the eye at E over the plane and the picture's middle at M, depth grows over the face as (M - E) . (X - E).
    """
    if slant.pins < 15:
        return None
    shift = np.asarray(slant.shift)
    reach = float(np.hypot(*shift))
    tangent, _ = plane_tilt(plane)
    tall = float(np.clip(reach / tangent, 0.25, 0.8)) if tangent > 0.1 else 0.5
    gain = max(slant.gain, GAIN_SIGMA)
    eye_z = tall * (1 + gain) / gain
    doubt = GAIN_SIGMA / gain
    if focal_px:
        a = plane.to_px(np.array([[0.0, 0.0], [0.05, 0.0], [0.0, 0.05]]))
        eye_z, doubt = focal_px / float(np.linalg.svd(np.stack([a[1] - a[0], a[2] - a[0]], 1) / 0.05)[1][0]), 0.05
    eye = shift / tall * eye_z
    middle = plane.to_mm(np.array([[(plane.size[0] - 1) / 2, (plane.size[1] - 1) / 2]]))[0]
    ahead = middle - eye
    depth = float(eye_z**2 - ahead @ eye)
    vector = ahead / max(depth, 1.0) * radius_mm
    size = float(np.hypot(*vector))
    # A picture cut out of a larger one has its axis elsewhere: some doubt stays even where nothing is tilted.
    return Perspective(
        float(vector[0]), float(vector[1]), float(np.hypot(min(doubt + 0.2, 1.0) * size, 0.002)), 0.002 + 0.1 * size
    )
