"""The slot of a job's photograph: the doubt of the reading gives way to what the music says, with a pixel to mark."""

from __future__ import annotations

import pytest

from disc.doubts import doubts_to_json
from disc.frame import to_xy_mm
from disc.job import create_job, open_for_writing
from disc.photo.plane.view import View
from disc.photo.plate.which_slot import SlotOdds, slot_doubts
from disc.records import About, Side
from disc.turn.turn_of_job import doubts_of_job
from tests.repin.material import PLATE, make_comb, make_pins
from tests.turn.test_slot_places import AT, turned

PX_PER_MM = 40.0


def photographed(folder, pins, odds):
    """A job of an invented reading: both faces seen straight from above, the upper one's slot not plain to see."""
    create_job(folder, PLATE)
    matrix = (PX_PER_MM, 0.0, 800.0, 0.0, -PX_PER_MM, 800.0, 0.0, 0.0, 1.0)
    with open_for_writing(folder) as job, job.step("read") as stage:
        job.stage_comb(stage, make_comb())
        job.stage_reading(stage, pins)
        for side in Side:
            view = View("x", side, 1600, 1600, matrix, 0.0, (0.0, 0.0, 200.0), True, PLATE.radius_mm)
            doubts = slot_doubts(odds, side) if side is Side.UPPER else ()
            told = {"probability": odds.probability, "other_theta_deg": AT, "other_probability": odds.other_probability}
            job.content.faces[side.value] = view.to_json() | {
                "photo": f"photos/{side.value}.jpg",
                "doubts": doubts_to_json(doubts),
                "slot_odds": told if side is Side.UPPER else None,
                "notes": [],
            }
    return job


def slots(job):
    return [doubt for doubt in doubts_of_job(job) if doubt.about is About.SLOT]


def test_a_right_slot_that_was_not_plain_to_see_is_in_doubt_no_more(tmp_path):
    pins, _ = make_pins(make_comb(), PLATE)
    assert slots(photographed(tmp_path / "disc", pins, SlotOdds(0.9, AT, 0.05))) == []


def test_a_wrong_slot_is_said_with_the_command_that_marks_the_right_one(tmp_path):
    pins, _ = make_pins(make_comb(), PLATE)
    job = photographed(tmp_path / "disc", turned(pins, Side.UPPER, AT), SlotOdds(0.7, AT, 0.25))
    (doubt,) = slots(job)
    assert "likelier at 137 degrees" in doubt.say and doubt.probability > 0.9 and doubt.side is Side.UPPER
    command, at = doubt.advice.rsplit(" ", 1)
    assert command.endswith(f"disc read {job.folder} --upper {job.folder}/photos/upper.jpg --slot-upper")
    x_mm, y_mm = to_xy_mm(PLATE.radius_mm - 0.4, AT)
    u, v = (float(part) for part in at.split(","))
    assert (u, v) == pytest.approx((800.0 + PX_PER_MM * x_mm, 800.0 - PX_PER_MM * y_mm), abs=1.0)


def test_a_slot_that_a_person_named_is_not_weighed(tmp_path):
    pins, _ = make_pins(make_comb(), PLATE)
    job = photographed(tmp_path / "disc", pins, SlotOdds(0.6, AT, 0.3))
    job.content.faces["upper"]["slot_odds"] = None
    (doubt,) = slots(job)  # the reader's own words stand
    assert doubt.side is Side.UPPER and doubt.probability == pytest.approx(0.4)
