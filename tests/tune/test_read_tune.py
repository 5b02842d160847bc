"""From strikes to the tune: small tunes whose every note is known, with setting errors, losses and strangers."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from disc.errors import BadInput
from disc.frame import angle_gap_deg, onset_s, turn_deg, wrap_deg
from disc.records import Comb, Metre, Plate, Side, Strike, Tooth, Turns, Voice
from disc.tune.read.beat.explain import OPENINGS, in_words, reasons
from disc.tune.read.beat.pulse import FEATURE_NAMES
from disc.tune.read.read_tune import read_tune
from disc.tune.read.time.step_grid import find_grids
from disc.tune.read.voices.figures import Rolls, find_rolls, gather_stragglers
from disc.tune.settings import TuneSettings, parse_key
from disc.turn.guess import guess_pitches
from disc.turn.tips import estimate_tips

from .made import JIG, MAMAN, PLATE, bass_notes, parse, strikes_of

MAMAN_NOTES = parse(MAMAN)
MAMAN_BASS = bass_notes(24, Metre(2, 4), (48, 52, 53, 48, 53, 48, 55, 48))
JIG_NOTES = parse(JIG, Fraction(-1, 2))
JIG_TWICE = JIG_NOTES + [(o + 24, d, p) for o, d, p in JIG_NOTES]
JIG_BASS = bass_notes(16, Metre(6, 8), (55, 55, 50, 55, 55, 55, 50, 55))


def places(notes: list[tuple[Fraction, Fraction, int]]) -> set[tuple[Fraction, int]]:
    return {(onset, pitch) for onset, _, pitch in notes}


# ---- the grid


@pytest.mark.parametrize("step_s", [0.11, 0.17, 0.25])
def test_the_step_is_found_to_a_thousandth(step_s: float) -> None:
    rng = np.random.default_rng(3)
    steps = np.sort(rng.choice(160, 100, replace=False))
    onset_s = 2.0 + steps * step_s + rng.normal(0, 0.015, len(steps))
    best = find_grids(np.sort(onset_s))[0]
    assert best.step_s == pytest.approx(step_s, rel=1e-3)
    assert 0.010 < best.sigma_s < 0.020


def test_a_step_survives_losses_and_strangers() -> None:
    rng = np.random.default_rng(4)
    onset_s = 1.0 + np.arange(150) * 0.2 + rng.normal(0, 0.015, 150)
    kept = np.sort(np.r_[onset_s[rng.random(150) > 0.15], rng.uniform(1, 31, 4)])
    assert find_grids(kept)[0].step_s == pytest.approx(0.2, rel=1e-3)


@settings(max_examples=6)
@given(st.floats(-50.0, 50.0))
def test_a_later_start_shifts_the_grid_and_nothing_else(shift_s: float) -> None:
    rng = np.random.default_rng(5)
    onset_s = np.sort(100.0 + rng.choice(120, 80, replace=False) * 0.2 + rng.normal(0, 0.01, 80))
    one, other = find_grids(onset_s)[0], find_grids(onset_s + shift_s)[0]
    assert other.step_s == pytest.approx(one.step_s, rel=1e-6)
    assert other.score == pytest.approx(one.score, rel=1e-3)


# ---- whole tunes


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_song_in_two_four_comes_out_note_for_note(seed: int) -> None:
    strikes = strikes_of([*MAMAN_NOTES, *MAMAN_BASS], 0.7, error_s=0.012, seed=seed)
    tune = read_tune(strikes, PLATE, TuneSettings(metre=Metre(2, 4), beats=48)).tune
    assert {(n.onset_quarter, n.pitch) for n in tune.notes} == places(MAMAN_NOTES) | places(MAMAN_BASS)
    assert (tune.key.tonic, tune.key.mode, tune.upbeat_quarter) == (0, "major", 0)
    assert {n.pitch for n in tune.notes if n.voice is Voice.ACCOMPANIMENT} == {48, 52, 53, 55}
    assert tune.quarter_s == pytest.approx(0.7, rel=1e-3)
    assert tune.start_s == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_jig_with_an_upbeat_is_read_without_help(seed: int) -> None:
    strikes = strikes_of([*JIG_TWICE, *JIG_BASS], 0.42, start_s=1.5, error_s=0.012, seed=seed)
    tune = read_tune(strikes, PLATE).tune
    assert tune.metre == Metre(6, 8)
    assert tune.upbeat_quarter == Fraction(1, 2)
    assert (tune.key.tonic, tune.key.fifths) == (7, 1)
    assert {(n.onset_quarter, n.pitch) for n in tune.notes} == places(JIG_TWICE) | places(JIG_BASS)


def test_losses_and_a_stranger_leave_the_rest_in_place() -> None:
    rng = np.random.default_rng(8)
    whole = strikes_of([*JIG_TWICE, *JIG_BASS], 0.42, start_s=1.5, error_s=0.012, seed=8)
    kept = [s for s in whole if rng.random() > 0.15] + [Strike(90.0, 10.07, 66, 66.0, 999)]
    tune = read_tune(kept, PLATE).tune
    assert tune.metre == Metre(6, 8)
    found = {(n.onset_quarter, n.pitch) for n in tune.notes if n.pins != (999,)}
    assert len(found - (places(JIG_TWICE) | places(JIG_BASS))) <= 1


def test_triplets_among_eighths() -> None:
    bar = "72 1/2 74 1/2 76 1/3 77 1/3 79 1/3 81 1/2 79 1/2 77 1 "
    other = "76 1/2 77 1/2 79 1/2 81 1/2 83 1/2 81 1/2 79 1 "
    notes = parse((bar + other) * 5)
    low = bass_notes(10, Metre(4, 4), (48, 55))
    strikes = strikes_of([*notes, *low], 0.8, error_s=0.01, seed=2)
    tune = read_tune(strikes, PLATE, TuneSettings(metre=Metre(4, 4))).tune
    assert {(n.onset_quarter, n.pitch) for n in tune.notes} == places(notes) | places(low)


def test_a_march_in_triplets_keeps_its_metre() -> None:
    """Nearly all in thirds of the beat, its few halves and its bass in a simple metre: no grid of halves fits it."""
    bar = "72 1/3 74 1/3 76 1/3 77 1/3 76 1/3 74 1/3 76 1/3 77 1/3 79 1/3 81 1 "
    other = "79 1/3 77 1/3 76 1/3 74 1/3 76 1/3 77 1/3 76 1/2 74 1/2 72 1 "
    notes = parse((bar + other) * 5)
    low = [(Fraction(k), Fraction(1), (48, 55, 52, 55)[k % 4]) for k in range(40)]
    strikes = strikes_of([*notes, *low], 0.55, error_s=0.01, seed=2)
    tune = read_tune(strikes, PLATE, TuneSettings(metre=Metre(4, 4))).tune
    assert {(n.onset_quarter, n.pitch) for n in tune.notes} == places(notes) | places(low)


def test_a_rolled_chord_stands_on_its_beat() -> None:
    strikes = list(strikes_of(MAMAN_NOTES, 0.7))
    rolled = [
        Strike(0.0, s.onset_s - 0.04 * (3 - k), 40 + k, float((48, 52, 55)[k]), 500 + 10 * i + k)
        for i, s in enumerate(strikes[::4])
        for k in range(3)
    ]
    tune = read_tune([*strikes, *rolled], PLATE, TuneSettings(metre=Metre(2, 4), beats=48)).tune
    place = {n.pins[0]: n.onset_quarter for n in tune.notes}
    low = [n for n in tune.notes if n.pins[0] >= 500]
    assert len(low) == len(rolled) and all(n.rolled for n in low)
    assert all(n.onset_quarter == place[strikes[::4][(n.pins[0] - 500) // 10].pin_id or 0] for n in low)


def gathered(*struck: tuple[str, float, int, bool]) -> list[str]:
    """Places after stragglers are gathered; struck: (place, seconds, pitch, low), a quarter of 0.5 s a beat."""
    places = [Fraction(place) for place, *_ in struck]
    onset_s = np.array([at for _, at, *_ in struck])
    pitch, low = np.array([p for _, _, p, _ in struck]), np.array([is_low for *_, is_low in struck])
    alone = Rolls(np.full(len(struck), -1, dtype=np.int64))
    made, rolls = gather_stragglers(places, onset_s, pitch, low, alone, Fraction(1))
    assert all(rolls.of[i] >= 0 for i, place in enumerate(places) if place != made[i])
    return [str(place) for place in made]


def test_low_notes_drawn_out_before_a_beat_belong_to_its_chord() -> None:
    """By hand: two bass notes 0.2 and 0.11 s before the beat's melody note, on which nothing low is struck."""
    roll = [("3/4", 0.40, 48, True), ("3/4", 0.49, 52, True), ("1", 0.60, 67, False)]
    assert gathered(*roll) == ["1", "1", "1"]
    # a bass note on the beat, a melody note beside the first, or a higher note before a lower: written as they stand
    assert gathered(*roll, ("1", 0.60, 50, True)) == ["3/4", "3/4", "1", "1"]
    assert gathered(*roll[1:], ("1", 0.62, 48, True))[0] == "3/4"
    assert gathered(("3/4", 0.48, 52, True), ("3/4", 0.49, 64, False), ("1", 0.60, 67, False))[0] == "3/4"
    assert gathered(("3/4", 0.49, 72, True), ("1", 0.60, 67, False))[0] == "3/4"


QUARTER_S = 0.56  # a thirty-second is 70 ms: the haste of a rolled chord


@pytest.mark.parametrize("error_s", [0.0, 0.006])
def test_thirty_seconds_of_a_known_quarter_are_written_out(error_s: float) -> None:
    """What a design sets on the disc is what its score says; one run among quarters looks like a rolled chord."""
    first, *others = MAMAN_NOTES
    run = parse("60 1/8 64 1/8 67 1/4 72 1/2")
    assert sum(d for _, d, _ in run) == first[1]
    strikes = strikes_of([*run, *others, *MAMAN_BASS], QUARTER_S, error_s=error_s, seed=4)
    deg = QUARTER_S / PLATE.revolution_s * 360.0
    tune = read_tune(strikes, PLATE, TuneSettings(metre=Metre(2, 4), quarter_deg=deg)).tune
    assert not any(note.rolled for note in tune.notes)
    assert {(n.onset_quarter, n.pitch) for n in tune.notes} == places([*run, *others]) | places(MAMAN_BASS)


def test_rolled_chords_of_a_known_quarter_stay_rolled() -> None:
    strikes = list(strikes_of(MAMAN_NOTES, QUARTER_S))
    rolled = [
        Strike(0.0, s.onset_s - 0.045 * (3 - k), 40 + k, float((48, 52, 55)[k]), 500 + 10 * i + k)
        for i, s in enumerate(strikes[::4])
        for k in range(3)
    ]
    deg = QUARTER_S / PLATE.revolution_s * 360.0
    tune = read_tune([*strikes, *rolled], PLATE, TuneSettings(metre=Metre(2, 4), quarter_deg=deg)).tune
    low = [n for n in tune.notes if n.pins[0] >= 500]
    assert len(low) == len(rolled) and all(n.rolled for n in low)


def test_a_fast_run_is_not_taken_for_rolls() -> None:
    onset_s = np.arange(60) * 0.08
    assert (find_rolls(onset_s, np.tile([60.0, 64.0, 67.0, 72.0], 15)).of < 0).all()


def test_grace_notes_lead_to_their_notes() -> None:
    strikes = list(strikes_of(MAMAN_NOTES, 0.7))
    graces = [Strike(0.0, s.onset_s - 0.07, 1, float(s.pitch or 0) + 2, 900 + i) for i, s in enumerate(strikes[2:20:6])]
    tune = read_tune([*strikes, *graces], PLATE, TuneSettings(metre=Metre(2, 4))).tune
    small = [n for n in tune.notes if n.grace]
    assert {n.pins[0] for n in small} == {s.pin_id for s in graces}
    assert all(n.duration_quarter == 0 for n in small)


# ---- by hand


def test_what_is_set_by_hand_holds_and_runner_ups_are_explained() -> None:
    strikes = strikes_of([*JIG_TWICE, *JIG_BASS], 0.42, start_s=1.5, error_s=0.012)
    reading = read_tune(strikes, PLATE, TuneSettings(metre=Metre(3, 4), key=parse_key("E minor"), upbeat=Fraction(0)))
    assert reading.tune.metre == Metre(3, 4)
    assert reading.tune.upbeat_quarter == 0
    assert (reading.tune.key.tonic, reading.tune.key.mode) == (4, "minor")
    assert reading.metre_probability is None and reading.key_probability is None  # given, so nothing is to be believed
    assert "key" not in {a.what for a in reading.alternatives}
    free = read_tune(strikes, PLATE)
    assert {a.what for a in free.alternatives} == {"metre", "key"}
    assert all(a.why.startswith("lost by") for a in free.alternatives)
    assert sum(a.probability for a in free.alternatives if a.what == "metre") + free.metre_probability <= 1.001


def test_the_number_of_beats_decides_between_levels() -> None:
    strikes = strikes_of([*JIG_TWICE, *JIG_BASS], 0.42, start_s=1.5, error_s=0.012)
    tune = read_tune(strikes, PLATE, TuneSettings(metre=Metre(6, 8), beats=16 * 6)).tune
    assert int(max(n.onset_quarter for n in tune.notes) // 3) + 1 == 16


def test_the_same_strikes_give_the_same_tune() -> None:
    strikes = strikes_of([*JIG_TWICE, *JIG_BASS], 0.42, error_s=0.012)
    assert read_tune(strikes, PLATE) == read_tune(strikes[::-1], PLATE)


def test_too_few_strikes_and_impossible_wishes_are_explained() -> None:
    with pytest.raises(BadInput, match="only 4 strikes with a known pitch"):
        read_tune(strikes_of(parse("72 1 74 1 76 1 77 1"), 0.5), PLATE)
    strikes = strikes_of(MAMAN_NOTES, 0.7)
    with pytest.raises(BadInput, match="no beat fits what was set by hand"):
        read_tune(strikes, PLATE, TuneSettings(metre=Metre(2, 4), beats=3000))


# ---- what a comb's table may lack


@pytest.mark.parametrize("turns", list(Turns))
def test_tip_angles_are_found_from_the_beat(turns: Turns) -> None:
    plate = Plate(diameter_mm=30.0, revolution_s=40.0, turns=turns)
    rng = np.random.default_rng(6)
    strikes = strikes_of([*JIG_TWICE, *JIG_BASS], 0.42, start_s=2.0, error_s=0.01)
    true_deg = {tooth: float(rng.uniform(-0.5, 0.5)) % 360 for tooth in {s.tooth for s in strikes}}
    teeth = tuple(Tooth(n, Side.UPPER, 5.0 + 0.1 * i, None) for i, n in enumerate(sorted(true_deg)))
    # seen with all tips at 0, each track is early by its tip's own turn
    unturned = {n: -deg if deg < 180 else 360 - deg for n, deg in true_deg.items()}
    blind = [_as_if_tip_at(strike, unturned[strike.tooth] % 360, plate) for strike in strikes]
    found = estimate_tips(blind, Comb(teeth), plate, limit_deg=1.0)
    gaps = [found.tip_theta_deg[n] - true_deg[n] for n in found.tip_theta_deg]
    common = float(np.median([(gap + 180) % 360 - 180 for gap in gaps]))
    errors = [angle_gap_deg(found.tip_theta_deg[n], (true_deg[n] + common) % 360) for n in found.tip_theta_deg]
    # four standard errors of the estimate itself; the busiest track is the reference and adds its own
    assert all(e < 4 * (found.sigma_deg[n] + 0.03) for e, n in zip(errors, found.tip_theta_deg, strict=True))
    assert len(found.tip_theta_deg) + len(found.silent) == len(teeth)


def _as_if_tip_at(strike: Strike, tip_deg: float, plate: Plate) -> Strike:
    turned = float(wrap_deg(strike.turn_deg + turn_deg(0.0, tip_deg, plate.turns)))
    return replace(strike, turn_deg=turned, onset_s=float(onset_s(turned, plate.revolution_s)))


def test_draft_pitches_from_lengths_keep_order_and_come_near() -> None:
    strikes = strikes_of([*JIG_TWICE, *JIG_BASS], 0.42)
    order = sorted({s.tooth for s in strikes})
    # f ~ 1 / L^2: an octave is a factor of the root of two in length (Euler-Bernoulli bar)
    lengths = {tooth: 10.0 * 2 ** (-(tooth - 74) / 24) for tooth in order}
    guess = guess_pitches([replace(s, pitch=None) for s in strikes], order, lengths)
    row = [guess.pitch[tooth] for tooth in order]
    assert row == sorted(row)
    shift = np.median([g - t for g, t in zip(row, order, strict=True)])
    assert np.mean([abs(g - t - shift) <= 1 for g, t in zip(row, order, strict=True)]) > 0.8
    assert guess.alternatives and all(a.score <= guess.score for a in guess.alternatives)


def test_a_bad_order_of_teeth_is_explained() -> None:
    strikes = strikes_of(MAMAN_NOTES, 0.7)
    with pytest.raises(BadInput, match="at least three teeth, each once"):
        guess_pitches(strikes, (72, 72, 74))
    with pytest.raises(BadInput, match="none of the teeth in the order is ever struck"):
        guess_pitches(strikes, (1, 2, 3))


def test_every_feature_of_a_reading_has_its_words() -> None:
    known = {*OPENINGS.values(), "how common such bars are"}
    for name in FEATURE_NAMES:
        said = in_words(name)
        assert said in known or " on " in said or " coming back after " in said
    assert in_words("low on bar") == "bass notes on its bar lines"
    assert (
        reasons(["low on bar", "upbeat: none", "upbeat: a beat"]) == "lost by: bass notes on its bar lines; its upbeat"
    )
