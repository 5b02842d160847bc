"""Does it fit: each thing given wrongly is named, with its correction, and nothing is said of a disc that is whole.

Discs invented by a seeded script, and one with music: the tune of two strains of tests/check/making.py.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from disc.comb.pin_spread import give_teeth
from disc.comb.strikes import pins_from_strikes
from disc.frame import onset_s
from disc.records import About, Comb, Condition, Doubt, Pin, Side, Strike, Turns
from disc.turn.fit.bent_pins import lean_odds
from disc.turn.fit.direction import other_way, ringing_odds
from disc.turn.one_turn import OneTurn, resolve, resolve_strikes, with_direction_weighed
from tests.check import making
from tests.comb.test_comb import PLATE, invented

OTHER = {Side.UPPER: Side.LOWER, Side.LOWER: Side.UPPER}
SEEDS = range(2)


def said(pins: list[Pin], comb: Comb) -> tuple[Doubt, ...]:
    """What is doubted about faces, scale, disc and comb."""
    turn = resolve_strikes(give_teeth(pins, comb), comb, PLATE)
    told = (About.FACES, About.DIAMETER, About.DISC, About.COMB)
    return tuple(doubt for doubt in turn.doubts if doubt.about in told)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_disc_on_its_own_comb_is_not_doubted(seed):
    comb, pins = invented(seed)
    assert said(pins, comb) == ()


@pytest.mark.parametrize("seed", SEEDS)
def test_faint_marks_all_over_a_face_do_not_make_it_another_disc(seed):
    """Verdigris: as many spots as pins, each held for a pin with little confidence, anywhere on the face."""
    comb, pins = invented(seed)
    rng = np.random.default_rng(100 + seed)
    blots = [
        Pin(500 + n, side, float(rng.uniform(4.5, 12.0)), float(rng.uniform(0, 360)), confidence=0.4)
        for n, side in enumerate(list(Side) * 60)
    ]
    assert said([*pins, *blots], comb) == ()


@pytest.mark.parametrize("seed", SEEDS)
def test_photographs_given_the_wrong_way_round(seed):
    comb, pins = invented(seed)
    (doubt,) = said([replace(p, side=OTHER[p.side], tooth=None) for p in pins], comb)
    assert doubt.about is About.FACES and "disc read JOB --upper LOWER --lower UPPER" in doubt.advice


@pytest.mark.parametrize("seed", SEEDS)
def test_a_diameter_written_down_a_tenth_too_large_is_named_with_the_right_one(seed):
    comb, pins = invented(seed)
    (doubt,) = said([replace(p, r_mm=p.r_mm / 1.1, tooth=None) for p in pins], comb)
    assert doubt.about is About.DIAMETER
    named_mm = float(doubt.say.split("if the disc is ")[1].split(" mm")[0])
    assert named_mm == pytest.approx(PLATE.diameter_mm * 1.1, rel=0.015)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_face_of_another_disc_and_the_comb_of_another_disc(seed):
    comb, pins = invented(seed)
    other_comb, others = invented(seed + 50)
    foreign = [replace(p, id=p.id + 1000, tooth=None) for p in others if p.side is Side.LOWER]
    (doubt,) = said([*(p for p in pins if p.side is Side.UPPER), *foreign], comb)
    assert (doubt.about, doubt.side) == (About.DISC, Side.LOWER)
    (doubt,) = said(pins, other_comb)
    assert doubt.about is About.COMB


def music(turned: bool) -> OneTurn:
    """The disc of two strains, resolved under its own way of turning or under the other one."""
    plate = replace(making.PLATE, turns=other_way(making.PLATE.turns)) if turned else making.PLATE
    return with_direction_weighed(resolve(making.sound_disc(), making.COMB, plate))


def test_a_tune_that_runs_forwards_is_not_said_to_run_backwards():
    """The reverse reading is always there; it must be clearly the better one before a person is sent to the teeth."""
    assert About.DIRECTION not in {doubt.about for doubt in music(turned=False).doubts}


def test_a_disc_said_to_turn_the_wrong_way_is_told_by_its_music():
    (doubt,) = [doubt for doubt in music(turned=True).doubts if doubt.about is About.DIRECTION]
    assert f"turns {making.PLATE.turns.value}" in doubt.say and f"--turns {making.PLATE.turns.value}" in doubt.advice


@pytest.mark.parametrize("turned", [False, True])
def test_music_that_runs_alike_both_ways_names_no_direction(turned):
    """A strain and then the same backwards, as much silence before it as after: neither way is the better one."""
    plate = replace(making.PLATE, turns=other_way(making.PLATE.turns)) if turned else making.PLATE
    way = [*making.STRAIN, *reversed(making.STRAIN)]
    apart_deg = 360.0 / (len(way) + 5)
    heard = [
        Strike(turn_deg, onset_s(turn_deg, plate.revolution_s), tooth, float(making.PITCHES[tooth - 1]))
        for k, tooth in enumerate(way)
        if tooth and (turn_deg := apart_deg * (k + 3))
    ]
    turn = with_direction_weighed(resolve(pins_from_strikes(heard, making.COMB, making.PLATE), making.COMB, plate))
    assert turn.reading is not None and About.DIRECTION not in {doubt.about for doubt in turn.doubts}


def bent(*ahead_mm: float, outward_mm: float = 0.02) -> list[Pin]:
    """Pins of a disc that turns clockwise, leaning so far the way it moves."""
    pins = []
    for k, ahead in enumerate(ahead_mm, start=1):
        theta = math.radians(20.0 + 31.0 * k)  # clockwise: the way it moves is (sin, -cos)
        lean = (
            ahead * math.sin(theta) + outward_mm * math.cos(theta),
            -ahead * math.cos(theta) + outward_mm * math.sin(theta),
        )
        pins.append(Pin(k, Side.UPPER, 9.0, math.degrees(theta), 0.25, 0.5, Condition.BENT, *lean))
    return pins


def test_bent_pins_lean_back_from_the_teeth():
    """All back as the disc is said to move: it does; all ahead: it moves the other way; anyhow: nothing is told."""
    back, ahead = bent(-0.2, -0.3, -0.15), bent(0.2, 0.3, 0.15)
    assert lean_odds(back, Turns.CLOCKWISE) < -1.0 < 1.0 < lean_odds(ahead, Turns.CLOCKWISE)
    assert lean_odds(ahead, Turns.COUNTERCLOCKWISE) == pytest.approx(lean_odds(back, Turns.CLOCKWISE))
    assert abs(lean_odds([*bent(-0.2, 0.2), *bent(0.05, -0.05, outward_mm=0.3)], Turns.CLOCKWISE)) < 0.3
    assert lean_odds(bent(0.02, 0.03), Turns.CLOCKWISE) == lean_odds([], Turns.CLOCKWISE) == 0.0


def test_the_longer_free_arc_follows_the_last_note():
    """Alike, as some makers space them, they say nothing."""
    at = [replace(s, turn_deg=7.0 + 10.0 * k) for k, s in enumerate(music(turned=False).strikes[:35])]
    assert ringing_odds(at) < -0.5
    assert ringing_odds([replace(s, turn_deg=360.0 - s.turn_deg) for s in at]) == -ringing_odds(at)
    assert ringing_odds([replace(s, turn_deg=s.turn_deg + 3.0) for s in at]) == 0.0
