"""A face flattened small, as the covers net looks at it: pins are a dot, what lies over the plate is plain."""

from __future__ import annotations

import numpy as np

from disc.photo.image import Pixels, opencv, shrunk
from disc.photo.plane.face_plane import Plane

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
AROUND = 1.15  # half widths of the small picture in radii: some ground is seen, and what comes in over the rim
SIDE_PX = 128  # of the small picture, as the covers net was trained on it; change both together


def small_face(pixels: Pixels, plane: Plane, radius_mm: float, side_px: int = SIDE_PX) -> Pixels:
    """The face looked at squarely, y up, (side, side, 3) BGR; ground beyond the frame repeats its edge."""
    cv2 = opencv()
    step = 2 * AROUND * radius_mm / side_px
    c = (np.arange(side_px) + 0.5 - side_px / 2) * step
    x, y = np.meshgrid(c, -c)
    uv = plane.to_px(np.stack([x.ravel(), y.ravel()], 1)).reshape(side_px, side_px, 2)
    middle = side_px // 2
    wide = float(np.linalg.norm(uv[middle, middle + 1] - uv[middle, middle]))
    small, shrink = _by_area(pixels, wide)
    uv = ((uv + 0.5) / shrink - 0.5).astype(np.float32)
    return np.asarray(cv2.remap(small, uv[..., 0], uv[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _by_area(pixels: Pixels, wide: float) -> tuple[Pixels, float]:
    """The photo so small that one pixel of the small face is about one of it, and by how much it was shrunk."""
    if wide <= 1.3:
        return pixels, 1.0
    h, w = pixels.shape[:2]
    width, height = max(1, round(w / wide)), max(1, round(h / wide))
    return shrunk(pixels, width, height), w / width
