"""The flattened face against one call of OpenCV's for the whole of it."""

from __future__ import annotations

import numpy as np
import pytest

from disc.photo.image import opencv
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.flatten import flatten


@pytest.mark.parametrize("middle", [(500.0, 480.0), (300.0, 700.0)])  # the second is cut off by the photo's edges
def test_bands_join_to_what_one_warp_gives(middle):
    cv2 = opencv()
    rng = np.random.default_rng(0)
    photo = cv2.GaussianBlur(rng.integers(0, 256, (960, 1000, 3)).astype(np.uint8), (0, 0), 2.0)
    tilted = np.array([[60.0, 4.0, middle[0]], [3.0, -58.0, middle[1]], [0.002, -0.004, 1.0]])
    flat = flatten(photo, Plane(tilted, 0.0, (1000, 960)), 7.0)
    s, mid = 1 / flat.px_per_mm, flat.mid
    to_mm = np.array([[s, 0.0, -mid * s], [0.0, -s, mid * s], [0.0, 0.0, 1.0]])
    whole = cv2.warpPerspective(
        photo,
        tilted @ to_mm,
        flat.pixels.shape[1::-1],
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    off = np.abs(flat.pixels.astype(int) - whole)
    assert off.max() <= 1
    assert np.mean(off > 0) < 0.01
    places = rng.uniform(-5, 5, (10, 2))
    assert flat.to_mm(flat.to_flat(places)) == pytest.approx(places)
