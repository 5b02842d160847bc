"""Nominal places and tolerances: the grid is found again from pins set with a known error, for both ways of turning."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from disc.frame import theta_for, turn_for_onset_deg
from disc.records import Comb, Side, Turns
from disc.repin.records import spot
from disc.repin.work.nominal_places import bar_and_beat, lay_out, nominal_place, tolerance_at

from .material import PLATE, QUARTER_S, SETTING_MM, make_comb, make_pins


@pytest.fixture(params=list(Turns))
def disc(request):
    plate = replace(PLATE, turns=request.param)
    comb = make_comb()
    pins, tune = make_pins(comb, plate)
    return plate, comb, pins, tune


def true_spot(pin, plate, comb, tune):
    """Where the invented maker meant the pin to stand, by the strike equation alone."""
    note = next(n for n in tune.notes if pin.id in n.pins)
    tooth = comb.tooth(pin.tooth)
    turned = turn_for_onset_deg(tune.start_s + float(note.onset_quarter) * tune.quarter_s, plate.revolution_s)
    return spot(tooth.tip_r_mm, float(theta_for(turned, tooth.tip_theta_deg, plate.turns)))


def gap_mm(a, b):
    return math.hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm)


def test_nominal_places_are_nearer_the_maker_s_plan_than_the_pins_are(disc):
    plate, comb, pins, tune = disc
    layout = lay_out(pins, comb, plate, tune)
    found, nominal = [], []
    for pin in pins:
        plan = true_spot(pin, plate, comb, tune)
        here = spot(pin.r_mm, pin.theta_deg)
        made = nominal_place(layout, pin.side, here, pin.tooth, pin.id)
        assert made.on_grid
        found.append(gap_mm(here, plan))
        nominal.append(gap_mm(made.spot, plan))
    assert np.sqrt(np.mean(np.square(found))) == pytest.approx(SETTING_MM * math.sqrt(2), rel=0.3)
    assert np.sqrt(np.mean(np.square(nominal))) < 0.5 * np.sqrt(np.mean(np.square(found)))


def test_a_hole_the_tune_does_not_know_is_put_on_the_beat(disc):
    plate, comb, pins, tune = disc
    lost = pins[7]
    without = replace(tune, notes=tuple(n for n in tune.notes if lost.id not in n.pins))
    layout = lay_out([p for p in pins if p is not lost], comb, plate, without)
    made = nominal_place(layout, lost.side, spot(lost.r_mm, lost.theta_deg), lost.tooth)
    assert made.on_grid and gap_mm(made.spot, true_spot(lost, plate, comb, tune)) < 0.012


def test_early_is_early_and_outside_is_outside(disc):
    plate, comb, pins, tune = disc
    layout = lay_out(pins, comb, plate, tune)
    pin = pins[3]
    right = nominal_place(layout, pin.side, spot(pin.r_mm, pin.theta_deg), pin.tooth, pin.id).spot
    tooth = comb.tooth(pin.tooth)
    note = next(n for n in tune.notes if pin.id in n.pins)
    turned = turn_for_onset_deg(tune.start_s + float(note.onset_quarter) * QUARTER_S - 0.040, plate.revolution_s)
    ahead = spot(right.r_mm + 0.05, float(theta_for(turned, tooth.tip_theta_deg, plate.turns)))
    made = nominal_place(layout, pin.side, ahead, pin.tooth, pin.id)
    assert made.early_ms == pytest.approx(40.0, abs=10.0)  # the tooth's own lateness was estimated from its pins
    assert made.outward_mm == pytest.approx(0.05)


def test_a_tip_s_wrong_angle_is_taken_out(disc):
    """All tips of the table 0.3 degrees off (37 ms): the lateness per tooth brings most of it back."""
    plate, comb, pins, tune = disc
    off = Comb(tuple(replace(t, tip_theta_deg=(t.tip_theta_deg + 0.3) % 360) for t in comb.teeth))
    layout = lay_out(pins, off, plate, tune)
    errors = [
        gap_mm(
            nominal_place(layout, p.side, spot(p.r_mm, p.theta_deg), p.tooth, p.id).spot,
            true_spot(p, plate, comb, tune),
        )
        / p.r_mm
        for p in pins
    ]
    assert np.median(errors) < 0.35 * math.radians(0.3)


def test_without_beat_or_track_the_found_place_stands():
    bare = lay_out((), None, PLATE, None)
    made = nominal_place(bare, Side.UPPER, spot(8.0, 12.0), None)
    assert not made.on_grid and made.spot == spot(8.0, 12.0)


def test_a_hole_between_beats_is_on_no_beat(disc):
    plate, comb, pins, tune = disc
    layout = lay_out(pins, comb, plate, tune)
    tooth = comb.teeth[0]
    turned = turn_for_onset_deg(tune.start_s + 3.25 * QUARTER_S, plate.revolution_s)  # half way between two eighths
    between = spot(tooth.tip_r_mm, float(theta_for(turned, tooth.tip_theta_deg, plate.turns)))
    assert not nominal_place(layout, tooth.side, between, tooth.number).on_grid


def test_tolerances_by_hand():
    layout = lay_out((), make_comb(), PLATE, None)
    made = tolerance_at(layout, Side.UPPER, 9.0, 3, 0.25)
    # 10 ms of 45 s is 0.08 degrees; at 9 mm that is 0.08 / 360 x 2 pi x 9 = 0.01257 mm.
    assert made.along_deg == pytest.approx(0.08) and made.along_mm == pytest.approx(0.012566, abs=1e-6)
    # Tips of 0.25 mm, the widest assumed: a quarter of the pin may stand out; next tip 0.9 - 0.125 - 0.125 - 0.03.
    assert made.radial_mm == pytest.approx(0.0625)
    wide = lay_out((), make_comb(), PLATE, None, tip_width_mm=0.40)
    assert tolerance_at(wide, Side.UPPER, 9.0, 3, 0.25).radial_mm == pytest.approx(0.1375)  # 0.15 / 2 + 0.25 / 4
    wider = lay_out((), make_comb(), PLATE, None, tip_width_mm=1.30)
    assert tolerance_at(wider, Side.UPPER, 9.0, 3, 0.25).radial_mm == pytest.approx(0.095)  # 0.9 - 1.55 / 2 - 0.03


def test_bar_and_beat_are_the_written_ones(disc):
    plate, comb, pins, tune = disc
    layout = lay_out(pins, comb, plate, tune)
    for pin in pins:
        quarter = next(n for n in tune.notes if pin.id in n.pins).onset_quarter
        # 4/4, no upbeat: bar 1 begins at quarter 0, beats count from 1.
        assert bar_and_beat(layout, pin.theta_deg, pin.tooth) == (int(quarter // 4) + 1, 1 + quarter % 4)


def test_with_a_true_comb_the_scatter_of_the_pins_is_not_taken_for_the_tips(disc):
    """Tips exact: what is added as lateness stays well below the scatter that would seem to call for it."""
    plate, comb, pins, tune = disc
    layout = lay_out(pins, comb, plate, tune)
    setting_s = SETTING_MM / (2 * math.pi * 7.0) * plate.revolution_s  # at the tracks' middle radius
    assert max((abs(late) for late in layout.late_s.values()), default=0.0) < setting_s / 2


def test_how_well_the_maker_set_the_pins_is_told_from_many_and_not_from_a_handful(disc):
    """The plan says it beside the drills; from five pins it would be chance."""
    plate, comb, pins, tune = disc
    told_s = lay_out(pins, comb, plate, tune).setting_error_s
    true_s = np.sqrt(np.mean([(SETTING_MM / (2 * math.pi * p.r_mm) * plate.revolution_s) ** 2 for p in pins]))
    assert told_s == pytest.approx(true_s, rel=0.35)
    assert lay_out(pins[:5], comb, plate, tune).setting_error_s is None
