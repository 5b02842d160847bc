"""Rotary table and two-axis table: degrees that read back, and a slide that always arrives the same way."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from disc.repin.machine.readings import OVERRUN_MM, approach_from_one_side, degrees_minutes_seconds

places = st.tuples(st.floats(-20, 20), st.floats(-20, 20))


# Worked by hand: 0.5 degree is 30 minutes; 0.2575 degree is 15.45 minutes, 27 seconds over 15.
@pytest.mark.parametrize(
    "angle, reading",
    [(0.0, "0° 00' 00\""), (12.5, "12° 30' 00\""), (123.2575, "123° 15' 27\""), (359.99999, "360° 00' 00\"")],
)
def test_known_readings(angle, reading):
    assert str(degrees_minutes_seconds(angle)) == reading


@given(st.floats(0, 359.999), st.sampled_from([1, 5, 10]))
def test_reading_is_the_angle_to_half_a_division(angle, step):
    read = degrees_minutes_seconds(angle, step)
    back = read.degrees + read.minutes / 60 + read.seconds / 3600
    assert abs(back - angle) <= step / 7200 + 1e-9
    assert back - angle == pytest.approx(read.error_deg, abs=1e-9)
    assert 0 <= read.minutes < 60 and 0 <= read.seconds < 60


@given(st.lists(places, min_size=1, max_size=20))
def test_every_place_is_reached_rising_on_both_axes(wanted):
    at = (0.0, 0.0)
    for way, place in zip(approach_from_one_side(wanted), wanted, strict=True):
        assert way.x_mm == pytest.approx(place[0], abs=0.00051) and way.y_mm == pytest.approx(place[1], abs=0.00051)
        for via, end, before in ((way.via_x_mm, way.x_mm, at[0]), (way.via_y_mm, way.y_mm, at[1])):
            assert via <= end  # the last move never goes down
            # A slide that went down first went well past its place, farther than its play.
            assert end >= before or via == pytest.approx(end - OVERRUN_MM, abs=1e-6)
        at = (way.x_mm, way.y_mm)
