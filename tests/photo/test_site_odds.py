"""What each witness adds to a site's odds: the tracks, the likeness to the face's own pins, the way tips lie apart.

Marks laid out by hand, all view mm; every upright pin shows 0.2 mm of itself, to the right.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from disc.photo.marks.site_odds import site_odds
from disc.photo.marks.spots import PIN, Spots
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
