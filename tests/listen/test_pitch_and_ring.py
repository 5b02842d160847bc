"""Pitch, ring time and damped tones against closed forms and standards."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from disc.listen.comb.temperament import scale_cents, temperament_of
from disc.listen.comb.tooth_sound import ring_time_s
from disc.listen.pitch_words import pitch_words
from disc.listen.sound.bands import damped_tones, hz_of_pitch, pitch_of_hz


# Equal temperament at A4 = 440 Hz (ISO 16): C4 261.63, C8 4186.01; any handbook's table, from memory.
@pytest.mark.parametrize("pitch, printed_hz", [(60, 261.63), (69, 440.00), (108, 4186.01), (81, 880.00)])
def test_pitches_of_the_table(pitch: int, printed_hz: float) -> None:
    assert hz_of_pitch(pitch) == pytest.approx(printed_hz, abs=0.005)


@given(st.floats(20, 120))
def test_pitch_there_and_back(pitch: float) -> None:
    assert pitch_of_hz(hz_of_pitch(pitch)) == pytest.approx(pitch, abs=1e-9)


def test_pitch_in_words() -> None:
    assert pitch_words(68.86) == "A4 -14 c (436.5 Hz)"


@given(st.floats(-40, 40), st.floats(0.3, 4.0), st.integers(0, 1000))
def test_matrix_pencil_finds_one_damped_tone(offset: float, t60: float, seed: int) -> None:
    rate, n = 200.0, 160
    t = np.arange(n) / rate
    noise = np.random.default_rng(seed).normal(size=(2, n)) * 1e-4
    piece = np.exp((2j * np.pi * offset - 6.9078 / t60) * t) + noise[0] + 1j * noise[1]
    tone = damped_tones(piece, rate)[0]
    assert tone.offset_hz == pytest.approx(offset, abs=0.01)
    assert tone.t60_s == pytest.approx(t60, rel=0.02)


def test_matrix_pencil_parts_a_tone_from_its_neighbour() -> None:
    rate, n = 120.0, 110
    t = np.arange(n) / rate
    piece = np.exp((2j * np.pi * 3.0 - 4.0) * t) + 0.3j * np.exp((2j * np.pi * 18.0 - 2.0) * t)
    found = sorted(damped_tones(piece, rate), key=lambda tone: tone.offset_hz)
    assert [tone.offset_hz for tone in found] == pytest.approx([3.0, 18.0], abs=0.01)


@pytest.mark.parametrize("t60", [0.3, 1.0, 3.0])
def test_ring_time_of_an_exponential(t60: float) -> None:
    """A straight decay has one T60 however it is read (ISO 3382-1)."""
    level = -60.0 * np.arange(0, 0.9, 0.005) / t60
    assert ring_time_s(level, 200.0) == pytest.approx(t60, rel=0.02)


# Quarter-comma meantone from C, cents: Barbour, Tuning and Temperament (1951); from memory, to the whole cent.
MEANTONE = [0, 76, 193, 310, 386, 503, 579, 697, 773, 890, 1007, 1083]


def test_meantone_as_printed() -> None:
    ours = scale_cents("quarter-comma meantone", 0)
    places = ours - ours[0] + 100.0 * np.arange(12)
    assert places == pytest.approx(MEANTONE, abs=0.5)


def test_common_pitch_and_deviations() -> None:
    a_hz = 433.0
    off = np.array([0.0, 3.0, -2.0, 0.0, 0.0, 25.0, 1.0, -1.0, 0.0])
    pitches = np.array([60, 62, 64, 65, 67, 69, 71, 72, 74]) + 12 * np.log2(a_hz / 440.0) + off / 100
    found = temperament_of([*pitches, None])
    assert found is not None and found.scale == "equal"
    assert found.a_hz == pytest.approx(a_hz, abs=0.3)
    assert found.deviations_cents[5] == pytest.approx(25.0, abs=1.5)
    assert found.deviations_cents[-1] is None


def test_a_meantone_comb_is_recognised() -> None:
    pitches = [60 + 12 * octave + cents / 100 for octave in (0, 1) for cents in MEANTONE]
    found = temperament_of(pitches)
    assert found is not None and found.scale == "quarter-comma meantone" and found.tonic == 0


def test_too_few_teeth_have_no_temperament() -> None:
    assert temperament_of([60.0, None, 64.0]) is None
