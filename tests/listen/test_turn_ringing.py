"""A tone that rings past a strike's place is no strike there: it was struck before, and that is where the strike is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.listen.turn.early_late import at_its_own_sound
from disc.listen.turn.followed import Followed
from disc.listen.turn.hear.single_sounds import Beginning
from disc.listen.turn.hear.strike_steps import ToothVoice, steps_of
from disc.listen.turn.learn.tuned_voices import tuned

from .struck_bars import hz
from .test_turn_beside import ON_TIME, followed
from .test_turn_judges import voice, whole_of

PLACE_S = 7.2


def seen_with(sounds_s: float, level: float | None = None) -> Followed:
    """Strike 9 thought to be heard on its path; its tooth sounds at sounds_s, where nothing accounts for it."""
    strikes: list[tuple[int, float, float | None]] = [*ON_TIME, (2, PLACE_S, sounds_s)]
    seen = followed(strikes)
    heard = [replace(h, beginning=Beginning(h.expected.group, h.path_s, 0.2, 0.0, 1.0)) for h in seen.told.matched.heard]
    there = Beginning(1, sounds_s, 0.2, 0.0, 1.0)
    matched = replace(seen.told.matched, heard=tuple(heard), extra=((there, 0.5),))
    steps = list(seen.steps)
    if level is not None:
        assert steps[9] is not None and steps[7] is not None
        steps[9] = replace(steps[9], level=level * steps[7].level)
    return replace(seen, told=replace(seen.told, matched=matched), steps=steps)


@pytest.mark.parametrize("beside_s", [-0.24, -0.175, 0.2])
def test_what_only_rings_on_at_its_place_was_struck_where_it_begins(beside_s: float) -> None:
    seen = seen_with(PLACE_S + beside_s)
    found = at_its_own_sound(seen, seen.places_s)
    moved = found.told.matched.heard[9].beginning
    assert moved is not None and moved.time_s == pytest.approx(PLACE_S + beside_s)
    assert found.told.matched.extra == () and found.places_s[9] == pytest.approx(PLACE_S + beside_s)
    assert [h.beginning for h in found.told.matched.heard[:9]] == [h.beginning for h in seen.told.matched.heard[:9]]
