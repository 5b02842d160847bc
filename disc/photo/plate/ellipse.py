"""Ellipses, circles in perspective, and the plane they lie in.

A circle's picture under a pinhole is an ellipse, whose middle is NOT the picture of the circle's centre. Ellipse and
picture of the centre together fix the plane's homography up to a turn: first the affine map that makes the ellipse the
unit circle, then the projective map that keeps the unit circle and moves the centre's picture to the origin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.frame import FloatArray


@dataclass(frozen=True, slots=True)
class Ellipse:
    """Middle, half axes (px, a >= b) and the direction of the long one (radians, in u-v axes)."""

    u: float
    v: float
    a: float
    b: float
    angle_rad: float

    def point(self, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Points at parameter t (radians), (u, v)."""
        c, s = np.cos(self.angle_rad), np.sin(self.angle_rad)
        x, y = self.a * np.cos(t), self.b * np.sin(t)
        return self.u + c * x - s * y, self.v + s * x + c * y

    def normal(self, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Outward unit normals at parameter t."""
        c, s = np.cos(self.angle_rad), np.sin(self.angle_rad)
        x, y = np.cos(t) / self.a, np.sin(t) / self.b
        length = np.hypot(x, y)
        return (c * x - s * y) / length, (s * x + c * y) / length

    def to_unit(self) -> FloatArray:
        """The affine map, 3 x 3, from pixels to a frame in which this ellipse is the unit circle, y turned up."""
        c, s = np.cos(self.angle_rad), np.sin(self.angle_rad)
        turn = np.array([[c, s], [-s, c]])
        # Scaling along the axes and turning back keeps the frame's x nearly along u.
        linear = np.diag([1.0, -1.0]) @ turn.T @ np.diag([1 / self.a, 1 / self.b]) @ turn
        return np.block([[linear, -(linear @ [[self.u], [self.v]])], [np.zeros((1, 2)), np.ones((1, 1))]])

    def distance(self, u: FloatArray, v: FloatArray) -> FloatArray:
        """Approximate signed distance (px) of points from the ellipse, positive outside (first order, Sampson)."""
        c, s = np.cos(self.angle_rad), np.sin(self.angle_rad)
        du, dv = u - self.u, v - self.v
        x, y = (c * du + s * dv) / self.a, (-s * du + c * dv) / self.b
        f = x**2 + y**2 - 1
        slope = 2 * np.hypot(x / self.a, y / self.b)
        r = np.sqrt(np.maximum(1 + f, 1e-12))
        return f / np.maximum(slope, 1e-12) * 2 * r / (1 + r)  # exact for a circle


def fit_ellipse(u: FloatArray, v: FloatArray, weight: FloatArray | None = None) -> Ellipse | None:
    """Least-squares ellipse through points; None if they do not lie on one.

    Source: Halir and Flusser, Numerically stable direct least squares fitting of ellipses (1998), from memory.
    """
    if len(u) < 5:
        return None
    mu, mv = float(np.mean(u)), float(np.mean(v))
    size = max(float(np.std(u)), float(np.std(v)), 1e-9)
    x, y = (u - mu) / size, (v - mv) / size
    w = np.ones_like(x) if weight is None else np.sqrt(weight)
    quadratic = np.stack([x * x, x * y, y * y], 1) * w[:, None]
    linear = np.stack([x, y, np.ones_like(x)], 1) * w[:, None]
    s1, s2, s3 = quadratic.T @ quadratic, quadratic.T @ linear, linear.T @ linear
    try:
        back = -np.linalg.solve(s3, s2.T)
        m = s1 + s2 @ back
        m = np.stack([m[2] / 2, -m[1], m[0] / 2])
        _, vectors = np.linalg.eig(m)
    except np.linalg.LinAlgError:
        return None
    vectors = np.real(vectors)
    condition = 4 * vectors[0] * vectors[2] - vectors[1] ** 2
    if not np.any(condition > 0):
        return None
    first = vectors[:, int(np.argmax(condition))]
    return _from_conic(np.concatenate([first, back @ first]), mu, mv, size)


def _from_conic(conic: FloatArray, mu: float, mv: float, size: float) -> Ellipse | None:
    a, b, c, d, e, f = conic
    det = 4 * a * c - b * b
    if det <= 0:
        return None
    x0, y0 = (b * e - 2 * c * d) / det, (b * d - 2 * a * e) / det
    value = a * x0 * x0 + b * x0 * y0 + c * y0 * y0 + d * x0 + e * y0 + f
    matrix = np.array([[a, b / 2], [b / 2, c]]) / -value if value else np.zeros((2, 2))
    if not np.all(np.isfinite(matrix)):
        return None
    values, vectors = np.linalg.eigh(matrix)
    if values[0] <= 0:
        return None
    long_, short = 1 / np.sqrt(values[0]), 1 / np.sqrt(values[1])
    angle = float(np.arctan2(vectors[1, 0], vectors[0, 0]))
    return Ellipse(mu + size * x0, mv + size * y0, size * long_, size * short, angle)


def centre_boost(px: float, py: float) -> FloatArray:
    """The projective map, 3 x 3, that keeps the unit circle and takes (px, py), inside it, to the origin.

    It is a boost of the plane's Klein model: along p the weight is mixed with the coordinate, across it nothing moves.
    """
    speed = float(np.hypot(px, py))
    if speed < 1e-12:
        return np.eye(3)
    gamma = 1 / np.sqrt(1 - speed**2)
    d = np.array([px, py]) / speed
    along = np.outer(d, d)
    linear = np.eye(2) + (gamma - 1) * along
    shift = -gamma * speed * d
    return np.block([[linear, shift[:, None]], [shift[None, :], np.array([[gamma]])]])


def rotation(angle_rad: float) -> FloatArray:
    """A turn of the plane, 3 x 3, counter-clockwise."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
