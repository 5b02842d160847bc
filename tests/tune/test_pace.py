"""A turn whose time is bent: a slow drift of the setting, a held note, a slowing end; and what is printed of it."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import mido
import numpy as np
import pytest

from disc.frame import turn_for_onset_deg
from disc.records import Metre, Strike
from disc.tune.read.read_tune import read_tune
from disc.tune.read.sections.strains import differing_notes
from disc.tune.store import TUNE
from disc.tune.write.midi import midi_bytes
from disc.tune.write.musicxml import musicxml_text
from tests.tune.made import MAMAN, PLATE, bass_notes, parse, strikes_of

QUARTER_S = 0.5
# the air with a bass note on each bar line, 24 bars of 2/4
NOTES = [*parse(MAMAN), *bass_notes(24, Metre(2, 4), (48, 53, 55, 48))]


def bent(way: Callable[[float], float], seed: int = 1) -> tuple[Strike, ...]:
    """The air's strikes with errors of 8 ms, each moved as `way` says (steady seconds to the turn's)."""
    rng = np.random.default_rng(seed)
    moved = sorted((way(s.onset_s) + rng.normal(0, 0.008), s) for s in strikes_of(NOTES, QUARTER_S, 1.0))
    return tuple(
        replace(s, onset_s=t, turn_deg=float(turn_for_onset_deg(t, PLATE.revolution_s)), pin_id=i)
        for i, (t, s) in enumerate(moved, start=1)
    )


WAYS: dict[str, Callable[[float], float]] = {
    "steady": lambda t: t,
    "drift of 3 per cent": lambda t: t + 0.03 * 24 / 6.283 * float(np.sin((t - 1) * 6.283 / 24)),
    "slowing late": lambda t: t + 0.04 * max(0.0, t - 20.3) ** 2.7,
    # bar 8's note of two quarters begins at 1 + 14 * .5 = 8 s and is held .37 s longer
    "held": lambda t: t + 0.37 * float(np.clip((t - 8.0) / 1.0, 0, 1)),
    # a whole quarter longer: the grid goes on unbroken, and only the bar lines tell
    "held by a whole step": lambda t: t + 0.5 * float(np.clip((t - 8.0) / 1.0, 0, 1)),
    "slowing": lambda t: t + 0.25 * max(0.0, t - 21.0) ** 2 / 2,
}


@pytest.mark.parametrize("name", WAYS)
def test_bar_lines_follow_a_bent_turn(name: str) -> None:
    """Every bar line of the air lies where the bend puts it, and the notes are the written ones."""
    tune = read_tune(bent(WAYS[name]), PLATE).tune
    assert tune.metre.beats in (2, 4) and tune.metre.unit == 4
    for note in tune.notes:
        assert note.onset_s is not None and abs(tune.onset_s(note.onset_quarter) - note.onset_s) < 0.06, note
    written = sorted((2 * o, p) for o, _, p in NOTES)
    scale = round(1.0 / tune.quarter_s) * 1  # quarters of half a second, or values doubled
    said = sorted((Fraction(n.onset_quarter) * 4 / scale, n.pitch) for n in tune.notes)
    first = said[0][0] - written[0][0]
    assert [(o - first, p) for o, p in said] == written


def test_what_bends_is_named() -> None:
    held = read_tune(bent(WAYS["held"]), PLATE).tune
    assert len(held.held) == 1 and held.onset_s(held.held[0]) == pytest.approx(8.0, abs=0.05)
    assert "<fermata" in musicxml_text(held)
    slowing = read_tune(bent(WAYS["slowing"]), PLATE).tune
    assert slowing.slowing_quarter is not None and ">rit.<" in musicxml_text(slowing)
    drift = read_tune(bent(WAYS["drift of 3 per cent"]), PLATE)
    assert drift.drift_s == pytest.approx(0.115, abs=0.04) and drift.drift_bar is not None
    steady = read_tune(bent(WAYS["steady"]), PLATE)
    assert steady.drift_s == 0 and steady.tune.pace == () and steady.tune.held == ()


@pytest.mark.parametrize("name", WAYS)
def test_the_midi_sounds_when_the_pins_strike(name: str) -> None:
    """Read back with mido's own clock: every strike to a millisecond, from the first on."""
    strikes = bent(WAYS[name])
    file = mido.MidiFile(file=io.BytesIO(midi_bytes(read_tune(strikes, PLATE).tune)))
    now, heard = 0.0, []
    for message in file:
        now += message.time
        if message.type == "note_on" and message.velocity:
            heard.append((now, message.note))
    assert len(heard) == len(strikes)
    apart = heard[0][0] - strikes[0].onset_s
    true = sorted(((s.onset_s + apart, s.tooth) for s in strikes), key=lambda pair: pair[::-1])
    for (at_s, pitch), (true_s, tooth) in zip(sorted(heard, key=lambda pair: pair[::-1]), true, strict=True):
        assert at_s == pytest.approx(true_s, abs=0.001) and pitch == tooth


def test_a_bent_tune_is_stored_whole(tmp_path) -> None:
    tune = read_tune(bent(WAYS["held"]), PLATE).tune
    assert TUNE.parse(TUNE.text(tune), tmp_path / "tune.json") == tune


def test_a_note_of_one_pass_says_so() -> None:
    """A strain twice; a pin of its second pass is gone: printed small, played in the first pass only."""
    strain = parse("72 1 74 1 76 1 77 1 79 1 76 1 72 2 77 1 76 1 74 1 72 1 71 1 74 1 72 2")
    twice = [*strain, *((o + 16, d, p) for o, d, p in strain)]
    whole = [*twice, *bass_notes(16, Metre(2, 4), (48, 53, 55, 48))]
    strikes = list(strikes_of(whole, QUARTER_S, 1.0))
    gone = next(s for s in strikes if s.tooth == 77 and s.onset_s > 11.0)
    strikes.remove(gone)
    tune = read_tune(tuple(strikes), PLATE).tune
    assert tune.repeats
    ((_, note, time),) = differing_notes(tune)
    assert note.pitch == 77 and time == 1
    text = musicxml_text(tune)
    assert text.count("time-only=") == 1
    # played out by the attribute, the file holds the disc's strikes
    assert 2 * text.count('id="pin-') - text.count("time-only=") - 2 * text.count("-held") == len(strikes)
