"""Pins to teeth and strikes, with discs invented by a seeded script."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from disc.comb.assign import assign_teeth
from disc.comb.comb_job import draft_from_pins, take_table
from disc.comb.from_pins import comb_from_pins
from disc.comb.strikes import pins_from_strikes, strikes_from_pins
from disc.comb.tracks import find_tracks
from disc.errors import BadInput, MissingPart
from disc.job import create_job, open_job
from disc.records import Comb, Condition, Pin, Plate, Side, Strike, Tooth, Turns
from disc.tables import format_comb

PLATE = Plate(28.0, Turns.COUNTERCLOCKWISE, 48.0)


def invented(seed: int, pins: int = 90) -> tuple[Comb, list[Pin]]:
    """A comb of 20 teeth, tracks about 0.5 mm apart, and pins set with 0.02 mm error, 0.07 mm at most."""
    rng = np.random.default_rng(seed)
    teeth = []
    for side in Side:
        r = 4.6 + np.cumsum(rng.uniform(0.45, 1.0, 10))
        teeth += [(side, float(x)) for x in r]
    comb = Comb(
        tuple(
            Tooth(n, side, round(r, 4), float(rng.uniform(0, 360)), 60.0 + n)
            for n, (side, r) in enumerate(teeth, start=1)
        )
    )
    chosen = rng.integers(0, len(comb.teeth), pins)
    made = []
    for number, index in enumerate(chosen, start=1):
        tooth = comb.teeth[index]
        r = tooth.tip_r_mm + float(np.clip(rng.normal(0, 0.02), -0.07, 0.07))
        made.append(Pin(number, tooth.side, r, float(rng.uniform(0, 360)), sigma_mm=0.01, tooth=tooth.number))
    return comb, made


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.floats(-0.015, 0.015), st.floats(-0.1, 0.1))
def test_every_pin_gets_its_tooth_though_the_scales_differ(seed, stretch, offset):
    comb, pins = invented(seed)
    measured = [replace(p, r_mm=p.r_mm * (1 + stretch) + offset, tooth=None) for p in pins]
    found = assign_teeth(measured, comb)
    assert [p.tooth for p in found.pins] == [p.tooth for p in pins]
    assert found.between == ()
    assert np.median(list(found.probability.values())) > 0.99
    radii = np.array([t.tip_r_mm for t in comb.teeth])
    gap = radii * (1 + found.stretch) + found.offset_mm - (radii * (1 + stretch) + offset)
    assert np.abs(gap).max() < 0.05


def test_a_pin_between_two_tracks_says_so_and_one_far_off_gets_none():
    comb, pins = invented(3)
    upper = sorted(t.tip_r_mm for t in comb.teeth if t.side is Side.UPPER)
    between = Pin(501, Side.UPPER, (upper[2] + upper[3]) / 2, 10.0, sigma_mm=0.15)
    far = Pin(502, Side.UPPER, upper[-1] + 1.0, 10.0, sigma_mm=0.01)
    found = assign_teeth([*pins, between, far], comb)
    assert found.between == (501,)
    assert found.off_track == (502,)
    assert found.pins[-1].tooth is None


def test_a_tooth_set_by_a_person_stands():
    comb, pins = invented(4)
    other = next(t.number for t in comb.teeth if t.number != pins[0].tooth)
    assert assign_teeth(pins, comb, {pins[0].id: other}).pins[0].tooth == other


def test_pins_of_one_face_never_get_a_tooth_of_the_other():
    comb, pins = invented(5)
    by_number = {t.number: t for t in comb.teeth}
    turned_over = [replace(p, side=Side.LOWER) for p in pins]
    for pin in assign_teeth(turned_over, comb).pins:
        assert pin.tooth is None or by_number[pin.tooth].side is Side.LOWER


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_tracks_are_found_without_knowing_their_number(seed):
    _, pins = invented(seed, pins=120)
    used = {p.tooth for p in pins}
    draft, placed = comb_from_pins(pins)
    assert draft.draft
    assert len(draft.teeth) == len(used)
    pairs = {(p.tooth, q.tooth) for p, q in zip(pins, placed, strict=True)}
    assert len(pairs) == len(used)  # one draft tooth for each true one


def test_no_pins_no_tracks():
    assert find_tracks(np.array([])) == ()
    with pytest.raises(MissingPart, match="there are no pins"):
        comb_from_pins([Pin(1, Side.UPPER, 5.0, 1.0, condition=Condition.MISSING)])


def test_strikes_worked_by_hand():
    # Counter-clockwise, tip at 90: a pin at 60 has 30 degrees to go, 4 s of 48; one at 100 goes round 350 degrees.
    comb = Comb((Tooth(1, Side.UPPER, 8.0, 90.0, 72.0),))
    pins = [Pin(1, Side.UPPER, 8.0, 100.0, tooth=1), Pin(2, Side.UPPER, 8.0, 60.0, tooth=1)]
    strikes = strikes_from_pins(pins, comb, PLATE)
    assert [(s.pin_id, s.turn_deg, s.onset_s) for s in strikes] == [
        (2, pytest.approx(30.0), pytest.approx(4.0)),
        (1, pytest.approx(350.0), pytest.approx(350.0 / 360.0 * 48.0)),
    ]


def test_what_plays_as_it_stands_and_as_it_should():
    comb = Comb((Tooth(1, Side.UPPER, 8.0, 90.0, 72.0),))
    pins = [
        Pin(1, Side.UPPER, 8.0, 60.0, condition=Condition.MISSING, tooth=1),
        Pin(2, Side.UPPER, 8.0, 50.0, condition=Condition.BENT, lean_x_mm=-0.1, lean_y_mm=0.0, tooth=1),
        Pin(3, Side.UPPER, 8.0, 40.0, condition=Condition.EXTRA, height_mm=0.0),
        Pin(4, Side.UPPER, 8.0, 30.0, condition=Condition.STUB, tooth=1),
    ]
    assert [s.pin_id for s in strikes_from_pins(pins, comb, PLATE)] == [2]
    assert [s.pin_id for s in strikes_from_pins(pins, comb, PLATE, with_missing=True)] == [1, 2, 4]
    (leaning,) = strikes_from_pins(pins, comb, PLATE, as_it_stands=True)
    assert leaning.turn_deg < 40.0  # leans along the motion: early


@given(st.integers(0, 1000), st.sampled_from(Turns))
def test_the_two_directions_of_the_chain_meet(seed, turns):
    comb, pins = invented(seed, pins=20)
    plate = replace(PLATE, turns=turns)
    strikes = strikes_from_pins(pins, comb, plate)
    again = strikes_from_pins(pins_from_strikes(strikes, comb, plate), comb, plate)
    assert [(s.tooth, pytest.approx(s.turn_deg, abs=1e-9)) for s in strikes] == [(s.tooth, s.turn_deg) for s in again]


def test_no_place_for_a_strike_whose_tip_angle_is_unknown():
    with pytest.raises(ValueError, match="tooth 1 has no tip angle"):
        pins_from_strikes([Strike(1.0, 0.1, 1)], Comb((Tooth(1, Side.UPPER, 8.0),)), PLATE)


def test_a_table_taken_into_a_job(tmp_path):
    comb, pins = invented(8)
    job = create_job(tmp_path / "j", PLATE)
    with job.step("read") as stage:
        job.stage_reading(stage, tuple(replace(p, tooth=None) for p in pins))
    table = tmp_path / "comb.csv"
    table.write_text(format_comb(comb))
    take_table(job, table)
    again = open_job(job.folder)
    assert [p.tooth for p in again.pins()] == [p.tooth for p in pins]
    assert not again.comb().draft
    draft_from_pins(again)
    assert open_job(job.folder).comb().draft


def test_a_tip_outside_the_plate_is_refused(tmp_path):
    job = create_job(tmp_path / "j", PLATE)
    table = tmp_path / "comb.csv"
    table.write_text("number,side,tip_r_mm\n4,upper,14.5\n")
    with pytest.raises(BadInput, match=r"tooth 4 has its tip at 14.5 mm, outside the plate \(radius 14 mm\)"):
        take_table(job, table)
    assert not job.has("comb.csv")
