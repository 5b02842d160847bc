"""A buzz among clean teeth: told by the comb's own measure, whatever its colour, and however it is made."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from disc.listen.comb.plucked import comb_from_recording, hear_teeth, signs_of_buzzing
from disc.listen.comb.plucks.find_plucks import find_plucks
from disc.listen.comb.tooth_buzz import LIKELY, SIGNS, buzz_probability
from disc.listen.sound.audio import FloatArray, Recording
from disc.records import ToothCondition

from .struck_bars import RATE, plucked_comb

PITCHES = [67.02, 69.0, 71.03, 72.0, 74.02, 76.0, 78.03, 79.01, 81.0, 83.02]
BUZZING = 5


def stop(rng: np.random.Generator, note: FloatArray, hz: float) -> FloatArray:
    """A stop at a fixed place on one side: only the wide swings reach it."""
    limit = 0.3 * np.abs(note).max()
    return np.where(note > limit, limit + 0.1 * (note - limit), note)


def hiss(rng: np.random.Generator, note: FloatArray, hz: float) -> FloatArray:
    """Noise that goes with the tone."""
    noise = sosfilt(butter(2, [1500, 8000], "bandpass", fs=RATE, output="sos"), rng.normal(size=len(note)))
    return note + 0.3 * noise * np.exp(-np.arange(len(note)) / (0.2 * RATE)) * np.abs(note).max()


def tremble(rng: np.random.Generator, note: FloatArray, hz: float) -> FloatArray:
    """The tone swells fifty times a second."""
    return note * (1 + 0.6 * np.sin(2 * np.pi * 50.0 * np.arange(len(note)) / RATE))


def comb_with(way: Callable | None, colour: float = 0.0) -> tuple[Recording, list]:
    """A plucked comb, one tooth of it buzzing; colour: noise that every pluck brings with it."""
    rng = np.random.default_rng(4)
    audio, times = plucked_comb(rng, PITCHES)
    for k, pair in enumerate(times):
        for at in pair:
            piece = slice(int(at * RATE), int((at + 0.6) * RATE))
            if k == BUZZING and way is not None:
                audio[piece] = way(rng, audio[piece], 440.0 * 2 ** ((PITCHES[k] - 69) / 12))
            if colour:
                audio[piece] = hiss(rng, audio[piece], 0.0) * colour + audio[piece] * (1 - colour)
    return Recording(audio + 1e-4 * rng.normal(size=len(audio)), RATE), times


@pytest.mark.parametrize("way", [stop, hiss, tremble])
def test_a_buzz_is_told_however_it_comes_about(way: Callable) -> None:
    recording, _ = comb_with(way)
    heard = comb_from_recording(recording, len(PITCHES), 2)
    assert [t.tooth for t in heard.teeth if t.condition is ToothCondition.BUZZING] == [BUZZING + 1]
    assert "damper" in heard.teeth[BUZZING].words


def test_what_all_teeth_do_is_no_buzz() -> None:
    """Noise with every pluck is the instrument's own colour."""
    recording, _ = comb_with(None, colour=0.5)
    heard = comb_from_recording(recording, len(PITCHES), 2)
    assert [t.condition for t in heard.teeth] == [ToothCondition.SOUND] * len(PITCHES)


def test_signs_are_those_of_the_tooth_that_buzzes() -> None:
    recording, _ = comb_with(tremble)
    found = find_plucks(recording, len(PITCHES), 2)
    heard, rows = hear_teeth(recording, found, len(PITCHES), 2)
    numbers, signs = signs_of_buzzing(recording, rows, found, heard)
    assert numbers == list(range(1, len(PITCHES) + 1)) and signs.shape == (len(PITCHES), len(SIGNS))
    column = signs[:, SIGNS.index("tremble")]
    assert int(np.argmax(column)) == BUZZING and column[BUZZING] > 15.0


def test_signs_are_weighed_against_the_recordings_own_teeth() -> None:
    """The same raised harmonics say much where all teeth are alike and little where they are not."""
    at = SIGNS.index("ring low")
    alike = np.zeros((20, len(SIGNS)))
    unlike = np.zeros((20, len(SIGNS)))
    unlike[:, at] = np.random.default_rng(2).normal(0, 8.0, 20)
    for signs in (alike, unlike):
        signs[7, [at, SIGNS.index("first low"), SIGNS.index("in step")]] = 16.0
    assert buzz_probability(alike)[7] > LIKELY
    assert np.delete(buzz_probability(unlike), 7).max() < LIKELY
    assert buzz_probability(alike)[7] > buzz_probability(unlike)[7]
    assert np.all(np.delete(buzz_probability(alike), 7) < 0.05)
