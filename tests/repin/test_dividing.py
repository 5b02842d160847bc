"""Settings of a dividing head against a handbook's table, and the laws any setting must obey."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from disc.errors import BadInput
from disc.repin.machine.dividing import COMMON_CIRCLES, best_dividing, check_head, divide, parse_circles, plain_indexing

# Plain indexing with a 40:1 head and the circles 15-20, 21-33 and 37-49, as machinists' handbooks tabulate it:
# divisions: (turns, holes, circle). From memory; the test below confirms each by (turns + holes / circle) x n = 40.
HANDBOOK = {
    2: (20, 0, 15), 3: (13, 13, 39), 4: (10, 0, 15), 5: (8, 0, 15), 6: (6, 26, 39), 7: (5, 15, 21), 8: (5, 0, 15),
    9: (4, 12, 27), 11: (3, 21, 33), 12: (3, 13, 39), 13: (3, 3, 39), 14: (2, 42, 49), 15: (2, 26, 39), 16: (2, 10, 20),
    17: (2, 6, 17), 18: (2, 6, 27), 19: (2, 2, 19), 21: (1, 19, 21), 22: (1, 27, 33), 23: (1, 17, 23), 24: (1, 26, 39),
    25: (1, 12, 20), 26: (1, 21, 39), 27: (1, 13, 27), 28: (1, 21, 49), 29: (1, 11, 29), 31: (1, 9, 31), 32: (1, 5, 20),
    33: (1, 7, 33), 34: (1, 3, 17), 35: (1, 7, 49), 36: (1, 3, 27), 37: (1, 3, 37), 38: (1, 1, 19), 39: (1, 1, 39),
    41: (0, 40, 41), 43: (0, 40, 43), 47: (0, 40, 47), 49: (0, 40, 49), 60: (0, 26, 39), 64: (0, 10, 16),
    72: (0, 15, 27), 100: (0, 8, 20), 120: (0, 13, 39), 360: (0, 2, 18),
}  # fmt: skip
# Divisions below 100 that the same handbooks send to differential indexing, since no circle serves; from memory.
NOT_PLAIN = (51, 53, 57, 59, 61, 63, 67, 69, 71, 73, 77, 79, 81, 83, 87, 89, 91, 93, 96, 97, 99)

angles = st.floats(0.0, 359.9999)
worms = st.sampled_from([40, 60, 90, 72])


@pytest.mark.parametrize("divisions", HANDBOOK)
def test_handbook_setting_is_among_ours(divisions):
    turns, holes, circle = HANDBOOK[divisions]
    assert (turns + Fraction(holes, circle)) * divisions == 40  # the copy itself
    found = plain_indexing(divisions, 40)
    if holes == 0:
        assert all(setting[:2] == (turns, 0) for setting in found) and found
    else:
        assert (turns, holes, circle) in found


def test_handbook_divisions_without_a_circle():
    assert tuple(n for n in range(1, 100) if not plain_indexing(n, 40)) == NOT_PLAIN


@pytest.mark.parametrize("divisions", [7, 13, 27, 41])
def test_a_job_of_equal_divisions_finds_the_handbook_circle_and_no_error(divisions):
    job = best_dividing([360.0 * k / divisions for k in range(divisions)], 40)
    assert job.worst_deg < 1e-9
    turns, holes, circle = HANDBOOK[divisions]
    first = job.settings[1]
    assert Fraction(first.step_holes, job.circle) + first.step_turns == turns + Fraction(holes, circle)


@given(st.lists(angles, min_size=1, max_size=30), worms, st.sampled_from(COMMON_CIRCLES))
def test_turns_and_holes_reach_the_angle(wanted, worm, circle):
    made = divide(sorted(wanted), worm, circle)
    reached = Fraction(0)
    for setting in made.settings:
        crank = setting.turns + Fraction(setting.holes, circle)
        angle = float(crank * 360 / worm)
        assert angle == pytest.approx(setting.angle_deg + setting.error_deg, abs=1e-9)
        assert abs(setting.error_deg) <= made.hole_deg / 2 + 1e-9
        reached += setting.step_turns + Fraction(setting.step_holes, circle)
        assert reached == crank  # steps add up to the angle from the slot: roundings do not gather


@given(st.lists(angles, min_size=1, max_size=12), worms)
def test_no_other_circle_is_better(wanted, worm):
    best = best_dividing(wanted, worm)
    worst = {c: max(abs(round(a * worm * c / 360) * 360 / (worm * c) - a) for a in wanted) for c in COMMON_CIRCLES}
    assert best.worst_deg == pytest.approx(min(worst.values()), abs=1e-6)


def test_the_crank_never_goes_back():
    made = divide([350.0, 359.99, 10.0], 40, 20)
    assert [(s.turns, s.holes) for s in made.settings] == [(38, 18), (40, 0), (1, 2)]
    assert (made.settings[2].step_turns, made.settings[2].step_holes) == (1, 2)  # on through the slot


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: check_head(0, (15,)), "0:1 is not possible"),
        (lambda: check_head(40, ()), "--plates"),
        (lambda: check_head(40, (0,)), "circle of 0 holes"),
        (lambda: parse_circles("15;x"), "whole numbers like 15,16"),
        (lambda: plain_indexing(0, 40), "0 divisions"),
    ],
)
def test_bad_heads_are_told(call, words):
    with pytest.raises(BadInput, match=words):
        call()


def test_plates_are_read_plate_by_plate():
    assert parse_circles("15,16; 21,23,") == (15, 16, 21, 23)
