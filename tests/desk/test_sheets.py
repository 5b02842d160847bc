"""Places on the pictures against the conventions' own words, computed here without the code under test."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from disc.desk.page.sheets import flat_sheet, screen_turn, sheet_marks
from disc.desk.page.views import sheets_of_job
from disc.job import open_job
from disc.pitch_names import note_name
from disc.records import Pin, Plate, Side, Turns
from disc.turn.places import beat_words

from .rig import make_job, photo_place, pins

PLATE = Plate(26.0)
places = st.tuples(st.sampled_from(Side), st.floats(0.5, 12.9), st.floats(0.0, 359.99))


@given(places)
def test_there_and_back_on_every_sheet(place):
    side, r_mm, theta_deg = place
    for sides in ((side,), (Side.UPPER, Side.LOWER)):
        sheet = flat_sheet(PLATE, "x", "x", sides)
        [[u, v]] = sheet.points([r_mm], [theta_deg])
        r_back, theta_back = sheet.disc_place(u, v)
        # Places are rounded to 0.01 px; a pixel is 26 * 1.04 / 1600 = 0.017 mm.
        assert abs(r_back - r_mm) < 0.0003
        assert abs(math.remainder(theta_back - theta_deg, 360.0)) * math.radians(1) * r_mm < 0.0003


def test_upper_runs_counter_clockwise_and_lower_clockwise_on_the_screen():
    """Conventions: counter-clockwise from the slot as seen on the upper side; the lower side is seen mirrored."""
    for side, up in ((Side.UPPER, True), (Side.LOWER, False)):
        sheet = flat_sheet(PLATE, "x", "x", (side,))
        slot, later = sheet.points([12.0, 12.0], [0.0, 10.0])
        assert slot[0] > later[0] > 800 and (later[1] < slot[1]) is up  # pixels count downwards


def test_through_the_plate_both_faces_lie_as_seen_from_above():
    sheet = flat_sheet(PLATE, "through", "x", (Side.UPPER, Side.LOWER))
    marks = sheet_marks(sheet, [Pin(1, Side.UPPER, 7.0, 40.0), Pin(2, Side.LOWER, 7.0, 40.0)])
    assert marks[1] == marks[2]  # a through hole has the same place on both faces


@pytest.mark.parametrize("turns, screen", [(Turns.CLOCKWISE, 1), (Turns.COUNTERCLOCKWISE, -1)])
def test_the_disc_turns_on_the_screen_as_it_is_seen_from_above(turns, screen):
    assert screen_turn(Plate(26.0, turns)) == screen


def test_marks_on_the_photographs_are_where_the_camera_saw_the_pins(tmp_path):
    job = open_job(make_job(tmp_path / "watch"))
    for name, sheet in sheets_of_job(job).items():
        if name == "through":
            continue
        for pin in pins():
            if pin.side in sheet.sides:
                (u, v), _ = sheet_marks(sheet, [pin])[pin.id]
                assert math.hypot(u - photo_place(pin)[0], v - photo_place(pin)[1]) < 0.02


@pytest.mark.parametrize(
    "pitch, fifths, words",
    # Scientific pitch notation, middle C = C4 = MIDI 60 (MIDI 1.0 tuning standard: 69 is A4 at 440 Hz).
    [
        (69.0, 0, "A4"),
        (60.0, 0, "C4"),
        (70.0, -2, "B♭4"),
        (70.0, 3, "A♯4"),
        (68.86, 1, "A4 -14"),
        (None, 0, "pitch not known"),
    ],
)
def test_note_names(pitch, fifths, words):
    assert note_name(pitch, fifths, cents=True) == words


def test_beats_in_words():
    from fractions import Fraction

    assert [beat_words(Fraction(*beat)) for beat in ((1, 1), (5, 2), (7, 4), (4, 3))] == ["1", "2½", "1¾", "1 1/3"]
