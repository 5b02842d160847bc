"""A measuring sheet that was left out, and a close-up that was not used, are doubts of their face."""

from __future__ import annotations

import pytest

from disc.errors import BadInput
from disc.photo.board.sheet_told import SheetTold
from disc.photo.recorded_doubts import recorded_doubts
from disc.records import About, Side

USED = SheetTold(((1, 2.0, 3.0),), focal_px=3000.0, k1=0.0, height_mm=2.1)
CLOSE_UP = {"photo": "c1.jpg", "doubtful": None}


def told(sheet=USED, close_up=CLOSE_UP):
    return recorded_doubts(Side.LOWER, {"sheets": {"lower.jpg": sheet.to_json()}, "close_ups": [close_up]}, "J")


def test_what_was_used_is_no_doubt():
    assert told() == [] and recorded_doubts(Side.LOWER, {}, "J") == []


def test_what_was_left_out_is_said_with_the_reason_and_what_to_do():
    (sheet,) = told(sheet=SheetTold(((1, 2.0, 3.0),), left_out="It is curled by 3 mm."))
    assert sheet.about is About.SHARP and sheet.side is Side.LOWER and "It is curled by 3 mm." in sheet.say
    (close_up,) = told(close_up=CLOSE_UP | {"doubtful": "only 3 pins fit"})
    assert "c1.jpg was not used" in close_up.say and "only 3 pins fit" in close_up.say
    assert "--closer-lower" in close_up.advice


@pytest.mark.parametrize("height_mm, doubted", [(-3.0, True), (0.5, False), (7.5, False), (12.0, True)])
def test_a_face_that_cannot_lie_so_high_puts_the_diameter_in_doubt(height_mm, doubted):
    found = told(sheet=SheetTold(((1, 2.0, 3.0),), focal_px=3000.0, k1=0.0, height_mm=height_mm))
    assert [doubt.about for doubt in found] == [About.DIAMETER] * doubted


def test_a_damaged_record_is_named():
    with pytest.raises(BadInput, match="J: damaged"):
        recorded_doubts(Side.LOWER, {"sheets": {"x": {}}}, "J")
