"""How sure is said of metre and key: a logistic curve over the reading's own log-odds (Platt, 1999)."""

from __future__ import annotations

import pytest

from disc.tune.read.certainty import Certainty, straightened


def test_a_slope_of_one_and_no_constant_leaves_a_probability_alone():
    assert Certainty(1.0, 0.0, 1.0).of(0.73) == pytest.approx(0.73)


def test_even_odds_become_the_constant_whatever_the_slope():
    # expit(log 3) = 3/4
    assert Certainty(0.4, 1.0986123, 1.0).of(0.5) == pytest.approx(0.75, abs=1e-6)


def test_nothing_is_said_above_the_surest_cases_tried():
    assert Certainty(1.0, 0.0, 0.9).of(1.0) == 0.9
    assert 0.0 < Certainty(1.0, 0.0, 0.9).of(0.0) < 0.001


def test_the_others_share_what_is_left_as_before():
    best, second, third = straightened([0.5, 0.3, 0.1], Certainty(1.0, 1.0986123, 1.0))
    assert best == pytest.approx(0.75, abs=1e-6)
    assert second == pytest.approx(3 * third)
    assert second + third == pytest.approx(0.8 * 0.25)  # a tenth of the whole went to readings that are not listed


def test_one_reading_alone_takes_nothing_from_others():
    assert straightened([1.0], Certainty(1.0, 0.0, 0.9)) == [0.9]
    assert straightened([], Certainty(1.0, 0.0, 0.9)) == []
