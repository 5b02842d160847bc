"""What printed melodies do tells how the faces lie and which way the line runs, on the disc of two strains."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.comb.pin_spread import give_teeth
from disc.comb.strikes import strikes_from_pins
from disc.records import About, Comb, Pin, Side
from disc.turn.fit.fit_doubts import fit_doubts
from disc.turn.fit.forwards import forwards_odds
from disc.turn.fit.melodies import scale_of, turned_faces, upper_line
from disc.turn.fit.phases import phases_of
from tests.check import making

PINS = give_teeth(making.sound_disc(), making.COMB).pins


def lying(by_deg: float, *sides: Side) -> tuple[Pin, ...]:
    return tuple(replace(p, theta_deg=(p.theta_deg + by_deg) % 360.0) if p.side in sides else p for p in PINS)


def strikes(pins: tuple[Pin, ...]):
    return strikes_from_pins(pins, making.COMB, making.PLATE)


def test_faces_that_belong_together_lie_best_as_they_are():
    found = turned_faces(strikes(PINS), PINS)
    assert found is not None and found.lead < -1.0


@pytest.mark.parametrize("by_deg", [-40.0, 90.0])
def test_a_turned_face_is_told_with_its_angle(by_deg):
    """The plate turns clockwise, so that a pin further round counter-clockwise strikes later."""
    pins = lying(by_deg, Side.UPPER)
    found = turned_faces(strikes(pins), pins)
    assert found is not None and found.lead > 1.0 and found.best_deg == pytest.approx(-by_deg, abs=1.0)
    (doubt,) = [d for d in fit_doubts(pins, making.COMB, making.PLATE, strikes(pins)) if d.about is About.SLOT]
    assert f"a likelier melody turned by {abs(by_deg):.0f} degrees" in doubt.say


def test_an_arc_that_is_free_elsewhere_and_not_at_rest_speaks_for_both_slots_being_turned():
    both = lying(90.0, *Side)
    rest_deg = making.PLATE.rest_arc_deg
    assert phases_of(strikes(both), both, rest_deg).rests_elsewhere
    assert not phases_of(strikes(PINS), PINS, rest_deg).rests_elsewhere


def test_few_notes_and_unknown_pitches_say_nothing():
    few = tuple(p for p in PINS if p.side is Side.UPPER)
    assert turned_faces(strikes(few), few) is None
    deaf = Comb(tuple(replace(tooth, pitch=None) for tooth in making.COMB.teeth))
    assert turned_faces(strikes_from_pins(PINS, deaf, making.PLATE), PINS) is None


def test_a_line_played_backwards_says_the_opposite():
    struck = strikes(PINS)
    when, pitch = upper_line(np.array([s.turn_deg for s in struck]), np.array([round(s.pitch) for s in struck]))
    fifths = scale_of(pitch)
    ahead, back = forwards_odds(when, pitch, fifths), forwards_odds(when[-1] - when[::-1], pitch[::-1], fifths)
    assert back == pytest.approx(-ahead, abs=1e-9)
    assert ahead > 1.0
