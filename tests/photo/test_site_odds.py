"""What each witness adds to a site's odds: the tracks, the likeness to the face's own pins, the way tips lie apart.

Marks laid out by hand, all view mm; every upright pin shows 0.2 mm of itself, to the right.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.photo.marks.pins_from_sites import FaceDoubt, Sites, height_sigma, kinds_by_slant, make_pins
from disc.photo.marks.site_odds import site_odds
from disc.photo.marks.spots import HOLE, PIN, STUB, Spots
from disc.photo.marks.tint import hole_odds, lights, tints
from disc.photo.plane.flatten import Flat
from disc.records import Condition, Side
from tests.photo.test_weigh import SLANT, UPRIGHT, spots

RADIUS_MM, BORE_MM = 14.0, 3.0
WEAK = 0.63  # heat of a mark that the networks leave open: neither shown nor withheld without another witness


def odds_of(marks: Spots) -> np.ndarray:
    return site_odds(marks, np.hypot(*marks.root.T), RADIUS_MM, SLANT, BORE_MM)


def ring(r_mm: float, count: int, from_deg: float = 0.0) -> list[tuple[float, float]]:
    at = np.deg2rad(from_deg + np.arange(count) * 360.0 / count)
    return list(zip(r_mm * np.cos(at), r_mm * np.sin(at), strict=True))


def test_a_weak_mark_on_a_track_is_a_pin_and_one_between_two_tracks_is_a_scratch():
    """Twelve sure pins on each of two tracks; of two marks alike to the networks the one on a track is shown."""
    root = np.array([*ring(8.0, 12), *ring(8.5, 12, 9.0), (8.0 * np.cos(0.2), 8.0 * np.sin(0.2)), (0.0, 8.25)])
    marks = spots(root, root + UPRIGHT, heat=[0.999] * 24 + [WEAK] * 2)
    marks = replace(marks, coarse=np.r_[np.full(24, 0.8), 0.45, 0.45])
    *_, on_track, between = odds_of(marks)
    assert on_track > 0.0 > between
    assert on_track - between > 2.0


def test_a_weak_mark_that_looks_like_the_faces_pins_is_shown_and_a_blot_is_not():
    """One light and one wire: the pattern about twenty sure pins' tips decides where the networks do not."""
    rng = np.random.default_rng(3)
    root = np.array([*ring(7.0, 22)])
    marks = spots(root, root + UPRIGHT, heat=[0.999] * 20 + [WEAK] * 2)
    marks = replace(marks, coarse=np.r_[np.full(20, 0.8), 0.35, 0.35])
    pattern, other = rng.normal(size=(2, 200))
    crop = np.where(np.arange(22)[:, None] < 21, pattern, other) + 0.3 * rng.normal(size=(22, 200))
    crop -= crop.mean(1, keepdims=True)
    marks = replace(marks, crop=crop / np.linalg.norm(crop, axis=1)[:, None])
    *_, like, blot = odds_of(marks)
    assert like - blot > 2.0
    without = odds_of(replace(marks, crop=np.zeros((22, 0))))
    assert like > without[-2] + 1.0 and blot < without[-1] - 1.0


def test_a_bent_pin_a_millimetre_from_an_upright_one_is_no_shadow_of_it():
    """Its tip lies on nobody else's: a disc of close bars has pins at such distances by the dozen."""
    root = np.array([[5.0, 1.0], [5.0, 2.0]])
    tip = root + np.array([UPRIGHT, UPRIGHT + np.array([0.0, 0.22])])
    upright, bent = odds_of(spots(root, tip, PIN))
    assert upright > 0 and bent > 0


STEEL, PLATE, BLUED = (0.34, -0.14), (0.02, 0.03), (0.9, -0.3)  # bluer and redder than the plate, logarithms


def coloured(marks: Spots, last: tuple[float, float], of_pins: tuple[float, float] = STEEL) -> Spots:
    """The marks with the pins' colour, the last of them with another."""
    tint = np.tile(np.array(of_pins), (len(marks), 2, 1)) + np.linspace(-0.02, 0.02, len(marks))[:, None, None]
    tint[-1] = last
    return replace(marks, tint=tint)


def test_a_mark_of_the_plates_own_colour_is_no_pin_of_a_face_whose_pins_are_steel():
    """Punch marks, plugs and pits are brass in shade. A hole has no colour; where pins are brass it tells nothing."""
    root = np.array([*ring(8.0, 20), (8.0 * np.cos(0.2), 8.0 * np.sin(0.2))])
    for kind in (PIN, STUB, HOLE):
        kinds = np.array([PIN] * 20 + [kind])
        marks = spots(root, np.where(kinds[:, None] == PIN, root + UPRIGHT, root), heat=[0.999] * 21)
        marks = replace(marks, kind=np.eye(3)[kinds])
        untold = odds_of(marks)[-1]
        plate, steel, blued = (odds_of(coloured(marks, tint))[-1] - untold for tint in (PLATE, STEEL, BLUED))
        if kind == HOLE:
            assert plate == steel == blued == 0.0
            continue
        assert plate < -3.0 and 0.5 < steel <= 1.0 and abs(blued) < 0.5
        assert odds_of(coloured(marks, (0.01, 0.0), of_pins=(0.03, -0.02)))[-1] == untold


def test_the_colour_of_a_mark_is_measured_beside_the_plate_about_it():
    plate, steel = np.array([60, 120, 160]), np.array([110, 130, 140])  # BGR
    pixels = np.broadcast_to(plate, (210, 210, 3)).astype(np.uint8).copy()
    down, right = np.mgrid[0:210, 0:210]
    pixels[np.hypot(down - 105, right - 105) < 3] = steel
    pixels[np.hypot(down - 105, right - 60) < 3] = plate // 2
    flat = Flat(pixels, 105.0, 21.0)
    at = flat.to_mm(np.array([[105.0, 105.0], [60.0, 105.0]]))
    (pin, _), (pit, _) = tints(flat, spots(at, at, heat=[0.9, 0.9]))
    ratio = np.log((steel + 10) / (plate + 10))
    assert np.allclose(pin, [ratio[0] - ratio[1], ratio[2] - ratio[1]], atol=0.03)
    assert np.abs(pit).max() < 0.12 < 0.4 < pin[0]


def test_a_black_mark_among_bright_pins_is_a_hole():
    """However the networks saw it; what is as bright as the pins is none, and through a hole paper may shine."""
    pins = np.linspace(-0.9, -0.7, 12)
    odds = hole_odds(np.array([-2.3, -0.8, 0.6, np.nan]), pins)
    assert odds[0] > 3.0 and odds[1:3].tolist() == [-1.0, -1.0] and odds[3] == 0.0
    # Where pins are lit unevenly it says little.
    assert hole_odds(np.array([-1.5]), np.linspace(-1.6, 0.4, 12))[0] < 0.0
    root = np.array(ring(8.0, 10))
    marks = replace(spots(root, root + UPRIGHT, heat=[0.999] * 10), light=np.append(pins[:9], -2.3))
    marks = replace(marks, kind=np.tile([0.7, 0.1, 0.2], (10, 1)))
    told, untold = (kinds_by_slant(one, SLANT).kind for one in (marks, replace(marks, light=np.full(10, np.nan))))
    assert told[-1, HOLE] > 3 * untold[-1, HOLE] and np.all(told[:-1, HOLE] <= untold[:-1, HOLE])


def test_how_bright_a_mark_is_is_measured_beside_the_plate_about_it():
    pixels = np.full((210, 210, 3), 120, np.uint8)
    down, right = np.mgrid[0:210, 0:210]
    pixels[np.hypot(down - 105, right - 105) < 3] = 15
    pixels[np.hypot(down - 105, right - 60) < 3] = 15
    pixels[np.hypot(down - 99, right - 60) < 3] = 180  # a pin's tip, its foot in shade
    flat = Flat(pixels, 105.0, 21.0)
    foot = flat.to_mm(np.array([[105.0, 105.0], [60.0, 105.0]]))
    tip = flat.to_mm(np.array([[105.0, 105.0], [60.0, 99.0]]))
    hole, pin = lights(flat, spots(foot, tip, heat=[0.9, 0.9]))
    assert hole == pytest.approx(np.log(20 / 125), abs=0.1) and pin == pytest.approx(np.log(185 / 125), abs=0.1)


def test_a_stub_seen_from_straight_above_is_told_with_doubt():
    """However sure the network is: a pin that shows none of its length looks the same."""
    root = np.array([(8.0, 0.0)])
    stub = replace(spots(root, root, heat=[0.999]), kind=np.array([[0.03, 0.95, 0.02]]))
    told = []
    for shown in (0.03, 0.3):
        slant = replace(SLANT, gain=0.0, shift=(-shown, 0.0))
        (pin,) = make_pins(Sites(stub, np.array([6.0])), slant, None, np.zeros(0), Side.UPPER, FaceDoubt(0.0, 0.0))
        assert pin.condition is Condition.STUB and not pin.presence_is_doubtful
        told.append(pin)
    squarely, aslant = told
    assert squarely.is_doubtful and not aslant.is_doubtful
    assert 0.5 < squarely.condition_probability < 0.75 < 0.9 < aslant.condition_probability < 0.95


def test_a_height_is_told_the_worse_the_shorter_a_pin_is_drawn() -> None:
    tilted, less = height_sigma(0.5, np.full(20, 0.2)), height_sigma(0.5, np.full(20, 0.1))
    assert tilted is not None and less is not None and less == pytest.approx(2 * tilted)
    assert height_sigma(0.5, np.full(20, 0.03)) is None  # seen from nearly straight above: left blank
    assert height_sigma(None, np.full(20, 0.2)) is None
