"""The network that hears bar lines: what goes in, what comes out, and that its numpy is what it was trained as."""

from __future__ import annotations

import numpy as np
import pytest

from disc.records import Metre
from disc.tune.read.beat.bar_lines import BarNet, hear_lines, load_net, moment_features
from tests.tune.made import MAMAN, bass_notes, parse, strikes_of


def turn() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Onsets, pitches and voices of an air in 2/4 with a bass note on each bar line (0.8 s)."""
    strikes = strikes_of([*parse(MAMAN), *bass_notes(24, Metre(2, 4), (48, 53, 55, 48))], 0.4, 1.0)
    pitch = np.array([float(s.pitch or 0) for s in strikes])
    return np.array([s.onset_s for s in strikes]), pitch, pitch > 56


def test_shares_are_shares_and_moments_are_those_of_the_strikes() -> None:
    onset_s, pitch, melody = turn()
    heard = hear_lines(onset_s, pitch, melody, 0, load_net())
    assert np.exp(heard.level).sum(1) == pytest.approx(1.0) and np.exp(heard.kind).sum() == pytest.approx(1.0)
    moment_s = heard.moment_s(onset_s)
    assert len(moment_s) == len(heard.level) and (np.diff(moment_s) > 0).all()
    assert heard.moment_s(onset_s + 2.0) == pytest.approx(moment_s + 2.0)


def test_bar_lines_are_heard_where_they_are_and_in_any_order_of_the_strikes() -> None:
    onset_s, pitch, melody = turn()
    heard = hear_lines(onset_s, pitch, melody, 0, load_net())
    on_line = np.abs((heard.moment_s(onset_s) - 1.0 + 0.4) % 0.8 - 0.4) < 0.05
    lifted = heard.level[:, 0] - heard.level[:, 2]
    assert lifted[on_line].mean() > lifted[~on_line].mean() + 1.0
    other = np.random.default_rng(3).permutation(len(onset_s))
    again = hear_lines(onset_s[other], pitch[other], melody[other], 0, load_net())
    assert again.level == pytest.approx(heard.level, abs=1e-4)


def test_a_key_higher_is_heard_alike() -> None:
    onset_s, pitch, melody = turn()
    here, there = (moment_features(onset_s, pitch + shift, melody, shift % 12)[1] for shift in (0, 3))
    assert there == pytest.approx(here)


def test_the_convolution_is_that_of_scipy() -> None:
    from scipy.ndimage import correlate1d

    rng = np.random.default_rng(5)
    one = np.ones((1, 1))
    taps = rng.normal(size=3)
    onset_s = np.sort(rng.uniform(0, 20, 40))
    pitch, melody = rng.integers(60, 80, 40).astype(float), np.ones(40, dtype=bool)
    table = moment_features(onset_s, pitch, melody, 0)[1]
    pick = np.zeros((table.shape[1], 1))
    pick[0] = 1.0  # one column, as it is
    none = np.zeros(1)
    net = BarNet(
        np.zeros(table.shape[1]), np.ones(table.shape[1]), pick, none, ((1, taps[:, None], none, one, none),),
        np.array([[1.0, 0.0, 0.0]]), np.zeros(3), np.ones((1, 4)), np.zeros(4),
    )  # fmt: skip
    level = hear_lines(onset_s, pitch, melody, 0, net).level
    entered = table[:, 0].astype(np.float32)
    seen = correlate1d(np.maximum(entered, 0.0), taps, mode="constant")
    expected = np.maximum(entered + np.maximum(seen, 0.0), 0.0)
    assert level[:, 0] - level[:, 1] == pytest.approx(expected, abs=1e-4)
