"""Close-ups laid onto a face by the pins: a constellation found again, and a piece of the sample's own photograph."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from disc.errors import BadInput
from disc.frame import to_polar, to_xy_mm
from disc.photo.close_up.lay_in import covered, lay_in
from disc.photo.close_up.match_pins import Scene, match
from disc.photo.close_up.of_request import with_close_ups
from disc.photo.close_up.read_close_up import CloseUp, read_close_up
from disc.photo.image import Photo
from disc.records import Condition, Pin, Side


def face(seed: int, n: int = 130):
    """n pins anywhere between 4 and 12 mm, (n, 2)."""
    rng = np.random.default_rng(seed)
    r, t = rng.uniform(4, 12, n), rng.uniform(0, 2 * np.pi, n)
    return np.stack([r * np.cos(t), r * np.sin(t)], 1)


def scene(pins, seen, turn_deg: float, scale: float, mirrored: bool, noise_mm: float = 0.02):
    """The pins seen in a square window about (6, 3), in a picture's own mm."""
    rng = np.random.default_rng(3)
    a = np.radians(turn_deg)
    back = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) / scale @ np.diag([1, -1 if mirrored else 1])
    marks = (seen - [6, 3] + rng.normal(0, noise_mm, seen.shape)) @ back.T
    half = 3.5 / scale
    frame = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    return Scene(marks, np.full(len(marks), 0.95), frame, pins, np.ones(len(pins)))


@pytest.mark.parametrize("turn_deg, scale, mirrored", [(0.0, 1.0, False), (133.0, 1.1, True), (310.0, 0.9, False)])
def test_found_whichever_way_round(turn_deg, scale, mirrored):
    pins = face(1)
    seen = pins[np.all(np.abs(pins - [6, 3]) < 2.4, axis=1)]
    assert len(seen) >= 6
    place = match(scene(pins, seen, turn_deg, scale, mirrored))
    assert place.mirrored is mirrored
    assert place.to_face(np.zeros((1, 2)))[0] == pytest.approx([6, 3], abs=0.05)
    assert place.scale == pytest.approx(scale, rel=0.01)
    assert len(place.pairs) == len(seen) and place.ahead > 4.5


def test_another_disc_is_nowhere():
    pins = face(1)
    place = match(scene(face(2), pins[np.all(np.abs(pins - [6, 3]) < 2.4, axis=1)], 40.0, 1.0, False))
    assert place.score < -7.0 or place.ahead < 4.5


@pytest.fixture(scope="module")
def crop(upper_photo, upper_reading):
    """A quarter of the sample's upper face, three times as large, turned, mirrored; and the pins in it."""
    view = upper_reading.view
    u, v = (float(c) for c in view.to_photo_px(5.0, 4.0))
    half, grow = 4.0 * view.px_per_mm, 3.0
    turn = cv2.getRotationMatrix2D((u, v), 70.0, grow)
    turn[:, 2] += np.array([half * grow - u, half * grow - v])
    side = int(2 * half * grow)
    pixels = cv2.warpAffine(upper_photo.pixels, turn, (side, side), flags=cv2.INTER_CUBIC)[:, ::-1]
    return Photo(Path("near.jpg"), np.ascontiguousarray(pixels))


@pytest.fixture(scope="module")
def seen(crop, upper_reading):
    return read_close_up(crop, Side.UPPER, upper_reading.pins, upper_reading.view.radius_mm)


def test_a_piece_of_the_sample_is_placed(seen):
    assert not seen.doubtful and seen.mirrored
    assert seen.outline_mm.mean(0) == pytest.approx([5.0, 4.0], abs=0.1)
    assert len(seen.pins) >= 5


def test_it_agrees_with_the_whole_face(seen, upper_reading):
    laid = lay_in(upper_reading.pins, [seen])
    assert abs(len(laid.pins) - len(upper_reading.pins)) <= 1
    for pin in upper_reading.pins:
        x, y = to_xy_mm(pin.r_mm, pin.theta_deg)
        apart = [np.hypot(x - a, y - b) for a, b in (to_xy_mm(q.r_mm, q.theta_deg) for q in laid.pins)]
        assert min(apart) < 0.05
    assert "mirrored" in laid.notes[0]


def test_what_it_does_not_show_loses_faith(seen, upper_reading):
    r, theta = to_polar(5.2, 4.3)
    ghost = Pin(999, Side.UPPER, float(r), float(theta), sigma_mm=0.02, confidence=0.8)
    laid = lay_in([*upper_reading.pins, ghost], [seen])
    assert all(pin.id != 999 for pin in laid.pins)


def test_a_doubtful_one_is_left_out(seen, upper_reading):
    laid = lay_in(upper_reading.pins, [replace(seen, reason="its marks fit the face's pins in two places")])
    assert [pin.r_mm for pin in laid.pins] == [
        pin.r_mm for pin in sorted(upper_reading.pins, key=lambda p: p.theta_deg)
    ]
    assert "its place on the face is doubtful" in laid.notes[0]


def test_two_that_do_not_agree_are_named(seen, upper_reading):
    other = replace(seen, pins=tuple(replace(pin, condition=Condition.STUB, r_mm=pin.r_mm + 0.12) for pin in seen.pins))
    notes = " ".join(lay_in(upper_reading.pins, [seen, other]).notes)
    assert "overlap and do not agree" in notes and "conditions differ" in notes
    # Which of its sure pins does the picture hold well within its edges?
    inside = covered(np.array([to_xy_mm(p.r_mm, p.theta_deg) for p in seen.pins]), seen.outline_mm)
    gone = next(p for p, here in zip(seen.pins, inside, strict=True) if here and p.confidence > 0.95)
    without = replace(seen, pins=tuple(p for p in seen.pins if p is not gone))
    assert "do not agree" not in " ".join(lay_in(upper_reading.pins, [seen, seen]).notes)
    assert "1 site stands in one only" in " ".join(lay_in(upper_reading.pins, [seen, without]).notes)
    unsure = replace(without, faint=(replace(gone, confidence=0.3),))  # it saw something there
    assert "do not agree" not in " ".join(lay_in(upper_reading.pins, [seen, unsure]).notes)


def test_without_a_whole_face_it_is_refused(crop):
    with pytest.raises(BadInput, match=r"near\.jpg: a close-up is laid onto the whole upper face.*--upper PHOTO"):
        with_close_ups([], {Side.UPPER: (crop.path,)}, {crop.path: crop}, {})


def test_an_empty_picture_is_doubtful(crop, upper_reading):
    empty = replace(crop, pixels=np.full_like(crop.pixels, 128))
    one = read_close_up(empty, Side.UPPER, upper_reading.pins, upper_reading.view.radius_mm)
    assert isinstance(one, CloseUp) and one.doubtful


def test_covered():
    square = np.array([[0, 0], [0, 4], [4, 4], [4, 0.0]])
    inside = np.array([[2, 2], [0.1, 2], [5, 2]])
    assert covered(inside, square).tolist() == covered(inside, square[::-1]).tolist() == [True, False, False]


def test_a_lean_that_all_pins_of_a_close_up_share_is_its_slant():
    """Six pins, each 0.1 mm off upright in the close-up; one leans on both pictures and is bent, one on the close-up
    alone, as where a shadow's end is taken for its tip."""
    whole = [
        Pin(k, Side.UPPER, 8.0, 10.0 * k, sigma_mm=0.02, confidence=0.99, lean_x_mm=0.01, lean_y_mm=0.0)
        for k in range(6)
    ]
    near = [replace(pin, lean_x_mm=0.11, lean_y_mm=-0.12, condition=Condition.BENT) for pin in whole]
    whole[2] = replace(whole[2], lean_x_mm=0.07)
    near[2], near[4] = replace(near[2], lean_x_mm=0.25), replace(near[4], lean_x_mm=0.49)
    xy = np.array([[20.0, -9.0], [20.0, 20.0], [-9.0, 20.0], [-9.0, -9.0]])
    one = CloseUp(
        Photo(Path("c.jpg"), np.zeros((4, 4, 3), np.uint8)), Side.UPPER, tuple(near), xy, 90.0, False, 6, 9.0, 9
    )
    laid = {pin.id: pin.condition for pin in lay_in(whole, [one]).pins}
    assert laid.pop(2) is Condition.BENT and set(laid.values()) == {Condition.SOUND}


def laid_in(whole: list[Pin], near: list[Pin], faint: tuple[Pin, ...] = ()) -> dict[int, Pin]:
    """The face's pins, by number, with one close-up of all of them."""
    xy = np.array([[20.0, -9.0], [20.0, 20.0], [-9.0, 20.0], [-9.0, -9.0]])
    photo = Photo(Path("c.jpg"), np.zeros((4, 4, 3), np.uint8))
    one = CloseUp(photo, Side.UPPER, tuple(near), xy, 90.0, False, 6, 9.0, 9, faint=faint)
    return {pin.id: pin for pin in lay_in(whole, [one]).pins}


def upright(number: int, **more: object) -> Pin:
    one = Pin(number, Side.UPPER, 8.0, 10.0 * number, sigma_mm=0.02, confidence=0.99, lean_x_mm=0.0, lean_y_mm=0.0)
    return replace(one, **({"condition_probability": 0.97} | more))


def test_the_surer_of_face_and_close_up_has_the_condition():
    """An empty hole told with .72 stays one where the close-up takes it for a pin with .52, and the other way round."""
    whole = [upright(k) for k in range(6)]
    near = list(whole)
    whole[1] = upright(1, condition=Condition.MISSING, height_mm=0.0, condition_probability=0.72)
    near[1] = upright(1, condition_probability=0.52)
    whole[2] = upright(2, condition_probability=0.60)
    near[2] = upright(2, condition=Condition.STUB, condition_probability=0.90)
    told = laid_in(whole, near)
    assert told[1].condition is Condition.MISSING and 0.3 < told[1].condition_probability < 0.72
    assert told[2].condition is Condition.STUB and 0.6 < told[2].condition_probability < 0.9
    assert told[3].condition is Condition.SOUND and told[3].condition_probability == pytest.approx(0.97)


def test_what_a_close_up_saw_faintly_is_not_taken_for_nothing():
    """A bent pin that the face told with .76: gone where the close-up saw nothing, kept where it saw half a pin."""
    whole = [*(upright(k) for k in range(6)), upright(6, confidence=0.76, condition=Condition.BENT)]
    near = whole[:6]
    assert 6 not in laid_in(whole, near)
    assert laid_in(whole, near, (upright(6, confidence=0.32),))[6].condition is Condition.BENT
    assert 6 not in laid_in(whole, near, (upright(6, confidence=0.03),))
