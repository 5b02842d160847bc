"""Plucks that make no rise of the level, and beats that look like plucks; truth by construction."""

from __future__ import annotations

import numpy as np
import pytest

from disc.listen.comb.plucked import comb_from_recording
from disc.listen.sound.appearing import tones_that_appear
from disc.listen.sound.audio import Recording
from disc.listen.sound.beginnings import for_fundamentals
from disc.records import ToothCondition

from .struck_bars import RATE, bar, hz, plucked_comb, put

PITCHES = [70.03, 72.0, 74.05, 74.97, 77.0, 78.98, 82.0, 84.02]


def test_a_tone_that_swells_up_in_noise_appears_once() -> None:
    rng = np.random.default_rng(4)
    audio = 0.02 * rng.normal(size=6 * RATE)
    t = np.arange(2 * RATE) / RATE
    put(audio, 0.05 * (1 - np.exp(-t / 0.02)) * np.exp(-2 * t) * np.sin(2 * np.pi * 1650.0 * t), 2.5)
    found = tones_that_appear(for_fundamentals(Recording(audio, RATE)))
    assert [time_s for time_s, _ in found] == pytest.approx([2.5], abs=0.04)


def test_noise_alone_has_no_tone() -> None:
    audio = np.random.default_rng(5).normal(size=10 * RATE)
    assert tones_that_appear(for_fundamentals(Recording(audio, RATE))) == []


def test_beating_strings_are_not_plucked_again() -> None:
    """Each tooth is a pair of strings 3 Hz apart: their beats swell every third of a second."""
    rng = np.random.default_rng(6)
    times, at = [], 0.6
    audio = 1e-4 * rng.normal(size=int(24 * RATE))
    for pitch in PITCHES:
        for wait in (1.1, 1.5):
            n = int((wait + 0.004) * RATE)
            t = np.arange(n) / RATE
            pair = bar(rng, pitch, 2.0, wait + 0.004)[:n]
            pair += 0.12 * np.exp(-3.5 * t) * np.sin(2 * np.pi * (hz(pitch) + 3.0) * t)
            pair[-200:] *= np.linspace(1, 0, 200)
            put(audio, pair, at)
            times.append(at)
            at += wait
    comb = comb_from_recording(Recording(audio, RATE), len(PITCHES), 2)
    assert [t for tooth in comb.teeth for t in tooth.plucks_s] == pytest.approx(times, abs=0.02)


def test_pitch_is_that_of_the_settled_decay() -> None:
    """A tone that begins 12 cents sharp and settles within a tenth of a second."""
    rng = np.random.default_rng(7)
    audio, times = plucked_comb(rng, PITCHES)
    for at in times[4]:
        audio[int((at - 0.002) * RATE) : int((at + 0.65) * RATE)] = 0.0
        t = np.arange(int(0.62 * RATE)) / RATE
        cents = 12.0 * np.exp(-t / 0.05)
        phase = 2 * np.pi * np.cumsum(hz(PITCHES[4]) * 2 ** (cents / 1200)) / RATE
        put(audio, 0.25 * np.exp(-4.6 * t) * np.sin(phase), at)
    tooth = comb_from_recording(Recording(audio, RATE), 8, 2).teeth[4]
    assert tooth.pitch == pytest.approx(PITCHES[4], abs=0.01)


def test_plucks_an_interval_apart_leave_the_pitch_open() -> None:
    rng = np.random.default_rng(9)
    audio, times = plucked_comb(rng, PITCHES)
    start, end = (int(t * RATE) for t in (times[2][1] - 0.002, times[3][0] - 0.01))
    audio[start:end] = 0.0
    put(audio, bar(rng, PITCHES[2] + 0.45, 1.5, (end - start) / RATE), times[2][1])
    tooth = comb_from_recording(Recording(audio, RATE), 8, 2).teeth[2]
    assert (tooth.pitch, tooth.condition, tooth.agrees) == (None, None, False) and "pluck it again" in tooth.words


def test_a_dead_tooth_with_a_choked_note_keeps_its_number() -> None:
    rng = np.random.default_rng(10)
    audio, times = plucked_comb(rng, PITCHES, dead=(4,))
    for at in times[3]:
        t = np.arange(int(0.2 * RATE)) / RATE
        put(audio, 0.04 * np.exp(-35 * t) * np.sin(2 * np.pi * hz(PITCHES[3]) * t), at)
    comb = comb_from_recording(Recording(audio, RATE), 8, 2)
    assert comb.teeth[3].condition is ToothCondition.DEAD
    assert [comb.teeth[k].pitch for k in (2, 4)] == pytest.approx([PITCHES[2], PITCHES[4]], abs=0.02)


def test_a_thing_put_down_after_the_last_pluck_is_no_tooth() -> None:
    """The lowest tooth is dead; what rings once, far under the comb, would else be the last and shift every number."""
    audio, times = plucked_comb(np.random.default_rng(31), PITCHES, dead=(1,))
    put_down_s = times[-1][-1] + 1.6
    audio = np.concatenate([audio, 1e-4 * np.random.default_rng(32).normal(size=2 * RATE)])
    put(audio, bar(np.random.default_rng(33), 53.4, 1.5, 0.6), put_down_s)
    comb = comb_from_recording(Recording(audio, RATE), len(PITCHES), 2)
    assert [tooth.plucks_s for tooth in comb.teeth] == [pytest.approx(row, abs=0.02) for row in times]
    assert comb.teeth[0].condition is ToothCondition.DEAD
    assert any(stretch.covers(put_down_s, 0.1) for stretch in comb.disturbed)
