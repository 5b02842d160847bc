"""The course of the disc through its strikes, and what one strike explains of another."""

from __future__ import annotations

import numpy as np
import pytest

from disc.listen.turn.hear.levels import usual_steadiness
from disc.listen.turn.hear.single_sounds import LAGS_S, Beginning, explain
from disc.listen.turn.judge.match_strikes import over_laps
from disc.listen.turn.place.disc_path import Expected
from disc.listen.turn.place.speed import motion_from

PERIOD_S = 40.0


@pytest.mark.parametrize("odd", [0, 30, 59])
def test_an_early_strike_does_not_bend_the_course(odd: int) -> None:
    """At either end too, where one strike could draw the course to itself."""
    rng = np.random.default_rng(3)
    turns = np.linspace(0.03, 0.97, 60)
    times = 1.0 + PERIOD_S * turns + rng.normal(0.0, 0.001, 60)
    times[odd] -= 0.08
    motion = motion_from(times, turns, list(range(12)) * 5)
    speed = motion.speed(np.linspace(times[1], times[-2], 50)) * PERIOD_S
    assert np.abs(speed - 1.0).max() < 0.004  # drawn to the strike it would be 0.02 off and more


def test_what_is_no_strike_explains_nothing() -> None:
    """A peak of noise a fifth below stands where its partial would: only a strike there would explain the sound."""
    shares = np.zeros((len(LAGS_S), 2, 2))
    shares[0, 1, 0] = 4.0  # a strike of the lower pitch shows four times as strongly in the upper one
    noise, sound = Beginning(0, 1.0, 0.3), Beginning(1, 1.002, 1.0)
    assert explain([noise, sound], shares, [])[1].explained == 0.0
    assert explain([noise, sound], shares, [noise])[1].explained == pytest.approx(1.2)


def test_a_later_strike_explains_nothing() -> None:
    shares = np.full((len(LAGS_S), 2, 2), 0.5)
    early, late = Beginning(1, 1.0, 1.0), Beginning(0, 1.04, 1.0)
    assert explain([early, late], shares, [late])[0].explained == 0.0
    assert explain([late, early], shares, [early])[0].explained > 0.0


def test_steadiness_of_a_pitch_without_strikes_is_its_neighbours() -> None:
    struck = [Beginning(g, t, 1.0, 0.0, s) for g, s in ((0, 0.9), (1, 0.8), (3, 0.6)) for t in (1.0, 2.0, 3.0)]
    own, beside = usual_steadiness(struck, 4)
    assert own == pytest.approx([0.9, 0.8, 0.8, 0.6]) and beside == pytest.approx([0.8] * 4)


def test_a_strike_in_doubt_in_one_lap_goes_by_all_laps() -> None:
    expected = [Expected(k, k * 0.1 + lap, k, k) for k in range(3) for lap in (0, 1)]
    odds = np.array([0.5, -2.5, 2.5, -0.5, 4.0, 5.0])
    assert over_laps(odds, expected) == pytest.approx([-2.0, -2.5, 2.5, -0.5, 4.0, 5.0])


def course_of(swing: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """(onsets, positions as pins read from a photograph give them)."""
    rng = np.random.default_rng(seed)
    turns = np.repeat(np.linspace(0.03, 0.97, 60), 2)
    w = 2.0 * np.pi / 9.0
    true = 1.0 + PERIOD_S * turns + swing / w * np.sin(w * PERIOD_S * turns)  # pace: 1 + swing cos(w t)
    return true + rng.normal(0.0, 0.010, 120), turns


def test_a_wheel_that_is_not_round_is_followed() -> None:
    """Pins stray by 10 ms, 120 of them: a swing of one in a hundred is then known within a quarter of itself."""
    times, turns = course_of(0.01, 5)
    motion = motion_from(times, turns, list(range(12)) * 10)
    grid = np.linspace(4.0, 36.0, 200)
    wanted = 1.0 / (1.0 + 0.01 * np.cos(2.0 * np.pi / 9.0 * (grid - 1.0)))
    assert np.sqrt(np.mean((motion.speed(grid) * PERIOD_S - wanted) ** 2)) < 0.0025


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_steady_disc_is_given_no_swing(seed: int) -> None:
    times, turns = course_of(0.0, seed)
    speed = motion_from(times, turns, list(range(12)) * 10).speed(np.linspace(4.0, 36.0, 200)) * PERIOD_S
    assert np.abs(speed - 1.0).max() < 0.005


def test_a_pin_beside_its_place_is_so_in_every_lap() -> None:
    """Two laps of pins that stray by 10 ms: their speeds, 1 % apart, are told within a tenth of that."""
    rng = np.random.default_rng(8)
    pins = np.arange(100)
    once = np.linspace(0.03, 0.97, 100)
    turns = np.r_[once, 1.0 + once]
    true = np.interp(turns, [0.0, 1.0, 2.0], [0.0, PERIOD_S, PERIOD_S * 2.01])
    times = true + np.tile(rng.normal(0.0, 0.010, 100), 2) + rng.normal(0.0, 0.001, 200)
    motion = motion_from(times, turns, (pins % 12).tolist() * 2, pins.tolist() * 2)
    laps = np.diff(motion.time(np.array([0.05, 0.95, 1.05, 1.95])))
    assert laps[2] / laps[0] == pytest.approx(1.01, abs=0.001)
