"""Colours as CIE L*a*b*, for small pictures.

OpenCV's own way fills tables for a whole film of pictures first, which takes a hundred times as long as this for one
face made small; both agree to 0.1.
"""

from __future__ import annotations

from typing import Any

import numpy as np

# sRGB to XYZ: IEC 61966-2-1, with the white that its matrix gives (D65); rows X, Y, Z; columns red, green, blue.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
# CIE 15 (2004), 8.2.1: below the first f(t) is linear, with this slope and this height at 0.
LINEAR_BELOW, SLOPE, AT_ZERO = 0.008856, 7.787, 16 / 116


def to_lab(bgr: Any) -> Any:
    """L* 0-100, a*, b* of BGR colours, each 0-1, of sRGB: float32, shape (..., 3) as given."""
    rgb = np.asarray(bgr, np.float32)[..., ::-1]
    light = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    xyz = light @ (TO_XYZ / TO_XYZ.sum(1, keepdims=True)).T.astype(np.float32)
    x, y, z = np.moveaxis(np.where(xyz > LINEAR_BELOW, np.cbrt(xyz), SLOPE * xyz + AT_ZERO), -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], -1)
