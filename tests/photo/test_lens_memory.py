"""Lenses told by the sheet, kept for later photographs."""

from __future__ import annotations

import numpy as np
import pytest

from disc.errors import BadInput
from disc.photo.board import lens_memory
from disc.photo.image import CameraName
from disc.photo.plane.known_lens import lens_alone

PHONE = CameraName("Maker", "Maker One", 6.86, 1.0, 4032, 3024)


def test_remembered_and_told_again_whichever_way_up():
    lens_memory.remember(PHONE, lens_alone(np.log(1.1), 0.004, -0.02, 0.0005), 4032, 3024)
    lens = lens_memory.lens_of(PHONE)
    assert lens.known(4032, 3024).focal_px(4032) == pytest.approx(1.1 * 4032)
    assert lens.known(3024, 4032).focal_px(3024) == pytest.approx(1.1 * 4032)
    known = lens.known(4032, 3024)
    assert known.k1 == pytest.approx(-0.02)
    assert known.sigmas()[3] == pytest.approx(np.hypot(0.0005, lens_memory.K1_WIDTH))
    assert lens_memory.lens_of(CameraName("Maker", "Maker One", 6.86, 2.0, 4032, 3024)) is None
    assert lens_memory.lens_of(None) is None


def test_a_second_photo_moves_the_mean():
    for k1 in (-0.020, -0.022):
        lens_memory.remember(PHONE, lens_alone(np.log(1.1), 0.004, k1, 0.0005), 4032, 3024)
    (lens,) = lens_memory.remembered()
    assert -0.022 < lens.k1 < -0.020 and lens.photos == 2
    assert "Maker One, 6.86 mm" in lens.words()


def test_forgotten():
    for zoom in (1.0, 2.0):
        camera = CameraName("Maker", "Two", 6.86, zoom, 4032, 3024)
        lens_memory.remember(camera, lens_alone(0.1, 0.01, 0.0, 0.001), 4032, 3024)
    with pytest.raises(BadInput, match=r"--forget 3: give a number .*1 to 2"):
        lens_memory.forget_lens("3")
    assert len(lens_memory.forget_lens("1")) == 1 and len(lens_memory.remembered()) == 1
    lens_memory.forget_lens("all")
    assert lens_memory.remembered() == []


@pytest.mark.parametrize("content", ["", "{", "[]", '{"schema": 1, "lenses": [{}]}', '{"schema": 1, "lenses": 3}'])
def test_damaged_file_counts_as_none(content):
    (lens_memory.folder() / lens_memory.FILE).write_text(content)
    assert lens_memory.remembered() == []
    lens_memory.remember(PHONE, lens_alone(0.1, 0.01, 0.0, 0.001), 4032, 3024)
    assert len(lens_memory.remembered()) == 1
