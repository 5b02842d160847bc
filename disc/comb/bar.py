"""A tooth as a clamped-free bar: its partials, its frequency from its size, how long it rings.

Frequencies come from the Euler-Bernoulli bar, clamped at one end: f_n = (b_n^2 / 2 pi) sqrt(E I / (rho A)) / L^2 with
b_n the roots of cos(b) cosh(b) = -1 (Fletcher and Rossing, The Physics of Musical Instruments, 2nd ed. 1998, section
2.6; from memory). Real teeth are tapered and loaded with lead, so a size gives a pitch only roughly; ratios of partials
and times are starting points, and what was measured goes before them.
"""

from __future__ import annotations

import math

import numpy as np

from disc.frame import FloatArray

A4_HZ = 440.0  # ISO 16:1975, standard tuning frequency
A4_MIDI = 69.0  # note number of A4, MIDI 1.0 standard
BAR_MODES = 3  # partials; the fourth is 34 times the first, 15 kHz on a tooth of A4. Chosen by hand
STEEL_YOUNG_PA = 2.1e11  # hardened carbon steel; common handbook value, from memory
STEEL_DENSITY_KG_M3 = 7850.0  # common handbook value, from memory


def bar_root(mode: int) -> float:
    """The mode's root b of cos(b) cosh(b) = -1, mode 1, 2, 3, ...; solved, not tabulated. Raises ValueError."""
    if mode < 1:
        raise ValueError(f"modes count from 1, not {mode}")
    from scipy.optimize import brentq

    # cos(b) = -1 / cosh(b): the roots lie close to (mode - 1/2) pi; this form does not overflow.
    middle = (mode - 0.5) * math.pi
    return float(brentq(lambda b: math.cos(b) + 1.0 / math.cosh(b), middle - 0.5, middle + 0.5, xtol=1e-14))


def bar_ratios(modes: int = BAR_MODES) -> FloatArray:
    """Frequencies of the first modes over that of the first, shape (modes,): 1, 6.267, 17.55, ..."""
    roots = np.array([bar_root(mode) for mode in range(1, modes + 1)])
    return (roots / roots[0]) ** 2


# (b_n / b_1)^2 for n = 1, 2, 3, solved exactly; a test holds them equal to bar_ratios().
BAR_RATIOS: tuple[float, ...] = (1.0, 6.266893025770018, 17.547481936808797)


def bar_frequency_hz(
    length_mm: float,
    thickness_mm: float,
    mode: int = 1,
    young_pa: float = STEEL_YOUNG_PA,
    density_kg_m3: float = STEEL_DENSITY_KG_M3,
) -> float:
    """Frequency of a plain rectangular tooth, Hz; its width cancels out. Raises ValueError for a size not positive."""
    if not (length_mm > 0 and thickness_mm > 0):
        raise ValueError(f"a tooth's length and thickness must be positive, not {length_mm} and {thickness_mm} mm")
    length_m, thickness_m = length_mm / 1000.0, thickness_mm / 1000.0
    stiffness = math.sqrt(young_pa / (12.0 * density_kg_m3)) * thickness_m  # sqrt(E I / rho A) of a rectangle
    return bar_root(mode) ** 2 / (2.0 * math.pi) * stiffness / length_m**2


def frequency_hz(pitch: float, a4_hz: float = A4_HZ) -> float:
    """Frequency of a MIDI number with a fraction, Hz. Source: ISO 16 for A4, equal temperament."""
    return a4_hz * 2.0 ** ((pitch - A4_MIDI) / 12.0)


def pitch_of_hz(frequency: float, a4_hz: float = A4_HZ) -> float:
    """MIDI number with a fraction of a frequency in Hz: the inverse of frequency_hz. Raises ValueError if not > 0."""
    if not frequency > 0:
        raise ValueError(f"a frequency must be positive, not {frequency}")
    return A4_MIDI + 12.0 * math.log2(frequency / a4_hz)


def ring_time_s(pitch: float) -> float:
    """Typical time in which a watch's tooth dies away by 60 dB, s: about 1.6 s at A4, less the higher it lies.

    Common practice, no source: small steel teeth lose a roughly constant share of their energy in each swing, so the
    time falls with frequency; the square root stands for the lead that lengthens the low ones less than it could.
    A measured time goes before this one.
    """
    return 1.6 * math.sqrt(A4_HZ / frequency_hz(pitch))


def tip_mass_share(cents: float) -> float:
    """Mass to add at the tip (negative: to take off) for a change of pitch by so many cents, as a share of the mass
    that swings there: a quarter of a plain bar's own, and all of a lead at the tip.

    Rayleigh's quotient with the shape of the first mode: its frequency goes with the swinging mass to the power -1/2,
    and that of a plain clamped-free bar, seen at the tip, is a quarter of the bar's (Blevins, Formulas for Natural
    Frequency and Mode Shape, 1979; from memory). A test holds it to the bar with a mass at its end solved for exactly.
    """
    return 2.0 ** (-cents / 600.0) - 1.0


# A tooth struck again must have fallen back on its damper, and the damper must have quieted it: about 20 swings, and
# 60 ms for the pin to pass and the tip to fall. Common practice, no source.
SWINGS_TO_DAMP = 20
FALL_BACK_S = 0.06  # 60 ms, as said above


def return_time_s(pitch: float | None) -> float:
    """Least time between two strikes on one tooth, s. An unknown pitch counts as A4, to be on the safe side."""
    return FALL_BACK_S + SWINGS_TO_DAMP / frequency_hz(A4_MIDI if pitch is None else pitch)
