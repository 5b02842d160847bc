"""Self-similarity and votes on sequences whose repeats are known by construction."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from disc.check.music.music_observations import beat_density
from disc.check.music.repeats import StrikesHeard, Window, hear, nearest_gap, sounds_of_teeth, vote
from disc.records import Comb, Key, Metre, Side, Tooth, Tune
from disc.turn.bars import BarGrid

from .making import COMB, EIGHTH_S, START_S, STRAIN, strikes

GRID = BarGrid(Tune((), Metre(2, 4), Key(0, "major", 0), Fraction(0), 2 * EIGHTH_S, START_S), 0.012)
SPAN_S = EIGHTH_S * len(STRAIN)


def heard(drop: tuple[int, ...] = ()) -> StrikesHeard:
    played = [s for i, s in enumerate(strikes(0.012, seed=7)) if i not in drop]
    return hear(played, GRID, sounds_of_teeth(COMB))


def test_the_strain_is_found_at_its_lag():
    whole = heard()
    votes = vote(whole, whole.t_s[:20], whole.sound[:20], Window(2 * GRID.bar_s))
    at_strain = int(np.argmin(np.abs(votes.lags_s - SPAN_S)))
    assert votes.lags_s[at_strain] == pytest.approx(SPAN_S)
    assert votes.same[4:, at_strain].min() > 0.95  # the first ones have strikes on one side only
    others = np.delete(votes.same, at_strain, axis=1)
    assert others[votes.inside[:, np.arange(votes.lags_s.size) != at_strain]].mean() < 0.1


def test_a_lost_strike_is_asked_for_and_a_stranger_is_not():
    all_strikes = strikes(0.0)
    lost = len(all_strikes) // 2 + 9
    left = heard((lost,))
    t_s = np.array([all_strikes[lost].onset_s, all_strikes[lost].onset_s])
    asked = round(all_strikes[lost].pitch)
    stranger = next(p for p in np.unique(left.sound) if abs(p - asked) > 2)
    sound = np.array([asked, int(stranger)])
    base = np.array([left.base_rate[int(s)] for s in sound])
    odds = vote(left, t_s, sound, Window(2 * GRID.bar_s)).log_odds(base)
    assert odds[0] > 1.5 and odds[1] < 0.0


def test_the_witness_is_the_other_strain():
    all_strikes = strikes(0.0)
    lost = len(all_strikes) // 2 + 9
    votes = vote(
        heard((lost,)), np.array([all_strikes[lost].onset_s]), np.array([round(all_strikes[lost].pitch)]),
        Window(2 * GRID.bar_s),
    )  # fmt: skip
    lag, same = votes.best_witness(0)
    assert lag == pytest.approx(-SPAN_S) and same > 0.9


def test_nearest_gap_against_all_pairs():
    rng = np.random.default_rng(3)
    times, at = np.sort(rng.uniform(0, 10, 40)), rng.uniform(-1, 11, (7, 9))
    assert nearest_gap(times, at) == pytest.approx(np.abs(times - at[..., None]).min(axis=-1))


def test_strikes_fall_on_the_grid_and_not_between():
    whole = heard()
    on, between = START_S + EIGHTH_S * 12, START_S + EIGHTH_S * 12.5
    density = beat_density(whole, np.array([on, between]))
    assert density[0] > 1.0 and density[1] < -1.0


def test_teeth_stand_in_for_unknown_pitches():
    comb = Comb((Tooth(3, Side.UPPER, 5.0, 10.0, 70.2), Tooth(4, Side.UPPER, 6.0, 12.0)))
    assert sounds_of_teeth(comb) == {3: 70, 4: -4}  # a sound of its own, below all pitches
    assert sounds_of_teeth(Comb(comb.teeth[:1])) == {3: 70}
