"""A tooth is dead by all of its strikes together; the speed's course is the mean of all that may be; one thread."""

from __future__ import annotations

import numpy as np
import pytest

from disc.listen.findings import without_dead
from disc.listen.turn.judge.silent_strikes import dead_probability
from disc.listen.turn.place.disc_path import Expected
from disc.listen.turn.place.mean_course import CourseGuess, mean_course
from disc.listen.turn.place.speed import Motion
from disc.listen.turn.place.whirr import Whirr, _with_slow_course
from disc.records import Finding, Side


def strikes(*teeth: int) -> list[Expected]:
    return [Expected(k, 0.1 * k, tooth, tooth) for k, tooth in enumerate(teeth)]


def dead(odds: list[float]) -> float:
    """Of tooth 1, struck so often, beside one that sounds."""
    first = np.array([*odds, -8.0, -8.0])
    return float(dead_probability(first, strikes(*[1] * len(odds), 2, 2), np.ones(len(first), dtype=bool))[0])


def test_strikes_that_each_leave_it_open_make_a_tooth_dead_together() -> None:
    assert dead([1.5, 1.5, 1.5, 1.5]) > 0.9 > dead([1.5, 1.5])
    assert dead([4.0]) < 1e-9  # one pin alone: the pin, not the tooth


def test_one_strike_that_clearly_sounded_outweighs_two_that_did_not() -> None:
    assert dead([4.0, 4.0, -8.0]) < 0.1 and dead([4.0, 4.0, 4.0, -2.0]) > 0.9
    # What more likely sounded than not never speaks for a dead tooth, however many such there are.
    assert dead([-1.0] * 12) < 0.04


def test_the_silences_of_teeth_known_to_be_dead_are_told_apart() -> None:
    def found(kind: str, tooth: int, at_s: float) -> tuple[Finding, None, float]:
        return Finding(kind, Side.UPPER, 9.0, 10.0 * at_s, 0.9, (), round(at_s), tooth), None, at_s

    own = [found("silent-strike", 4, 1.0), found("off-beat", 5, 4.0)]
    rest, words = without_dead([*own, found("silent-strike", 5, 2.0), found("silent-strike", 5, 3.0)], {5, 7})
    assert rest == own and "tooth 5 at 2.00, 3.00 s" in words
    assert without_dead(own, {7}) == (own, "")


def test_the_mean_of_courses_goes_with_the_likelier_and_knows_no_swing_in_none() -> None:
    grid = np.arange(200) * 0.1
    at = np.arange(10, 190, 6)
    sums = np.array([[0.1 * (k < n) for k in range(200)] for n in at])
    smooth = 0.03**2 * np.exp(-0.5 * ((grid[:, None] - grid[None, :]) / 6.0) ** 2)
    truth = 0.02 * np.sin(grid / 4.0)
    swings = np.stack([np.cos(2 * np.pi * grid / 5.0), np.sin(2 * np.pi * grid / 5.0)], axis=1)[None]
    noise = 0.004**2 * np.eye(len(at))

    def found(pace: np.ndarray) -> CourseGuess:
        return CourseGuess(sums @ pace @ sums.T + noise, pace, ())

    both, _ = mean_course([found(smooth), found(1e-8 * smooth)], sums @ truth, sums, swings)
    alone, _ = mean_course([found(smooth)], sums @ truth, sums, swings)
    assert np.sqrt(np.mean((both - truth)[10:-10] ** 2)) < 0.004 and np.allclose(both, alone, atol=1e-4)


@pytest.mark.parametrize("is_true", [True, False])
def test_the_whirrs_slow_course_is_taken_only_where_the_strikes_lie_about_it(is_true: bool) -> None:
    times = np.arange(0.0, 40.0, 0.02)
    swing = 1.0 + 0.01 * np.sin(2 * np.pi * times / 10.0)
    course = np.cumsum(swing) * 0.02 / 40.0
    onsets = np.arange(1.0, 39.0, 0.4)
    places = np.interp(onsets, times, course) + np.random.default_rng(3).normal(0.0, 0.0001, len(onsets))
    steady = Motion(times, times / 40.0)
    whirr = Whirr(times, swing if is_true else 2.0 - swing, (300.0,))
    got = _with_slow_course(whirr, steady, onsets, places).ratio
    assert np.allclose(got, swing, atol=0.001) if is_true else float(np.abs(got - 1.0)[300:-300].max()) < 0.006
