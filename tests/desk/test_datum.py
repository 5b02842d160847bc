"""Stop slot and centre marked by hand: numbers move, what is seen stays."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from disc.desk.open_job.datum import Datum, datum_from_mark, inverse, moved_pin, moved_view
from disc.desk.open_job.session import Session
from disc.desk.work.mark_place import mark_place
from disc.errors import BadInput
from disc.frame import to_xy_mm
from disc.job import open_job
from disc.photo.plane.view import View
from disc.records import Pin, Side

from .rig import make_job, photo_place, pins, view_matrix

data = st.builds(Datum, st.sampled_from(Side), st.floats(-1, 1), st.floats(-1, 1), st.floats(0, 359.9))


@given(data, st.floats(1.5, 12), st.floats(0, 359.9))
def test_what_is_seen_stays_where_it_is_and_the_way_back_leads_back(datum, r_mm, theta_deg):
    view = View(
        "x.jpg", datum.side, 900, 900, tuple(view_matrix(datum.side, 900).ravel()), 0.01, (1.0, 2.0, 300.0), True, 14.0
    )
    pin = Pin(1, datum.side, r_mm, theta_deg, lean_x_mm=0.3, lean_y_mm=-0.2, height_mm=0.5)
    moved = moved_pin(pin, datum)
    for height in (0.0, 0.5):
        before = view.to_photo_px(*tip(pin), height)
        after = moved_view(view, datum).to_photo_px(*tip(moved), height)
        assert np.hypot(before[0] - after[0], before[1] - after[1]) < 1e-6
    back = moved_pin(moved, inverse(datum))
    assert abs(back.r_mm - pin.r_mm) < 1e-9 and abs(math.remainder(back.theta_deg - pin.theta_deg, 360)) < 1e-7
    assert abs(back.lean_x_mm - 0.3) < 1e-9


def tip(pin):
    x, y = to_xy_mm(pin.r_mm, pin.theta_deg)
    return x + pin.lean_x_mm, y + pin.lean_y_mm


def test_a_slot_marked_five_degrees_on_takes_five_degrees_off_every_angle():
    datum = datum_from_mark("slot", Side.LOWER, 13.7, 5.0, 14.0)
    assert moved_pin(Pin(1, Side.LOWER, 7.0, 3.0), datum).theta_deg == pytest.approx(358.0)
    assert moved_pin(Pin(1, Side.UPPER, 7.0, 3.0), datum).theta_deg == 3.0
    centre = datum_from_mark("centre", Side.UPPER, 1.0, 90.0, 14.0)
    assert moved_pin(Pin(1, Side.UPPER, 14.0, 0.0), centre).theta_deg == pytest.approx(0.0, abs=1e-9)
    assert moved_pin(Pin(1, Side.UPPER, 1.0, 90.0), centre).r_mm == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    "what, r_mm, words",
    [("slot", 1.0, "too near"), ("centre", 9.0, "from the one found"), ("rim", 9.0, "slot or centre")],
)
def test_slips_of_the_hand_are_refused(what, r_mm, words):
    with pytest.raises(BadInput, match=words):
        datum_from_mark(what, Side.UPPER, r_mm, 10.0, 14.0)


def test_marked_edited_and_undone_on_a_job(tmp_path):
    folder = make_job(tmp_path / "watch")
    first = (folder / "pins.csv").read_bytes()
    session = Session(folder)
    upper = [pin for pin in session.pins if pin.side is Side.UPPER]
    session.change({"do": "change", "pins": [upper[0].id], "changes": {"condition": "stub"}})
    u, v = photo_place(Pin(0, Side.UPPER, 13.5, 4.0))
    mark_place(session, {"what": "slot", "sheet": "upper", "at": [u, v]})
    for pin in pins():
        now = next(p for p in session.pins if p.id == pin.id)
        off = 4.0 if pin.side is Side.UPPER else 0.0
        assert math.remainder(pin.theta_deg - now.theta_deg - off, 360.0) == pytest.approx(0.0, abs=2e-3)
    assert next(p for p in session.pins if p.id == upper[0].id).condition == "stub"
    session.change({"do": "change", "pins": [upper[1].id], "changes": {"condition": "bent"}})
    assert open_job(folder).settings["photo.slot_upper"] == pytest.approx([u, v], abs=0.01)
    session.go_to(1)
    session.go_to(3)
    assert {p.id: p.condition for p in session.pins}[upper[1].id] == "bent"
    session.go_to(0)
    assert (folder / "pins.csv").read_bytes() == first
    assert "photo.slot_upper" not in open_job(folder).settings
    session.close()
