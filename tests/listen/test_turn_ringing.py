"""A tone that rings past a strike's place is no strike there: it was struck before, and that is where the strike is."""

from __future__ import annotations

from dataclasses import replace

import pytest

from disc.listen.turn.early_late import at_its_own_sound
from disc.listen.turn.followed import Followed
from disc.listen.turn.hear.single_sounds import Beginning
from disc.listen.turn.hear.strike_steps import steps_of

from .test_turn_beside import ON_TIME, PITCH, followed
from .test_turn_judges import voice, whole_of

PLACE_S, FORCE = 7.2, 0.2


def seen_with(sounds_s: float, own_force: float = 0.0, beside_cents: float = 0.0) -> Followed:
    """Strike 9 thought to be heard on its path; its tooth sounds at sounds_s, where nothing accounts for it, and with
    own_force on the path. beside_cents: how far its voice is beside its tone."""
    seen = followed([*ON_TIME, (2, PLACE_S, PLACE_S)])
    events = [(at, PITCH[tooth], FORCE) for tooth, _, at in ON_TIME if at is not None]
    _, whole = whole_of([*events, (sounds_s, PITCH[2], FORCE), (PLACE_S, PITCH[2], own_force)], 9.0)
    heard = tuple(replace(h, beginning=Beginning(h.expected.group, h.path_s, FORCE)) for h in seen.told.matched.heard)
    matched = replace(seen.told.matched, heard=heard, extra=((Beginning(1, sounds_s, FORCE), 0.5),))
    struck = [(h.expected.tooth, h.path_s) for h in heard]
    voices = seen.tuned | {2: voice(PITCH[2] + beside_cents / 100)}
    steps = steps_of(whole, voices, struck, struck)
    return replace(seen, tuned=voices, whole=whole, told=replace(seen.told, matched=matched), steps=steps)


@pytest.mark.parametrize(("beside_s", "cents"), [(-0.24, 0.0), (-0.175, 0.7), (0.2, -0.7)])
def test_what_only_rings_on_at_its_place_was_struck_where_it_begins(beside_s: float, cents: float) -> None:
    seen = seen_with(PLACE_S + beside_s, beside_cents=cents)
    found = at_its_own_sound(seen, seen.places_s)
    moved = found.told.matched.heard[9].beginning
    assert moved is not None and moved.time_s == pytest.approx(PLACE_S + beside_s)
    assert found.told.matched.extra == () and found.places_s[9] == pytest.approx(PLACE_S + beside_s)
    assert found.told.matched.heard[:9] == seen.told.matched.heard[:9]


@pytest.mark.parametrize(("beside_s", "force"), [(-0.175, 0.15), (-0.175, 1.0), (0.2, 0.15), (-0.4, 0.0)])
def test_a_strike_that_sounds_in_its_place_or_far_from_another_leaves_that_an_extra_one(
    beside_s: float, force: float
) -> None:
    seen = seen_with(PLACE_S + beside_s, force * FORCE, 0.7)
    found = at_its_own_sound(seen, seen.places_s)
    assert found.told.matched == seen.told.matched and list(found.places_s) == list(seen.places_s)
