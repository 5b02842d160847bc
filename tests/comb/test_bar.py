"""A tooth's physics against a solver, a handbook's digits and the standard pitch."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from disc.comb import bar


# Clamped-free bar, roots of cos(x) cosh(x) = -1. Blevins, Formulas for Natural Frequency and Mode Shape (1979),
# table 8-1; source and digits from memory, digits confirmed below by solving the equation in its plain form.
@pytest.mark.parametrize("mode, printed", [(1, "1.87510407"), (2, "4.69409113"), (3, "7.85475744"), (4, "10.99554073")])
def test_bar_roots(mode, printed):
    assert bar.bar_root(mode) == pytest.approx(float(printed), rel=0, abs=0.5e-8)
    plain = brentq(lambda b: np.cos(b) * np.cosh(b) + 1.0, float(printed) - 0.1, float(printed) + 0.1, xtol=1e-13)
    assert bar.bar_root(mode) == pytest.approx(plain, abs=1e-11)


def test_ratios_of_the_partials():
    assert pytest.approx(bar.bar_ratios(3)) == bar.BAR_RATIOS
    # Fletcher and Rossing, The Physics of Musical Instruments (1998), section 2.6: 1 : 6.267 : 17.55; from memory.
    assert [round(x, 3) for x in bar.BAR_RATIOS[:2]] == [1.0, 6.267]
    assert round(bar.BAR_RATIOS[2], 2) == 17.55


def test_a_steel_bar_of_known_size():
    # Handbook form f1 = 0.1615 (t / L^2) sqrt(E / rho) for a clamped-free rectangular bar (Fletcher and Rossing, 2.6,
    # from memory): L = 10 mm, t = 0.2 mm, E = 210 GPa, rho = 7850 kg/m3 gives 0.1615 * 2 * 5172 = 1671 Hz.
    by_hand = 0.1615 * (0.2e-3 / 10e-3**2) * np.sqrt(2.1e11 / 7850.0)
    assert bar.bar_frequency_hz(10.0, 0.2) == pytest.approx(by_hand, rel=0.5e-4 / 0.1615)
    assert bar.bar_frequency_hz(10.0, 0.2, mode=2) / bar.bar_frequency_hz(10.0, 0.2) == pytest.approx(6.2669, abs=5e-5)


def test_standard_pitch():
    # ISO 16:1975: A4 = 440 Hz. Middle C in equal temperament, 261.626 Hz, is in any handbook of acoustics.
    assert bar.frequency_hz(69.0) == 440.0
    assert bar.frequency_hz(60.0) == pytest.approx(261.626, abs=0.5e-3)
    # conventions: 68.86 is 14 cents flat of A4
    assert 1200 * np.log2(bar.frequency_hz(68.86) / 440.0) == pytest.approx(-14.0)


@given(st.floats(20.0, 120.0))
def test_pitch_there_and_back(pitch):
    assert bar.pitch_of_hz(bar.frequency_hz(pitch)) == pytest.approx(pitch)


@given(st.floats(30.0, 110.0), st.floats(0.1, 10.0))
def test_higher_teeth_ring_and_return_sooner(pitch, more):
    assert bar.ring_time_s(pitch + more) < bar.ring_time_s(pitch)
    assert bar.return_time_s(pitch + more) < bar.return_time_s(pitch)


def test_sizes_that_cannot_be():
    with pytest.raises(ValueError, match="must be positive"):
        bar.bar_frequency_hz(0.0, 0.2)
    with pytest.raises(ValueError, match="must be positive"):
        bar.pitch_of_hz(0.0)


@pytest.mark.parametrize("share", [0.0005, 0.002, 0.01])
def test_a_small_mass_at_the_tip_lowers_the_tone_as_the_bar_with_an_end_mass_does(share):
    # Bar clamped at one end with a mass of so many bars' masses at the other:
    # 1 + cos b cosh b + share b (cos b sinh b - sin b cosh b) = 0 (Blevins 1979, table 8-8; from memory).
    def exact(b):
        c, s, ch, sh = np.cos(b), np.sin(b), np.cosh(b), np.sinh(b)
        return 1 + c * ch + share * b * (c * sh - s * ch)

    cents = 2400 * np.log2(brentq(exact, 1.2, 1.9) / bar.bar_root(1))
    # The swinging mass of a plain bar is a quarter of its own.
    assert bar.tip_mass_share(cents) * 0.25 == pytest.approx(share, rel=0.02)
    assert bar.tip_mass_share(5.0) < 0.0 < bar.tip_mass_share(-5.0) and bar.tip_mass_share(0.0) == 0.0
