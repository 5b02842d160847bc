"""Several photographs of a face: laid onto each other by the pins, with one slot; what does not fit is left out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from disc.commands.typed.photo_marks import given_by_hand
from disc.errors import BadInput
from disc.photo.combine_photos import _one_side, read_both_sides
from disc.photo.image import Photo
from disc.photo.plate.one_width import common_width_mm
from disc.photo.quality import judge_photo
from disc.photo.read_photos import _opened
from disc.photo.request import ReadRequest, ReadSettings
from disc.photo.several.lay_on import lay_on
from disc.photo.several.merge_pins import ShownFace, merge_pins
from disc.photo.several.one_slot import slot_off_deg
from disc.records import Condition, Pin, Plate, Side

from .photo_sample import SAMPLE, f1, matched


def scattered(rng, n):
    """Places on a few tracks, mm."""
    r, t = rng.choice([5.0, 6.1, 7.3, 8.2, 9.4], n), rng.uniform(0, 2 * np.pi, n)
    return np.stack([r * np.cos(t), r * np.sin(t)], 1)


@pytest.mark.parametrize("turn_deg", [0.2, 90.3, 181.7, 359.9])
def test_marks_are_laid_on_each_other_at_any_turn(turn_deg):
    rng = np.random.default_rng(2)
    first, other = scattered(rng, 60), scattered(rng, 60)
    t = np.radians(turn_deg)
    back = np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])
    seen = first[12:] @ back.T + rng.normal(0, 0.03, (48, 2))  # turned back by it, a fifth not seen, and false ones
    laid = lay_on(first, np.concatenate([seen, scattered(rng, 15)]))
    assert np.degrees(laid.turn_rad) % 360 == pytest.approx(turn_deg, abs=0.15)
    assert laid.fits and np.sum(laid.pairs[:, 0] == laid.pairs[:, 1] + 12) >= 46
    assert not lay_on(first, other).fits  # another face with the very same tracks
    assert not lay_on(first, first * [1, -1]).fits  # nor the same one in a mirror


@pytest.fixture(scope="module")
def quarter(upper_photo):
    """The sample's photograph turned by a quarter, a little softer, its slot painted over, with the slot's place."""
    pixels = np.ascontiguousarray(np.rot90(upper_photo.pixels))
    return Photo(SAMPLE / "quarter.jpg", pixels)


def covered_slot(photo, view, upper_photo):
    """The photograph with plate drawn over its slot."""
    u, v = (float(c) for c in view.to_photo_px(view.radius_mm - 0.4, 0.0))
    away = (float(c) for c in view.to_photo_px(*((view.radius_mm - 0.4) * np.array([np.cos(0.1), np.sin(0.1)]))))
    (i, j), (k, m) = ((round(b), round(a)) for a, b in ((u, v), tuple(away)))
    half = round(0.7 * view.px_per_mm)
    pixels = upper_photo.pixels.copy()
    pixels[i - half : i + half, j - half : j + half] = pixels[k - half : k + half, m - half : m + half]
    return replace(photo, pixels=np.ascontiguousarray(np.rot90(pixels)))


def together_of(photos, plate, **more):
    paths = tuple(photo.path for photo in photos)
    return read_both_sides(ReadRequest(upper=paths, **more), {photo.path: photo for photo in photos}, plate)


def test_a_second_photo_turned_by_a_quarter_doubles_no_pin(plate, truth, upper_photo, upper_reading, quarter):
    """Its slot is hidden: the pins tell where it must be."""
    hidden = covered_slot(quarter, upper_reading.view, upper_photo)
    side = together_of([upper_photo, hidden], plate).sides[0]
    true = [pin for pin in truth["pins"] if pin["side"] == "upper"]
    assert len(side.readings) == 2
    assert len(side.pins) <= len(upper_reading.pins) + 1
    assert f1(side.pins, true) >= f1(upper_reading.pins, true) - 0.005
    both = [list(reading.pins) for _, reading in side.readings]
    pairs = matched(both[0], both[1], reach_mm=0.1)
    assert len(pairs) > 0.9 * len(both[0])  # already in one frame, before they are brought together


def test_a_mark_belongs_to_one_photo(plate, upper_photo, upper_reading, quarter):
    u, v = (float(c) for c in upper_reading.view.to_photo_px(upper_reading.view.radius_mm - 0.4, 0.0))
    slot = (v, upper_photo.width - 1 - u)  # where the turned picture has it
    named = {quarter.path: ReadSettings(slot=slot)}
    side = together_of([upper_photo, quarter], plate, by_photo=named).sides[0]
    assert len(side.pins) <= len(upper_reading.pins) + 1
    with pytest.raises(BadInput, match=r"--slot-upper: several photos .* --slot-upper \w+\.jpg=u,v"):
        together_of([upper_photo, quarter], plate, by_hand={Side.UPPER: ReadSettings(slot=slot)})


def test_marks_are_typed_with_the_photos_name():
    a, b = Path("x/one.jpg"), Path("x/two.jpg")
    plain, named = given_by_hand(Side.UPPER, [a, b], ["two=3,4"], ["one.jpg=1,2"], ["two=1,1 2,2", "two=3,3"], None)
    assert plain == ReadSettings()
    assert named[a] == ReadSettings(slot=(1.0, 2.0))
    assert named[b] == ReadSettings(centre=(3.0, 4.0), rim=((1.0, 1.0), (2.0, 2.0), (3.0, 3.0)))
    with pytest.raises(BadInput, match=r"--slot-lower: three is not one photo of this side. Given were: one\.jpg, two"):
        given_by_hand(Side.LOWER, [a, b], None, ["three=1,2"], None, None)
    with pytest.raises(BadInput, match="2 places were given for one photo"):
        given_by_hand(Side.LOWER, [a], None, ["1,2", "3,4"], None, None)


def test_a_photo_of_another_face_is_left_out_with_a_word(upper_photo, upper_reading):
    verdict = judge_photo(upper_photo, upper_reading.view)
    mirrored = [replace(pin, theta_deg=(-pin.theta_deg) % 360, confidence=0.6) for pin in upper_reading.pins]
    other = (replace(upper_photo, path=SAMPLE / "other.jpg"), replace(upper_reading, pins=tuple(mirrored)), verdict)
    alone = _one_side(Side.UPPER, [(upper_photo, upper_reading, verdict)])
    side = _one_side(Side.UPPER, [other, (upper_photo, upper_reading, verdict)])
    assert side.pins == alone.pins and len(side.readings) == 1
    doubt = next(doubt for doubt in side.doubts if "left out" in doubt.say)
    assert "other.jpg" in doubt.say and "% of the upper face's sites" in doubt.say and "--rim-upper" in doubt.advice


def test_the_slots_of_all_photos_give_the_frame(upper_reading):
    slot = upper_reading.slot
    faint = replace(slot, strength=slot.strength / 2)
    assert slot_off_deg([(0.0, slot), (0.2, slot)]) == pytest.approx(0.1)
    assert slot_off_deg([(0.0, replace(slot, strength=20)), (0.2, replace(slot, strength=10))]) == pytest.approx(0.04)
    assert slot_off_deg([(0.0, None), (0.2, faint)]) == pytest.approx(0.2)
    # One edge of the second is a shadow's: it is a quarter of a millimetre wider than the others show it.
    wide = replace(slot, width_mm=slot.width_mm + 0.25)
    width = common_width_mm([slot, wide, None, faint])
    assert width == slot.width_mm and common_width_mm([slot, wide]) is None
    assert abs(slot_off_deg([(0.0, slot), (0.4, wide)], width)) < 0.01
    # A view turned so shows a pin where it did, its angle counted from the new slot.
    for side in Side:
        view = replace(upper_reading.view, side=side)
        turned = view.turned(3.0)
        assert np.allclose(view.to_photo_px(9.0, 2.0, 0.4), turned.to_photo_px(*turned_back(9.0, 2.0, 3.0), 0.4))


def turned_back(x, y, turn_deg):
    t = np.radians(turn_deg)
    return np.cos(t) * x + np.sin(t) * y, np.cos(t) * y - np.sin(t) * x


def test_photos_are_weighed_place_by_place():
    def pin(confidence, condition=Condition.SOUND, probability=0.9, theta=45.0):
        return Pin(
            1,
            Side.UPPER,
            10.0,
            theta,
            condition=condition,
            sigma_mm=0.02,
            confidence=confidence,
            condition_probability=probability,
        )

    # What one believes and the other half believes is there; what the other shows nothing of is not.
    assert merge_pins([ShownFace([pin(0.8)]), ShownFace([], faint=[pin(0.45)])])[0].confidence > 0.5
    assert not merge_pins([ShownFace([pin(0.8)]), ShownFace([], faint=[pin(0.05)])])
    assert not merge_pins([ShownFace([pin(0.8)]), ShownFace([])])
    # A photograph that misses many of the other's sure pins says little by what it does not show.
    sure = [pin(0.999, theta=theta) for theta in range(100, 300, 5)]
    assert len(merge_pins([ShownFace([pin(0.8), *sure]), ShownFace(sure[::2])])) == len(sure) + 1
    assert len(merge_pins([ShownFace([pin(0.8), *sure]), ShownFace(sure)])) == len(sure)
    # The probability that goes with a condition is the one of what both make of it.
    one, two = pin(0.99, Condition.STUB, 0.6), pin(0.99, Condition.SOUND, 0.9)
    both = merge_pins([ShownFace([one]), ShownFace([two])])[0]
    assert both.condition is Condition.SOUND
    assert both.condition_probability == pytest.approx(0.9 * 0.2 / (0.9 * 0.2 + 0.05 * 0.6 + 0.05 * 0.2))


@pytest.fixture(scope="module")
def no_disc(upper_photo):
    """A picture of something else: the table alone."""
    grain = np.random.default_rng(3).normal(120, 9, (900, 1200, 3))
    return Photo(SAMPLE / "table.jpg", np.clip(grain, 0, 255).astype(np.uint8))


def test_a_photo_without_a_disc_is_set_aside_where_its_face_has_another(plate, upper_photo, upper_reading, no_disc):
    together = together_of([no_disc, upper_photo], plate)
    side = together.sides[0]
    assert len(side.readings) == 1 and side.photo.path == upper_photo.path
    assert [pin.r_mm for pin in side.pins] == pytest.approx([pin.r_mm for pin in upper_reading.pins])
    doubt = next(doubt for doubt in side.doubts if "set aside" in doubt.say)
    assert "table.jpg" in doubt.say and str(no_disc.path) not in doubt.say and doubt.side is Side.UPPER
    with pytest.raises(BadInput, match=r"table\.jpg"):
        together_of([no_disc], plate)
    with pytest.raises(BadInput, match=r"table\.jpg"):  # the lower face has no other
        photos = {photo.path: photo for photo in (no_disc, upper_photo)}
        read_both_sides(ReadRequest((upper_photo.path,), (no_disc.path,)), photos, plate)


def test_a_file_that_cannot_be_opened_is_set_aside_too(tmp_path):
    good, broken = tmp_path / "good.jpg", tmp_path / "broken.jpg"
    good.write_bytes((SAMPLE / "upper.jpg").read_bytes())
    broken.write_bytes(good.read_bytes()[:2000])
    photos, unusable = _opened(ReadRequest(upper=(broken, good)), (broken, good))
    assert set(photos) == {good} and "damaged" in str(unusable[broken])
    for request in (ReadRequest((broken,)), ReadRequest((good,), (broken,)), ReadRequest((good,), closer={})):
        with pytest.raises(BadInput, match="damaged"):
            _opened(request, (good, broken))
    absent = tmp_path / "typo.jpg"
    with pytest.raises(BadInput, match="no such file"):
        _opened(ReadRequest((absent, good)), (absent, good))
    with pytest.raises(BadInput, match="damaged"):  # as where all of a face's photographs are
        other = tmp_path / "other.jpg"
        other.write_bytes(broken.read_bytes())
        request = ReadRequest((broken, other))
        photos, unusable = _opened(request, request.upper)
        read_both_sides(request, photos, Plate(28.0), unusable)
