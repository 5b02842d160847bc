"""Before and after: what changed is told, what did not is not, whatever the zero and the numbers of the readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.check.compare import SiteChange, change_words, common_turn_deg, compare_pins
from disc.records import Condition, Pin

from .making import sound_disc


def second_reading(pins: list[Pin], turn_deg: float, seed: int = 5) -> list[Pin]:
    """The same disc read again: a turned zero, small errors, other numbers in another order."""
    rng = np.random.default_rng(seed)
    order = rng.permutation(len(pins))
    again = []
    for number, i in enumerate(order, start=500):
        pin = pins[int(i)]
        theta = (pin.theta_deg + turn_deg + float(rng.normal(0, 0.05))) % 360
        again.append(replace(pin, id=number, r_mm=pin.r_mm + float(rng.normal(0, 0.01)), theta_deg=theta))
    return again


@pytest.mark.parametrize("turn_deg", [0.0, 0.8, -1.3])
def test_nothing_changed(turn_deg):
    pins = list(sound_disc())
    assert compare_pins(pins, second_reading(pins, turn_deg)) == ()
    assert common_turn_deg(pins, second_reading(pins, turn_deg)) == pytest.approx(turn_deg, abs=0.05)


def test_each_change_is_named():
    before = list(sound_disc())
    before[2] = replace(before[2], condition=Condition.MISSING)
    before[8] = replace(before[8], condition=Condition.BENT)
    after = list(before)
    after[2] = replace(after[2], condition=Condition.SOUND)
    after[8] = replace(after[8], condition=Condition.SOUND)
    after[12] = replace(after[12], condition=Condition.STUB)
    after[17] = replace(after[17], condition=Condition.BENT)
    after[20] = replace(after[20], r_mm=after[20].r_mm + 0.15)
    lost = after.pop(30)
    after.append(Pin(77, lost.side, 11.5, 123.0))
    changes = compare_pins(before, second_reading(after, 0.7))
    assert sorted(c.change for c in changes) == sorted(
        [
            SiteChange.SET,
            SiteChange.STRAIGHTENED,
            SiteChange.BROKEN,
            SiteChange.BENT,
            SiteChange.MOVED,
            SiteChange.LOST_SITE,
            SiteChange.NEW_SITE,
        ]
    )
    assert all(change_words(c) for c in changes)
    assert any("moved by 0.1" in change_words(c) for c in changes)


def test_an_empty_reading_loses_everything():
    pins = sound_disc()
    assert {c.change for c in compare_pins(pins, ())} == {SiteChange.LOST_SITE}
    assert len(compare_pins((), pins)) == len(pins)
