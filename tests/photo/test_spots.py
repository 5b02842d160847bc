"""The crops that the closer net is given."""

from __future__ import annotations

import numpy as np
import pytest

from disc.photo.flatten import Flat
from disc.photo.networks import CLOSER_PX
from disc.photo.spots import _turned_crops


@pytest.mark.parametrize("angle_deg", [0, 35, 90, 200])
@pytest.mark.parametrize("mirrored", [1, -1])
def test_a_crop_is_turned_so_that_the_way_given_points_to_the_right(angle_deg, mirrored):
    # A dot 12 px from the middle along the way, and a fainter one 6 px across it, drawn here.
    a = np.radians(angle_deg)
    right = np.array([np.cos(a), np.sin(a)])
    turn = np.array([right, mirrored * np.array([-right[1], right[0]])])
    at = np.array([80.0, 70.0])
    v, u = np.mgrid[0:160, 0:160]
    picture = np.zeros((160, 160))
    for (along, across), height in (((12, 0), 250), ((0, 6), 120)):
        x, y = at + along * turn[0] + across * turn[1]
        picture += height * np.exp(-((u - x) ** 2 + (v - y) ** 2) / 4)
    flat = Flat(np.repeat(picture[..., None], 3, 2).astype(np.uint8), 79.5, 42.0)
    (crop,) = _turned_crops(flat, at[None], turn[None])
    middle = (CLOSER_PX - 1) / 2
    j, i = np.unravel_index(crop[..., 0].argmax(), (CLOSER_PX, CLOSER_PX))
    assert (i, j) == pytest.approx((middle + 12, middle), abs=1)
    below = crop[round(middle) + 3 :, :, 0]
    j, i = np.unravel_index(below.argmax(), below.shape)
    assert (i, j + round(middle) + 3) == pytest.approx((middle, middle + 6), abs=1)
