"""A comb plucked in turn, against a bar model whose truth is known by construction."""

from __future__ import annotations

import numpy as np
import pytest

from disc.listen.comb.plucked import PluckedComb, comb_from_recording
from disc.listen.comb.plucked_plot import plot_plucked
from disc.listen.sound.audio import Recording
from disc.records import ToothCondition

from .struck_bars import RATE, bar, plucked_comb, put, ticks

PITCHES = [70.03, 72.0, 74.05, 74.97, 77.0, 78.98, 82.0, 84.02]


@pytest.fixture(scope="module")
def recording() -> Recording:
    rng = np.random.default_rng(7)
    audio, _ = plucked_comb(rng, PITCHES, dead=(3,), buzzing=(6,))
    put(audio, 0.1 * rng.normal(size=2000) * np.exp(-np.arange(2000) / 150), 4.31)  # a knock between two plucks
    return Recording(audio + ticks(rng, len(audio)), RATE)


@pytest.fixture(scope="module")
def comb(recording: Recording) -> PluckedComb:
    return comb_from_recording(recording, len(PITCHES), 2)


def test_teeth_keep_their_numbers_over_a_dead_one(comb: PluckedComb) -> None:
    assert [t.tooth for t in comb.teeth] == list(range(1, 9))
    assert comb.teeth[2].condition is ToothCondition.DEAD and comb.teeth[2].pitch is None
    live = [k for k in range(8) if k != 2]
    errors = [abs(comb.teeth[k].pitch - PITCHES[k]) * 100 for k in live]  # type: ignore[operator]
    assert max(errors) < 1.0, errors
    assert [comb.teeth[k].t60_s for k in live if k != 5] == pytest.approx([1.5] * 6, rel=0.1)


def test_conditions(comb: PluckedComb) -> None:
    expected = ["sound"] * 8
    expected[2], expected[5] = "dead", "buzzing"
    assert [t.condition and t.condition.value for t in comb.teeth] == expected


def test_the_number_of_teeth_need_not_be_known(recording: Recording) -> None:
    assert len(comb_from_recording(recording, None, 2).teeth) == len(PITCHES)


def test_a_tooth_whose_plucks_disagree_says_so() -> None:
    rng = np.random.default_rng(3)
    audio, times = plucked_comb(rng, PITCHES)
    clean = comb_from_recording(Recording(audio, RATE), 8, 2)
    assert all(t.agrees for t in clean.teeth)
    start, end = (int(t * RATE) for t in (times[4][1] - 0.002, times[5][0] - 0.01))
    audio[start:end] = 0.0
    put(audio, bar(rng, PITCHES[4] + 0.12, 1.5, (end - start) / RATE), times[4][1])
    odd = comb_from_recording(Recording(audio, RATE), 8, 2).teeth[4]
    assert odd.agrees is False and odd.spread_cents == pytest.approx(12.0, abs=1.0) and "differ" in odd.words


def test_a_neighbour_set_off_too_is_named() -> None:
    rng = np.random.default_rng(5)
    audio, times = plucked_comb(rng, PITCHES)
    for at in times[3]:
        put(audio, bar(rng, PITCHES[4], 1.5, 0.65, 0.45), at)
    comb = comb_from_recording(Recording(audio, RATE), 8, 2)
    doubled = [t.tooth for t in comb.teeth if t.condition is ToothCondition.DOUBLED]
    assert doubled == [4] and "tooth 5" in comb.teeth[3].words


def test_only_noise_gives_no_tooth() -> None:
    rng = np.random.default_rng(2)
    comb = comb_from_recording(Recording(0.1 * rng.normal(size=5 * RATE), RATE), 6, 2)
    assert not any(t.pitch for t in comb.teeth)
    assert any("no ringing tooth" in remark for remark in comb.remarks)


def test_same_sound_same_result(recording: Recording, comb: PluckedComb) -> None:
    assert comb_from_recording(recording, 8, 2) == comb


def test_the_plot_has_a_card_for_every_tooth(recording: Recording, comb: PluckedComb) -> None:
    svg = plot_plucked(recording, comb)
    assert svg.count("<g ") == 8 and svg.count("buzzing") == 1 and svg.rstrip().endswith("</svg>")


def test_mains_hum_that_beats_is_no_pluck() -> None:
    """Hum stands before the first pluck and swells at the ticks; its tones lie where teeth could be."""
    rng = np.random.default_rng(11)
    audio, times = plucked_comb(rng, PITCHES)
    t = np.arange(len(audio)) / RATE
    hum = sum(np.sin(2 * np.pi * 50.0 * k * t + k) / k for k in (2, 4, 6))
    audio = audio + 0.012 * hum * (1 + 0.4 * np.sin(2 * np.pi * 0.7 * t)) + ticks(rng, len(audio), 0.03)
    heard = comb_from_recording(Recording(audio, RATE), len(PITCHES), 2)
    assert [len(tooth.plucks_s) for tooth in heard.teeth] == [2] * len(PITCHES)
    for tooth, true in zip(heard.teeth, times, strict=True):
        assert tooth.plucks_s == pytest.approx(true, abs=0.05)


def test_hum_at_a_neighbours_pitch_does_not_double_a_tooth() -> None:
    """The sixth harmonic of mains hum, 300 Hz, lies 9 cents from the second tooth."""
    rng = np.random.default_rng(13)
    audio, _ = plucked_comb(rng, [61.31, 62.28, 64.3, 66.3, 68.3, 70.4, 71.3, 73.4])
    audio = audio + 0.03 * np.sin(2 * np.pi * 300.0 * np.arange(len(audio)) / RATE)
    comb = comb_from_recording(Recording(audio, RATE), 8, 2)
    assert [tooth.condition for tooth in comb.teeth] == [ToothCondition.SOUND] * 8
