"""Evidence against Bayes' rule worked out by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from disc.check.evidence import (
    LARGEST_WEIGHT,
    combine,
    limited,
    log_odds,
    normal_log_density,
    probability_of,
)
from disc.records import Evidence


def test_two_observations_by_bayes():
    # Prior 1 in 5. First seen with 0.9 if so, 0.2 if not; second 0.6 and 0.3.
    # By hand: 0.2*0.9*0.6 / (0.2*0.9*0.6 + 0.8*0.2*0.3) = 0.108 / 0.156
    items = [Evidence("seen", "", math.log(0.9 / 0.2)), Evidence("heard", "", math.log(0.6 / 0.3))]
    assert combine(0.2, items) == pytest.approx(0.108 / 0.156)


def test_no_evidence_leaves_the_prior():
    assert combine(0.37, []) == pytest.approx(0.37)


@given(st.floats(-30, 30))
def test_odds_there_and_back(odds):
    assert log_odds(probability_of(odds)) == pytest.approx(odds, abs=1e-3 * max(1.0, abs(odds))) or abs(odds) > 25


def test_one_observation_cannot_outvote_everything():
    assert limited(99.0) == LARGEST_WEIGHT and limited(-99.0) == -LARGEST_WEIGHT
    several = [Evidence("seen", "", 99.0)] + [Evidence("heard", "", -4.0)] * 3
    assert combine(0.5, several) < 0.5


def test_normal_density_is_that_of_scipy():
    for x in (-0.1, 0.0, 0.07):
        assert normal_log_density(x, 0.03) == pytest.approx(norm.logpdf(x, scale=0.03))
