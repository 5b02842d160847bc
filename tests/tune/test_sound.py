"""The sound: partials, decay, no clipping, a WAV file that others read."""

from __future__ import annotations

import io
import wave

import numpy as np
import pytest
import soundfile
from scipy.optimize import brentq

from disc.comb.bar import frequency_hz, ring_time_s
from disc.tune.write.sound import PEAK, RATE_HZ, render_strikes, tooth_sound, wav_bytes

from .made import parse, strikes_of


def peak_hz(tone: np.ndarray, low: float, high: float) -> float:
    """Frequency of the strongest partial between low and high, to a fraction of a hertz by zero padding."""
    size = 1 << 20
    strength = np.abs(np.fft.rfft(tone * np.hanning(len(tone)), size))
    hertz = np.fft.rfftfreq(size, 1.0 / RATE_HZ)
    inside = (hertz > low) & (hertz < high)
    return float(hertz[inside][strength[inside].argmax()])


# Eigenvalues of a clamped-free bar: cos x cosh x = -1, solved here by scipy, independently of comb/bar.py.
@pytest.mark.parametrize("mode", [1, 2, 3])
def test_partials_of_a_tooth(mode: int) -> None:
    middle = (mode - 0.5) * np.pi
    root = brentq(lambda x: np.cos(x) + 1.0 / np.cosh(x), middle - 0.4, middle + 0.4)
    first = brentq(lambda x: np.cos(x) + 1.0 / np.cosh(x), 1.5, 2.2)
    wanted = frequency_hz(69.0) * (root / first) ** 2
    assert peak_hz(tooth_sound(69.0), wanted * 0.9, wanted * 1.1) == pytest.approx(wanted, rel=2e-3)


def test_a_tooth_dies_away_by_sixty_decibels_in_its_ring_time() -> None:
    tone = tooth_sound(81.0)
    early, late = np.abs(tone[200:1200]).max(), np.abs(tone[-1000:]).max()
    share = (len(tone) - 700) / len(tone)
    assert 20 * np.log10(early / late) == pytest.approx(60 * share, abs=4)
    assert len(tone) / RATE_HZ == pytest.approx(ring_time_s(81.0), abs=0.001)


def test_nothing_clips_and_the_same_strikes_sound_the_same() -> None:
    strikes = strikes_of(parse("72 1/4 " * 40), 0.3) + strikes_of([(0, 1, p) for p in range(60, 90)], 0.3)
    sound = render_strikes(strikes)
    assert np.abs(sound).max() == pytest.approx(PEAK)
    assert np.array_equal(sound, render_strikes(strikes))


def test_a_tooth_struck_again_is_damped_first() -> None:
    free, damped = tooth_sound(60.0), tooth_sound(60.0, free_s=0.5)
    after = int(0.52 * RATE_HZ)
    assert len(damped) <= after + 2 < len(free)


def test_a_wave_file_is_read_by_others() -> None:
    sound = render_strikes(strikes_of(parse("72 1 76 1 79 1"), 0.3), seconds=2.0)
    data = wav_bytes(sound)
    with wave.open(io.BytesIO(data)) as file:
        assert (file.getframerate(), file.getnchannels(), file.getsampwidth()) == (44_100, 1, 2)
        assert file.getnframes() == 88_200
    read, rate = soundfile.read(io.BytesIO(data))
    assert rate == RATE_HZ
    # half a step of rounding, and a full scale of 32767 read back as 32768
    assert np.abs(read - sound).max() < 1.5 / 32_768
    with pytest.raises(ValueError, match="would clip"):
        wav_bytes(np.array([0.0, 1.2]))


def test_silence_is_silent() -> None:
    assert not render_strikes(()).any()
