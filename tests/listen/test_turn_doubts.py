"""What a recorded turn puts in doubt, in words with what settles it."""

from __future__ import annotations

from typing import Any

import numpy as np

from disc.doubts import doubts_from_json, doubts_to_json
from disc.listen.sound.disturbed import Disturbance
from disc.listen.turn.learn.true_pitches import OffTable
from disc.listen.turn.turn_doubts import doubts_of_turn
from disc.listen.turn.turn_record import Missed, Turn


def turn(**more: Any) -> Turn:
    """A judged turn of 38 s of which only what is given is known."""
    return Turn((), (), (), (), 38.0, np.zeros((0, 2)), None, (), 1.0, 0.0, 0.8, 1.0, (), **more)  # type: ignore[arg-type]


def test_a_tooth_off_its_table_is_said_with_the_way_to_settle_it() -> None:
    (doubt,) = doubts_of_turn(turn(off_table=(OffTable(27, 51.3), OffTable(3, -80.0))))
    assert "27 (+51 cents)" in doubt.say and "3 (-80 cents)" in doubt.say and "--tooth N RECORDING" in doubt.advice


def test_the_time_of_a_turn_is_offered_where_the_job_has_another() -> None:
    (doubt,) = doubts_of_turn(turn(), 45.0)
    assert doubt.say == "one turn takes 38.0 s in this recording; the job says 45 s."
    assert doubt.advice == "Take it over: disc set JOB --revolution-s 38.0."
    assert doubts_of_turn(turn(), 38.4) == () == doubts_of_turn(turn())


def test_what_else_is_heard_is_said_with_what_it_may_have_covered() -> None:
    missed = (Missed(5.2, 70.0, 4, 9), Missed(20.0, 71.0, 5, 10))
    (doubt,) = doubts_of_turn(turn(disturbed=(Disturbance(5.0, 6.0, False),), missed=missed))
    assert doubt.say.startswith("speech or another sound from 5.0 to 6.0 s is heard beside the disc; 1 of the strikes")
    assert doubts_from_json(doubts_to_json([doubt])) == (doubt,)
