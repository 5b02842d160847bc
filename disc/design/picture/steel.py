"""The look of a pin: a short steel cylinder standing in the plate, and the shadow it throws."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from disc.design.picture.brass import Light
from disc.design.picture.camera import Camera
from disc.frame import FloatArray, disc_to_view_mm, to_xy_mm
from disc.records import Pin

# Unless said otherwise: chosen by eye on the drawn disc.
DARK, BRIGHT = 0.10, 0.80  # of a polished side: where it mirrors the room, and the window
SHADOW = 0.62  # how much of the light the shadow takes where it is deepest


def add_pins(image: FloatArray, pins: Iterable[Pin], camera: Camera, light: Light) -> None:
    """Draw pins of one face and their shadows into a linear-light picture, shape (h, w, 3); in place."""
    standing = [
        _Standing(pin, pin.height_mm, pin.diameter_mm, camera, light)
        for pin in pins
        if pin.height_mm and pin.diameter_mm  # of unknown height or thickness nothing can be drawn
    ]
    for pin in standing:  # all shadows first: no shadow falls on top of a pin's head
        pin.shade(image)
    for pin in sorted(standing, key=lambda p: p.far, reverse=True):
        pin.draw(image)


class _Standing:
    """One pin in pixels."""

    def __init__(self, pin: Pin, height: float, diameter_mm: float, camera: Camera, light: Light) -> None:
        radius = diameter_mm / 2
        x, y = disc_to_view_mm(*to_xy_mm(pin.r_mm, pin.theta_deg), pin.side)
        # A pin without a measured lean is drawn upright, as designed.
        lean_x, lean_y = disc_to_view_mm(pin.lean_x_mm or 0.0, pin.lean_y_mm or 0.0, pin.side)
        long = height / math.tan(math.radians(light.elevation_deg))
        self.root = _pixel(camera, x, y, 0.0)
        self.tip = _pixel(camera, x + lean_x, y + lean_y, height)
        self.end = _pixel(camera, x + lean_x - light.flat[0] * long, y + lean_y - light.flat[1] * long, 0.0)
        self.radius = radius * camera.px_per_mm
        window = _pixel(camera, x + light.flat[0], y + light.flat[1], 0.0) - self.root
        self.window = window / np.hypot(*window)
        self.far = float(np.hypot(*(self.tip - self.root)))
        self.strength = light.strength

    def shade(self, image: FloatArray) -> None:
        """The shadow on the plate, softer the farther from the foot, and the darkness round the foot."""
        view, u, v = self._patch(image, self.root, self.end, 2.5)
        distance, along = _from_segment(u, v, self.root, self.end)
        soft = self.radius * (0.25 + 0.55 * along)
        depth = np.clip((self.radius - distance) / (2 * soft) + 0.5, 0.0, 1.0) * (1.0 - 0.35 * along)
        foot = np.exp(-((np.hypot(u - self.root[0], v - self.root[1]) / (1.5 * self.radius)) ** 2))
        view *= (1.0 - np.maximum(SHADOW * self.strength / 0.75 * depth, 0.35 * foot))[..., None]

    def draw(self, image: FloatArray) -> None:
        """The cylinder's side from foot to head, then the head."""
        view, u, v = self._patch(image, self.root, self.tip, 1.5)
        distance, along = _from_segment(u, v, self.root, self.tip)
        cover = np.clip(self.radius - distance + 0.5, 0.0, 1.0)[..., None]
        across = ((u - self.root[0]) * self.window[0] + (v - self.root[1]) * self.window[1]) / self.radius
        side = DARK + (BRIGHT - DARK) * np.exp(-(((across - 0.45) / 0.30) ** 2)) * (0.5 + 0.5 * along)
        view[:] = view * (1 - cover) + cover * _steel(side)
        du, dv = (u - self.tip[0]) / self.radius, (v - self.tip[1]) / self.radius
        out = np.hypot(du, dv)
        cover = np.clip((1.0 - out) * self.radius + 0.5, 0.0, 1.0)[..., None]
        towards = du * self.window[0] + dv * self.window[1]
        # A head dressed slightly round: bright towards the window, its edge broken.
        head = (
            0.42
            + 0.30 * towards
            + 0.35 * np.exp(-(((du - 0.3 * self.window[0]) ** 2 + (dv - 0.3 * self.window[1]) ** 2) / 0.10))
        )
        head = np.where(out > 0.80, head * 0.55, head)
        view[:] = view * (1 - cover) + cover * _steel(head)

    def _patch(
        self, image: FloatArray, a: FloatArray, b: FloatArray, margin: float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """The part of the picture about two points (a view of it), and its pixels' (u, v)."""
        reach = margin * self.radius + 2.0
        height, width = image.shape[:2]
        u0, u1 = (int(np.clip(f, 0, width)) for f in (min(a[0], b[0]) - reach, max(a[0], b[0]) + reach + 1))
        v0, v1 = (int(np.clip(f, 0, height)) for f in (min(a[1], b[1]) - reach, max(a[1], b[1]) + reach + 1))
        v, u = np.mgrid[v0:v1, u0:u1].astype(float)
        return image[v0:v1, u0:u1], u, v


def _pixel(camera: Camera, x: float, y: float, z: float) -> FloatArray:
    u, v = camera.project(np.array(x), np.array(y), z)
    return np.array([float(u), float(v)])


def _from_segment(u: FloatArray, v: FloatArray, a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(distance in px from the segment a-b, where along it 0 to 1)."""
    length2 = float((b - a) @ (b - a))
    along = (
        np.zeros_like(u)
        if length2 == 0
        else np.clip(((u - a[0]) * (b[0] - a[0]) + (v - a[1]) * (b[1] - a[1])) / length2, 0, 1)
    )
    return np.hypot(u - a[0] - along * (b[0] - a[0]), v - a[1] - along * (b[1] - a[1])), along


def _steel(shade: FloatArray) -> FloatArray:
    return np.clip(shade, 0.02, 1.5)[..., None] * np.array([0.93, 0.96, 1.0])
