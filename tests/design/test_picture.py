"""The picture shows what the layout says: pins where the strike equation puts them, faces told apart, holes open."""

from __future__ import annotations

import numpy as np
import pytest

from disc.design.picture.brass import Light
from disc.design.picture.camera import Camera
from disc.design.picture.draw_disc import picture_png, render_face, to_srgb
from disc.design.settings import Opening
from disc.records import Pin, Plate, Side

PLATE = Plate(30.0, thickness_mm=1.0, bore_mm=3.0, slot_width_mm=1.2, slot_depth_mm=1.0)
PINS = (
    Pin(1, Side.UPPER, 10.0, 30.0, 0.25, 0.5),
    Pin(2, Side.UPPER, 6.0, 200.0, 0.25, 0.5),
    Pin(3, Side.LOWER, 9.0, 80.0, 0.25, 0.5),
)


@pytest.mark.parametrize("camera", [Camera(600, 400, 30.0), Camera(500, 500, 30.0, 180.0, 0.8, 15.0, 40.0, 70.0)])
def test_camera_goes_there_and_back(camera: Camera) -> None:
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-15, 15, 50), rng.uniform(-15, 15, 50)
    back_x, back_y = camera.on_face(*camera.project(x, y))
    assert np.allclose(back_x, x) and np.allclose(back_y, y)


def test_camera_squared_on_keeps_the_axes() -> None:
    """Without tilt and roll the picture stands as the face does: x right, y up, the arbor in the middle."""
    camera = Camera(501, 501, 30.0)
    u, v = camera.project(np.array([0.0, 5.0, 0.0]), np.array([0.0, 0.0, 5.0]))
    assert u == pytest.approx([250, 250 + 5 * camera.px_per_mm, 250])
    assert v == pytest.approx([250, 250, 250 - 5 * camera.px_per_mm])
    turned = Camera(501, 501, 30.0, roll_deg=90.0)  # counter-clockwise: x goes up
    u, v = turned.project(np.array([5.0]), np.array([0.0]))
    assert (u[0], v[0]) == pytest.approx((250, 250 - 5 * camera.px_per_mm))
    nearer, _ = camera.project(np.array([5.0]), np.array([0.0]), 50.0)
    assert nearer[0] > 250 + 5 * camera.px_per_mm


def found_spots(side: Side) -> list[tuple[float, float]]:
    """Where the picture differs from one without pins: centres in mm of the view, by connected regions."""
    from scipy import ndimage

    camera = Camera(900, 900, 30.0)
    light = Light(elevation_deg=80.0)  # short shadows, so that a spot is a pin
    with_pins = render_face(PINS, PLATE, side, camera, light).astype(int)
    without = render_face((), PLATE, side, camera, light).astype(int)
    changed = np.abs(with_pins - without).max(axis=2) > 40
    labels, count = ndimage.label(ndimage.binary_dilation(changed, iterations=3))
    centres = ndimage.center_of_mass(changed, labels, range(1, count + 1))
    return [tuple(float(a) for a in camera.on_face(np.array(u), np.array(v))) for v, u in centres]


def test_pins_stand_where_the_layout_says() -> None:
    """Upper side: (r, theta) as in the conventions, counter-clockwise; lower side mirrored, y changes its sign."""
    upper = sorted(found_spots(Side.UPPER))
    expected = sorted([(10 * np.cos(np.pi / 6), 5.0), (6 * np.cos(np.deg2rad(200)), 6 * np.sin(np.deg2rad(200)))])
    assert np.allclose(upper, expected, atol=0.12)
    (lower,) = found_spots(Side.LOWER)
    assert np.allclose(lower, (9 * np.cos(np.deg2rad(80)), -9 * np.sin(np.deg2rad(80))), atol=0.12)


def test_bore_slot_and_opening_show_what_lies_beneath() -> None:
    opening = Opening("opening", from_r_mm=6.0, to_r_mm=9.0, from_theta_deg=60.0, to_theta_deg=100.0)
    camera = Camera(600, 600, 30.0)
    for side, sign in ((Side.UPPER, 1), (Side.LOWER, -1)):
        image = render_face((), PLATE, side, camera, None, (opening,)).astype(int)

        def is_brass(x: float, y: float, image=image) -> bool:
            u, v = camera.project(np.array(x), np.array(y))
            red, _, blue = image[round(float(v)), round(float(u))]
            return bool(red - blue > 30)  # brass is yellow, paper and what lies in a hole is grey

        at = np.deg2rad(80.0)
        assert not is_brass(0, 0) and not is_brass(14.6, 0) and not is_brass(0, 15.5)
        assert not is_brass(7.5 * np.cos(at), sign * 7.5 * np.sin(at))
        assert is_brass(7.5 * np.cos(at), -sign * 7.5 * np.sin(at))
        assert is_brass(-14.6, 0) and is_brass(0, 12.0)


def test_srgb_by_the_standard() -> None:
    # IEC 61966-2-1: 0 and 1 keep their place, linear 0.18 codes to 0.4614 (118 of 255); 0.002 is on the line.
    assert to_srgb(np.array([0.0, 0.002, 0.18, 1.0])).tolist() == [0, 7, 118, 255]


def test_both_faces_on_one_sheet() -> None:
    import io

    from PIL import Image

    sheet = Image.open(io.BytesIO(picture_png(PINS, PLATE, (), "The Winding Stem", "30 mm, 3 pins")))
    assert sheet.format == "PNG" and sheet.width > 1.5 * sheet.height
