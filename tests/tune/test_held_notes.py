"""Where a note may be held, and how an end slows: the parts that look, each by itself."""

from __future__ import annotations

import numpy as np
import pytest

from disc.records import Metre
from disc.tune.read.find_figures import find_figures
from disc.tune.read.find_pace import weighed_turn
from disc.tune.read.model import load_model
from disc.tune.read.time.hold_odds import figure_elsewhere
from disc.tune.read.time.hold_places import likely_places
from disc.tune.read.time.slowing import slowed, unslowed
from disc.tune.read.time.straighten import STEADY
from disc.tune.settings import TuneSettings
from tests.tune.made import MAMAN, bass_notes, parse, strikes_of

NOTES = [*parse(MAMAN), *bass_notes(24, Metre(2, 4), (48, 53, 55, 48))]


def turn_of(moved_s):
    """The air's strikes, moved, as they are weighed."""
    strikes = strikes_of(NOTES, 0.5, 1.0, error_s=0.008, seed=3)
    onset_s = np.sort(moved_s(np.array([s.onset_s for s in strikes])))
    pitch = np.array([float(s.tooth) for s in strikes])
    model = load_model()
    return weighed_turn(onset_s, pitch, find_figures(onset_s, pitch, model, None), model, TuneSettings())


@pytest.mark.parametrize("extra_s", [0.37, 0.5, 0.75])
def test_the_held_gap_is_named_first(extra_s: float) -> None:
    """A note of one second is held longer: by a part of a step, by whole steps of which only bar lines tell."""
    turn = turn_of(lambda t: t + extra_s * np.clip((t - 8.0) / 1.0, 0, 1))
    gap = int(np.searchsorted(turn.onset_s, 8.5)) - 1
    first = likely_places(turn.onset_s, list(range(6, len(turn.onset_s) - 7)), turn.steps, turn.lines)[0]
    assert first.gap == gap and first.extra_s == pytest.approx(extra_s, abs=0.04)


def test_the_same_figure_elsewhere_tells_how_long_a_note_is_written() -> None:
    pitch = np.array([72, 74, 76, 72, 79, 77, 72, 74, 76, 72, 79, 77, 60.0])
    onset_s = np.cumsum([0, 1, 1, 1, 3, 1, 1, 1, 1, 1, 2, 1, 1.0])  # the first 72 to 79 takes 3 s, the second 2 s
    melody = np.ones(len(pitch), dtype=bool)
    written, held = figure_elsewhere(onset_s, pitch, melody, 3, 1.0)
    assert written > 0.2 and held == 0.0
    written, held = figure_elsewhere(onset_s, pitch, melody, 3, 2.0)  # one second is met nowhere in that figure
    assert written == 0.0
    onset_s[10:] += 1.0  # as long both times
    written, held = figure_elsewhere(onset_s, pitch, melody, 3, 1.0)
    assert written == 0.0 and held > 0.2


@pytest.mark.parametrize("slower, power", [(0.4, 1.0), (0.9, 1.6), (1.4, 3.0), (0.2, 0.6)])
def test_a_slowing_is_undone(slower: float, power: float) -> None:
    """Steady moments, slowed by the formula itself, come back."""
    steady = np.linspace(0.0, 9.0, 50)
    way = np.maximum(steady - 5.0, 0.0) / 4.0
    real = steady + 4.0 * slower * way ** (1.0 + power) / (1.0 + power)
    assert unslowed(real, float(real[-1]), 5.0, slower, power) == pytest.approx(steady, abs=1e-5)


def test_a_slowing_end_is_found_to_the_setting_errors() -> None:
    """The strikes of the last bars, which slip by more than a second, stand on the grid again."""
    turn = turn_of(lambda t: t + 0.06 * np.maximum(t - 20.4, 0.0) ** 2.2)
    pace = slowed(turn.onset_s, STEADY, turn.steps, turn.grid.score)
    assert pace.slowing_s == pytest.approx(20.4, abs=1.2)
    straight = pace.straight(turn.onset_s)
    off = (straight - straight[0]) / 0.5
    assert np.abs(off - np.round(off)).max() * 0.5 < 0.05
    steady = turn_of(lambda t: t)
    assert slowed(steady.onset_s, STEADY, steady.steps, steady.grid.score).is_steady
