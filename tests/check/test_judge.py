"""The whole check on a small disc whose tune is two equal strains: holes, gaps, abandoned holes, a known tune."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from disc.check.check_disc import Judgement, judge
from disc.check.kinds import Kind
from disc.frame import angle_gap_deg, theta_for, turn_for_onset_deg
from disc.library.read.reference import reference_of
from disc.library.records import ReferenceTune, TuneKey
from disc.records import Condition, Metre, Pin
from disc.tune.score.records import ScoreBar, ScoreIn, ScoreNote

from .making import COMB, EIGHTH_S, PITCHES, PLATE, START_S, STRAIN, sound_disc, tune, turn_of

SECOND = len([t for t in STRAIN if t])  # the first pin of the second strain
# Where the tenth pin of the second strain stands, 42 eighths on: of bars of 2/4, or of two such written as one.
SECOND_PLUS_9 = ((11, 2), (6, 2))


def checked(pins, references=()) -> Judgement:
    return judge(turn_of(pins, tune()), references)


def emptied(pin: Pin) -> Pin:
    return replace(pin, condition=Condition.MISSING, height_mm=0.0)


def hole(tooth: int, onset_s: float, number: int = 900) -> Pin:
    """An empty hole on a tooth's track that would strike at this time."""
    tip = COMB.tooth(tooth)
    theta = float(theta_for(turn_for_onset_deg(onset_s, PLATE.revolution_s), tip.tip_theta_deg, PLATE.turns))
    return Pin(number, tip.side, tip.tip_r_mm, theta, 0.25, 0.0, Condition.MISSING)


def printed(skip: int | None = None) -> ReferenceTune:
    """The tune as a score would give it, a fourth lower, both strains; without note `skip` of the first strain."""
    notes = [
        ScoreNote(Fraction(k, 2), Fraction(1, 2), PITCHES[tooth - 1] - 5)
        for k, tooth in enumerate(STRAIN * 2)
        if tooth and k % len(STRAIN) != skip
    ]
    bars = tuple(ScoreBar(n + 1, Fraction(2 * n), Fraction(2)) for n in range(16))
    score = ScoreIn(tuple(notes), bars, Metre(2, 4), None, None, "Two strains")
    return reference_of(score, TuneKey("given.abc", 1), "")


@pytest.mark.parametrize("seed", range(5))
def test_the_undamaged_disc_has_no_finding(seed):
    assert checked(sound_disc(0.015, seed)).findings == ()
    assert checked(sound_disc(0.015, seed), (printed(),)).findings == ()


def test_an_empty_hole_that_the_other_strain_fills_is_missing():
    pins = list(sound_disc())
    pins[SECOND + 9] = emptied(pins[SECOND + 9])
    (finding,) = checked(pins).findings
    assert finding.kind == Kind.MISSING and finding.pin_id == pins[SECOND + 9].id and finding.probability > 0.9
    assert {e.kind for e in finding.evidence} >= {"seen", "heard"}
    assert (finding.bar, finding.beat) in SECOND_PLUS_9


def test_gaps_without_a_hole_are_found_at_their_place():
    """One pin after the other is taken away without a trace; the other strain alone tells. Not each can be known (a
    single witness is weak against a varied repeat), but most, and hardly anything else may be named."""
    right = wrong = 0
    for i in range(SECOND, 2 * SECOND, 2):
        pins = list(sound_disc())
        lost = pins.pop(i)
        pins[3] = replace(pins[3], condition=Condition.BENT)  # a sign of damage: without one, losses are not believed
        for found in (f for f in checked(pins).findings if f.kind == Kind.MISSING):
            near = float(angle_gap_deg(found.theta_deg, lost.theta_deg)) < 1.0
            is_right = found.pin_id is None and (found.side, found.tooth) == (lost.side, lost.tooth) and near
            right, wrong = right + is_right, wrong + (not is_right)
            assert any("the same strike is there in bar" in e.words for e in found.evidence) or not is_right
    assert right >= 0.4 * SECOND / 2 and wrong <= 0.1 * right


def test_without_a_sign_of_damage_a_gap_is_not_believed():
    pins = list(sound_disc())
    pins.pop(SECOND + 17)
    assert checked(pins).findings == ()


def test_holes_that_nothing_wants_are_abandoned():
    off_beat = hole(2, START_S + EIGHTH_S * 21.45)  # on a track, between the beats, nothing like it in the other strain
    stray = Pin(901, off_beat.side, 11.7, 200.0, 0.25, 0.0, Condition.EXTRA)
    found = {f.pin_id: f for f in checked([*sound_disc(), off_beat, stray]).findings}
    assert found[900].kind == Kind.ABANDONED and found[901].kind == Kind.ABANDONED
    assert found[901].tooth is None and found[901].bar is None


def test_a_known_tune_decides_where_the_strains_agree_in_silence():
    """The same note is gone from both strains: the music alone cannot know, the printed tune does."""
    pins = list(sound_disc())
    pins[3] = replace(pins[3], condition=Condition.BENT)
    lost = [pins.pop(SECOND + 20), pins.pop(20)]
    assert not [f for f in checked(pins).findings if f.kind == Kind.MISSING]
    judgement = checked(pins, (printed(),))
    missing = [f for f in judgement.findings if f.kind == Kind.MISSING]
    assert judgement.known is not None and len(missing) == 2
    assert {f.tooth for f in missing} == {pin.tooth for pin in lost}
    assert all(any(e.kind == "known" for e in f.evidence) for f in missing)


def test_another_tune_is_not_believed():
    rng = np.random.default_rng(2)
    other = replace(printed(), pitch=rng.integers(60, 75, printed().pitch.size))
    judgement = checked(sound_disc(), (other,))
    assert judgement.known is None and judgement.findings == ()


def test_the_best_of_several_tunes_of_a_file_is_taken():
    rng = np.random.default_rng(2)
    other = replace(printed(), pitch=rng.integers(60, 75, printed().pitch.size), title="Another")
    known = checked(sound_disc(), (other, printed())).known
    assert known is not None and known.title == "Two strains"


def test_a_strike_beside_its_note_and_off_the_beat_is_displaced():
    pins = list(sound_disc(0.008))
    moved = pins[15]
    pins[15] = replace(moved, theta_deg=(moved.theta_deg + 1.25) % 360)  # 139 ms: no simple part of the beat
    kinds = {f.kind for f in checked(pins, (printed(),)).findings if f.pin_id == moved.id}
    assert Kind.DISPLACED in kinds
    assert {f.pin_id for f in checked(pins, (printed(),)).findings} == {moved.id}


def linked_tune(pins):
    """The tune with each note linked to its pin; pins are numbered in the order of the notes."""
    standing = {pin.id for pin in pins}
    notes = (replace(n, pins=(i,) if i in standing else ()) for i, n in enumerate(tune().notes, start=1))
    return replace(tune(), notes=tuple(notes))


def shifted(pin: Pin, late_s: float) -> Pin:
    """The pin set so that it strikes later; on this disc a later pin lies at a larger angle, in 40 s a turn."""
    return replace(pin, theta_deg=(pin.theta_deg + late_s / PLATE.revolution_s * 360.0) % 360)


@pytest.mark.parametrize("late_s", [0.133, -0.133, 0.2])
def test_a_pin_off_the_beat_that_the_other_strain_has_on_it(late_s):
    pins = list(sound_disc(0.008))
    pins[30] = shifted(pins[30], late_s)
    (finding,) = judge(turn_of(pins, linked_tune(pins))).findings
    assert (finding.kind, finding.pin_id) == (Kind.OFF_BEAT, pins[30].id)
    assert ("late" if late_s > 0 else "early") in finding.evidence[0].words
    assert "where the music runs alike" in finding.evidence[1].words


@pytest.mark.parametrize("late_s", [0.133, -0.133, 0.2])
def test_lateness_that_no_other_place_speaks_against_is_no_finding(late_s):
    """The other strain's strike is gone too: it may be the tune's own rare figure, taken for its neighbour's place."""
    whole = list(sound_disc(0.008))
    pins = [shifted(p, late_s) if k == 5 else p for k, p in enumerate(whole) if k != SECOND + 5]
    found = judge(turn_of(pins, linked_tune(pins))).findings
    assert not [f for f in found if f.kind == Kind.OFF_BEAT]


@pytest.mark.parametrize("late_s", [0.133, 0.2])
def test_a_figure_that_comes_twice_is_no_fault(late_s):
    pins = list(sound_disc(0.008))
    for k in (5, SECOND + 5):
        pins[k] = shifted(pins[k], late_s)
    found = judge(turn_of(pins, linked_tune(pins))).findings
    assert not [f for f in found if f.kind == Kind.OFF_BEAT]


def test_a_lean_in_doubt_is_no_trace_of_lost_pins():
    """One pin gone without a hole: told where another pin leans, not where the photograph speaks against its word."""
    rng = np.random.default_rng(1)
    leans = rng.normal(0, 0.02, (2 * SECOND, 2)).tolist()
    pins = [replace(p, lean_x_mm=x, lean_y_mm=y) for p, (x, y) in zip(sound_disc(), leans, strict=True)]
    del pins[SECOND + 9]
    told = {}
    for lean_mm in (0.04, 0.25):
        pins[3] = replace(pins[3], condition=Condition.BENT, lean_x_mm=lean_mm, lean_y_mm=0.0)
        told[lean_mm] = {f.kind: f.probability for f in checked(pins).findings}
    assert told[0.25][Kind.BENT] > 0.9 and Kind.MISSING in told[0.25]
    assert told[0.04].get(Kind.BENT, 0.0) < 0.7 and Kind.MISSING not in told[0.04]


def test_without_a_tune_holes_are_still_told():
    pins = list(sound_disc())
    pins[10] = emptied(pins[10])
    (finding,) = judge(turn_of(pins)).findings
    assert finding.kind in (Kind.IN_DOUBT, Kind.MISSING) and finding.pin_id == pins[10].id
    assert finding.bar is None and [e.kind for e in finding.evidence] == ["seen"]


def test_an_empty_disc_is_no_fault():
    assert judge(turn_of((), tune())).findings == ()


def test_mirrored_and_turned_the_other_way_the_answer_is_the_same():
    """Nothing in the check may depend on the way of turning: mirror the disc, comb and motion together."""
    from disc.records import Comb, Turns

    pins = list(sound_disc())
    pins[SECOND + 9] = emptied(pins[SECOND + 9])
    mirror = [replace(p, theta_deg=(-p.theta_deg) % 360) for p in pins]
    comb = Comb(tuple(replace(t, tip_theta_deg=(-(t.tip_theta_deg or 0.0)) % 360) for t in COMB.teeth))
    plate = replace(PLATE, turns=Turns.COUNTERCLOCKWISE)
    (there,) = judge(turn_of(mirror, tune(), comb, plate)).findings
    (here,) = checked(pins).findings
    assert there.pin_id == here.pin_id and (there.bar, there.beat) == (here.bar, here.beat)
    assert there.probability == pytest.approx(here.probability, abs=1e-6)


def test_a_strike_within_the_setting_error_plays_its_note():
    """Two teeth of one pitch: the note set 60 ms late is there, and no pin of the other tooth is missed for it."""
    from disc.records import Comb

    twin = replace(COMB.tooth(5), number=9, tip_r_mm=10.4)
    pins = list(sound_disc(0.015))
    pins[3] = replace(pins[3], condition=Condition.BENT)
    late = next(k for k, pin in enumerate(pins) if k > 8 and pin.tooth == 5)
    told = []
    for late_s in (0.06, -0.06, 0.07):
        set_so = [shifted(p, late_s) if k == late else p for k, p in enumerate(pins)]
        found = judge(turn_of(set_so, tune(), Comb((*COMB.teeth, twin))), (printed(),)).findings
        told += [f for f in found if f.kind == Kind.MISSING]
    assert told == []
