"""A stop slot that a person marked where the photograph plainly shows none: told, with where it shows one."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest

from disc.frame import angle_gap_deg
from disc.photo.image import load_photo
from disc.photo.plate.slot import Slot
from disc.photo.plate.slot_signs import SlotPlace
from disc.photo.plate.which_slot import NO_NOTCH, ChosenSlot, odds_against_mark, slot_doubts
from disc.photo.read_face import read_face
from disc.photo.request import ReadSettings
from disc.records import About, Plate, Side

from .photo_sample import SAMPLE


def shown(angle_rad, probability):
    return ChosenSlot(SlotPlace(Slot(angle_rad, 0.9, 20.0), 5.0), probability)


def test_a_mark_beside_the_slot_that_is_seen_is_doubted_and_one_on_it_is_not():
    odds = odds_against_mark(shown(1.0, 0.99), 1.0 - np.radians(40.0), Side.UPPER, 0.05)
    assert odds is not None and odds.probability == pytest.approx(0.01) and odds.other_probability == 0.99
    assert angle_gap_deg(odds.other_theta_deg, 40.0) < 1e-6 or angle_gap_deg(odds.other_theta_deg, 320.0) < 1e-6
    assert odds_against_mark(shown(1.0, 0.99), 1.02, Side.UPPER, 0.05) is None
    assert (
        odds_against_mark(shown(1.0, 0.9), 2.0, Side.UPPER, 0.05) is None
    )  # not plain enough to speak against a person
    assert odds_against_mark(ChosenSlot(None, 0.0), 2.0, Side.UPPER, 0.05) is None
    (doubt,) = slot_doubts(odds, Side.UPPER)
    assert doubt.about is About.SLOT and doubt.probability == pytest.approx(0.99)
    assert "was marked where the photograph shows none" in doubt.say


def test_a_mark_where_no_notch_is_seen_is_doubted():
    (doubt,) = slot_doubts(None, Side.LOWER, is_seen=False)
    assert doubt.side is Side.LOWER and doubt.probability == NO_NOTCH and "no notch is seen" in doubt.say
    assert slot_doubts(None, Side.LOWER, is_seen=True) == ()


def test_on_the_sample_marked_forty_degrees_off(tmp_path):
    picture = cv2.imread(str(SAMPLE / "upper.jpg"))
    scale = 1000 / max(picture.shape)
    small = tmp_path / "upper.png"
    cv2.imwrite(str(small), cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))
    truth = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))
    photo = next(one for one in truth["photos"] if one["side"] == "upper")
    centre, slot = (np.array(photo[name]) for name in ("centre_px", "datum_px"))
    turn = np.radians(40.0)
    off = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ (slot - centre) + centre
    at = (np.array(off) + 0.5) * scale - 0.5
    reading = read_face(
        load_photo(small), Side.UPPER, Plate(truth["disc"]["diameter_mm"]), ReadSettings(slot=tuple(at))
    )
    assert reading.slot_odds is not None and reading.slot_odds.other_probability > 0.97
    assert angle_gap_deg(reading.slot_odds.other_theta_deg, 40.0) < 4.0
