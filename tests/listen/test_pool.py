"""Several recordings of one turn judged together."""

from __future__ import annotations

import numpy as np
import pytest

from disc.listen.turn.learn.true_pitches import OffTable
from disc.listen.turn.place.speed import motion_from
from disc.listen.turn.pool_turns import best_of, pooled
from disc.listen.turn.turn_record import Missed, Silence, Sound, Turn

PERIOD_S = 20.0


def recorded(chances: dict[int, float], fit: float = 0.8, **others: object) -> Turn:
    """A judged turn of so many strikes, one a second, each with its probability of silence."""
    times = np.arange(1.0, 21.0)
    motion = motion_from(times, times / PERIOD_S, [0] * len(times))
    heard = [k for k, p in chances.items() if p < 0.2]
    sounds = tuple(Sound(1.0 + k, 60.0 + k, k, k, 0, 0.0, 1.0) for k in heard)
    quiet = [k for k, p in chances.items() if p >= 0.2]
    open_ = tuple(k for k in quiet if chances[k] < 0.5)
    missed = tuple(Missed(1.0 + k, 60.0 + k, k, k) for k in quiet)
    silences = tuple(Silence(k, chances[k], f"reason {k}") for k in quiet)
    return Turn(
        sounds, tuple(k for k in quiet if k not in open_), (), (), PERIOD_S, np.ones((2, 2)), motion, (), 1.0, 0.0, fit,
        1.0, (), missed=tuple(m for m in missed if m.strike not in open_), undecided=open_,
        untold=tuple(m for m in missed if m.strike in open_), silences=silences, chances=chances, **others,
    )  # fmt: skip


def test_a_pin_silent_in_both_is_surer_and_one_clearly_heard_in_one_has_sounded() -> None:
    one = recorded({0: 0.001, 1: 0.7, 2: 0.35, 3: 0.6, 4: 0.3})
    other = recorded({0: 0.002, 1: 0.8, 2: 0.35, 3: 0.001, 4: 0.3})
    both = pooled((one, other))
    # Bayes with one prior of .05: odds of .7 and .8 are 2.33 and 4, the prior's 1 / 19; 2.33 x 4 x 19 = 177.
    assert both.chances[1] == pytest.approx(177.3 / 178.3, abs=1e-3)
    # Open in both, it is silent: 0.538 x 0.538 x 19 = 5.5. What one heard clearly has sounded.
    assert both.silent == (1, 2, 4) and both.undecided == ()
    assert [m.strike for m in both.missed] == [1, 2, 4] and not both.untold
    assert {s.strike for s in both.silences} == {1, 2, 4} and both.silences[0].reason == "reason 1"
    assert pooled((one,)) is one


def test_what_one_took_for_a_sound_is_none_where_the_other_is_sure_that_it_was_silent() -> None:
    one, other = recorded({0: 0.001, 1: 0.1}, fit=0.9), recorded({0: 0.001, 1: 0.99}, fit=0.7)
    assert best_of((other, one)) == 1
    both = pooled((one, other))
    assert both.silent == (1,) and [s.strike for s in both.sounds] == [0]
    assert both.silences[0].probability == pytest.approx(both.chances[1], abs=1e-3)


def test_a_tooth_is_off_its_table_where_most_recordings_say_so_with_their_mean() -> None:
    chances = {0: 0.001}
    found = [(OffTable(5, 50.0), OffTable(7, 30.0)), (OffTable(5, 54.0),), (OffTable(5, 52.0),)]
    both = pooled([recorded(chances, off_table=off) for off in found])
    assert both.off_table == (OffTable(5, 52.0),)
    assert "3 recordings" in both.remarks[-1]
