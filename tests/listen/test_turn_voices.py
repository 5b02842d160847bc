"""A tooth's tone tuned by its own strikes, what companions leave in its band, and where the disc has stopped."""

from __future__ import annotations

import numpy as np
import pytest

from disc.listen.sound.audio import Recording
from disc.listen.sound.bands import Whole, transform
from disc.listen.turn.hear.heard_strikes import HeardStrike
from disc.listen.turn.hear.leaks import leaks
from disc.listen.turn.hear.single_sounds import Beginning
from disc.listen.turn.hear.strike_steps import ToneStep, ToothVoice, steps_of
from disc.listen.turn.judge.silent_strikes import still_playing
from disc.listen.turn.learn.tuned_voices import tuned
from disc.listen.turn.place.disc_path import Expected

RATE = 16000
FALL = 5.0  # nepers a second: 60 dB in 1.4 s
TRUE_HZ = 1000.0
CENTS = 2 ** (1 / 1200)


def rung(tones: list[tuple[float, float, float]], length_s: float) -> Whole:
    """Damped tones, (Hz, second, amplitude) each, in a little noise."""
    rng = np.random.default_rng(3)
    audio = 1e-4 * rng.normal(size=int(length_s * RATE))
    for hz, at, force in tones:
        t = np.arange(int(1.5 * RATE)) / RATE
        piece = force * np.exp(-FALL * t) * np.sin(2 * np.pi * hz * t + rng.uniform(0, 6))
        start = int(at * RATE)
        audio[start : start + len(piece)] += piece[: len(audio) - start]
    return transform(Recording(audio, RATE))


def test_a_tone_seven_cents_beside_its_own_is_tuned_until_it_explains_its_strikes() -> None:
    twin_hz = TRUE_HZ * CENTS**40
    own, twin = [1.0, 3.0, 5.0], [2.0, 4.0]
    whole = rung([(TRUE_HZ, t, 0.3) for t in own] + [(twin_hz, t, 0.3) for t in twin], 7.0)
    voices = {1: ToothVoice(TRUE_HZ * CENTS**7, FALL, False), 2: ToothVoice(twin_hz, FALL, True)}
    struck = sorted([(1, t) for t in own] + [(2, t) for t in twin], key=lambda s: s[1])
    steps = steps_of(whole, voices, struck, struck)
    exact = tuned(whole, voices, struck, steps)
    assert 1200 * np.log2(exact[1].hz / TRUE_HZ) == pytest.approx(0.0, abs=1.5)
    assert exact[2] == voices[2]  # explained well enough already
    before = [s.gain for (tooth, _), s in zip(struck, steps, strict=True) if tooth == 1 and s]
    after = [
        s.gain for (tooth, _), s in zip(struck, steps_of(whole, exact, struck, struck), strict=True) if tooth == 1 and s
    ]
    assert min(after) > 0.9 > max(before) + 0.3


def heard_at(rows: list[tuple[int, float, bool]]) -> list[HeardStrike]:
    return [
        HeardStrike(Expected(k, t / 10.0, tooth, tooth), t, Beginning(tooth, t, 1.0) if sounded else None, 0.0)
        for k, (tooth, t, sounded) in enumerate(rows)
    ]


def test_a_companions_partial_leaves_in_the_band_what_it_leaves_at_its_other_strikes() -> None:
    # Tooth 2 an octave below has a second partial, three cents beside tooth 1, a quarter as loud as tooth 1.
    partial = TRUE_HZ * CENTS**3
    low, high = [1.0, 3.0, 5.0, 7.0], [2.0, 4.0, 6.0]
    tones = [(partial / 2, t, 0.4) for t in low] + [(partial, t, 0.075) for t in low]
    whole = rung([*tones, *((TRUE_HZ, t, 0.3) for t in high)], 9.0)
    # At 7 s tooth 1 is expected with it and is silent.
    rows = [*((2, t, True) for t in low), *((1, t, True) for t in high), (1, 7.0, False)]
    heard = heard_at(rows)
    voices = {1: ToothVoice(TRUE_HZ, FALL, True), 2: ToothVoice(partial / 2, FALL, True)}
    sought = [(tooth, t) for tooth, t, _ in rows]
    steps = steps_of(whole, voices, sought, sought)
    # The silent one may explain much of its band: so only the partial does that.
    steps[-1] = ToneStep(0.075, 0.01, 0.5, 0.0, 0.0)
    found = leaks(whole, voices, heard, steps, np.array([t for _, t, _ in rows]))
    assert found[-1] == pytest.approx(0.25 * steps[4].level, rel=0.25)
    assert np.all(found[4:7] == 0.0)  # struck alone


def test_a_strike_after_the_last_clear_one_is_not_asked_for_again() -> None:
    rows = [(1, 1.0, True), (1, 2.0, True), (1, 3.0, True), (1, 4.0, False), (1, 11.0, True), (1, 12.0, False)]
    heard = heard_at(rows)
    laps = [0, 1, 2, 3, 0, 1]  # the fifth and sixth are the first two again
    heard = [
        HeardStrike(Expected(k, h.path_s / 10.0, h.expected.tooth, h.expected.group), h.path_s, h.beginning, h.odds)
        for k, h in zip(laps, heard, strict=True)
    ]
    steps = [ToneStep(1.0 if h.beginning else 0.0, 0.01, 0.9 if h.beginning else 0.0, 0.0, 0.0) for h in heard]
    played = still_playing(heard, steps, np.array([h.path_s for h in heard]))
    assert played.tolist() == [True, True, True, True, True, False]
    # In a single turn the last strike has no other lap to tell of it.
    alone = still_playing(heard[:4], steps[:4], np.array([h.path_s for h in heard[:4]]))
    assert alone.tolist() == [True, True, True, True]
