"""Does it fit: each thing given wrongly is named, with its correction, and nothing is said of a disc that is whole.

Discs invented by a seeded script, and one with music: the tune of two strains of tests/check/making.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.comb.pin_spread import give_teeth
from disc.records import About, Comb, Doubt, Pin, Side
from disc.turn.fit.direction import other_way
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
