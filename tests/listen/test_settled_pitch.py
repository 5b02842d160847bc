"""Where a tone that glides at first settles, and what is left alone."""

from __future__ import annotations

import numpy as np
import pytest

from disc.listen.sound.audio import Recording
from disc.listen.sound.bands import transform
from disc.listen.turn.learn.settled_pitch import settled_pitch

from .struck_bars import RATE, hz, put

OWN = [0.5, 2.0, 3.5, 5.0]


def gliding(pitch: float, from_cents: float, noise: float = 0.0) -> Recording:
    """Struck at OWN; begins so far off and settles within a tenth of a second."""
    t = np.arange(int(1.2 * RATE)) / RATE
    phase = 2 * np.pi * np.cumsum(hz(pitch) * 2 ** (from_cents * np.exp(-t / 0.05) / 1200)) / RATE
    audio = noise * np.random.default_rng(3).normal(size=7 * RATE)
    for at in OWN:
        put(audio, 0.3 * np.exp(-3.0 * t) * np.sin(phase), at)
    return Recording(audio, RATE)


def test_a_gliding_tone_is_read_where_it_settles() -> None:
    whole = transform(gliding(80.3, 10.0, 0.003))
    assert settled_pitch(whole, 80.35, OWN, np.array(OWN)) == pytest.approx(80.3, abs=0.005)


def test_too_few_undisturbed_strikes_leave_the_pitch_as_it_was() -> None:
    whole = transform(gliding(80.3, 10.0))
    disturbed = np.sort([*OWN, *(at + 0.2 for at in OWN[1:])])
    assert settled_pitch(whole, 80.35, OWN, disturbed) == 80.35


def test_noise_alone_moves_nothing() -> None:
    audio = np.random.default_rng(4).normal(size=7 * RATE)
    assert settled_pitch(transform(Recording(audio, RATE)), 80.35, OWN, np.array(OWN)) == 80.35
