"""A recorded turn, against a bar model; notes scored by mir_eval's transcription metric as the second opinion."""

from __future__ import annotations

import mir_eval
import numpy as np
import pytest

from disc.errors import BadInput
from disc.listen.sound.audio import Recording
from disc.listen.turn.hear_turn import read_turn
from disc.listen.turn.place.speed import motion_from
from disc.listen.turn.turn_record import Turn

from .struck_bars import RATE, a_tune, hz, played_turn, ticks

COMB = dict(enumerate([69.02, 71.0, 72.97, 74.0, 76.03, 78.0, 79.0, 81.02, 83.0], start=1))
PERIOD_S = 22.0
SILENT, LATE = (9, 30), {17: 0.08}
EXTRA = ((0.305, 9), (0.655, 1))


@pytest.fixture(scope="module")
def tune() -> list[tuple[float, int]]:
    return a_tune(np.random.default_rng(4), list(COMB), 48)


@pytest.fixture(scope="module")
def played(tune: list[tuple[float, int]]) -> tuple[np.ndarray, list[tuple[float, float]]]:
    rng = np.random.default_rng(11)
    audio, onsets = played_turn(rng, COMB, tune, PERIOD_S, SILENT, EXTRA, LATE)
    return audio + ticks(rng, len(audio), 0.01), onsets


@pytest.fixture(scope="module")
def turn(tune: list[tuple[float, int]], played: tuple[np.ndarray, list[tuple[float, float]]]) -> Turn:
    return read_turn(Recording(played[0], RATE), COMB, tune)


def f1(truth: list[tuple[float, float]], turn: Turn) -> float:
    found = [(s.time_s, s.pitch) for s in turn.sounds]
    spans = [np.array([[t, t + 0.1] for t, _ in items]) for items in (truth, found)]
    pitches = [np.array([hz(p) for _, p in items]) for items in (truth, found)]
    *_, value, _ = mir_eval.transcription.precision_recall_f1_overlap(
        spans[0], pitches[0], spans[1], pitches[1], offset_ratio=None
    )
    return float(value)


def test_notes(turn: Turn, played: tuple[np.ndarray, list[tuple[float, float]]]) -> None:
    assert f1(played[1], turn) >= 0.97


def test_silent_extra_and_late(turn: Turn) -> None:
    assert turn.silent == SILENT
    assert sorted((round(s.pitch), s.strike) for s in turn.extra) == [(69, None), (83, None)]
    assert [s.strike for s in turn.early_late] == [17]
    assert turn.early_late[0].late_s == pytest.approx(0.08, abs=0.01)


def test_revolution_and_speed(turn: Turn) -> None:
    assert turn.revolution_s == pytest.approx(PERIOD_S, rel=0.002)
    # The turn was made to run at 1 / (1 - 0.015 (1 - 2u)) of its mean speed.
    u = turn.motion.position(turn.speed[:, 0])
    expected = 1.0 / (1.0 - 0.015 * (1.0 - 2.0 * u))
    middle = (u > 0.1) & (u < 0.9)
    assert np.sqrt(np.mean((turn.speed[middle, 1] - expected[middle]) ** 2)) < 0.003
    assert turn.whirr_hz == ()


def test_a_wrong_sample_rate_is_put_right(
    tune: list[tuple[float, int]], played: tuple[np.ndarray, list[tuple[float, float]]]
) -> None:
    wrong = read_turn(Recording(played[0], 44100 * RATE / 48000), COMB, tune)
    assert wrong.clock == pytest.approx(48000 / 44100, rel=1e-3)
    assert f1(played[1], wrong) >= 0.95
    assert any("sample rate" in remark for remark in wrong.remarks)


def test_a_recording_that_starts_late(
    tune: list[tuple[float, int]], played: tuple[np.ndarray, list[tuple[float, float]]]
) -> None:
    cut = 6.0
    late = read_turn(Recording(played[0][int(cut * RATE) :], RATE), COMB, tune, PERIOD_S)
    truth = [(t - cut, p) for t, p in played[1] if t > cut + 0.05]
    assert f1(truth, late) >= 0.93
    assert late.unheard and set(late.silent) <= {30}


def test_another_tune_is_refused(played: tuple[np.ndarray, list[tuple[float, float]]]) -> None:
    other = a_tune(np.random.default_rng(99), list(COMB), 40)
    with pytest.raises(BadInput, match="does not follow the pins"):
        read_turn(Recording(played[0], RATE), COMB, other)


def test_too_few_strikes_are_refused(played: tuple[np.ndarray, list[tuple[float, float]]]) -> None:
    with pytest.raises(BadInput, match="at least 6"):
        read_turn(Recording(played[0], RATE), COMB, [(0.1, 1), (0.2, 2)])


def test_motion_is_exact_for_a_steady_turn() -> None:
    turns = np.sort(np.random.default_rng(1).uniform(0, 1, 60))
    motion = motion_from(2.0 + 40.0 * turns, turns)
    assert motion.time(np.array([0.0, 0.5, 1.0])) == pytest.approx([2.0, 22.0, 42.0], abs=1e-3)
    assert motion.position(np.array([22.0])) == pytest.approx([0.5], abs=1e-4)
    assert motion.speed(np.array([10.0, 30.0])) == pytest.approx([1 / 40.0] * 2, rel=1e-3)
