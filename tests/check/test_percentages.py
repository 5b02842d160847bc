"""What a percentage of a finding rests on: the reading's own doubt, what lies beside, what photographs would show."""

from __future__ import annotations

from dataclasses import replace

import pytest

from disc.check.check_disc import judge
from disc.check.kinds import KINDS, Kind
from disc.check.music.losses import NO_SIGN_LOG_ODDS, signs_share, without_trace_log_odds
from disc.check.photo.photo_findings import (
    BY_HAND,
    FEW_BESIDE,
    MOST_SURE_EXTRA,
    MOST_SURE_LEAN,
    alike_beside,
    judge_lean,
    judge_stub,
)
from disc.check.sentences import finding_line, sure_words
from disc.photo.seen.seen_map import ANGLES, RINGS, SEEN, SeenMap
from disc.records import Condition, Evidence, Finding, Pin, Side

from .making import PLATE, sound_disc, tune, turn_of

PINS = sound_disc()
MAPS = {side: SeenMap(side=side, radius_mm=13.0, rows=(SEEN * ANGLES,) * RINGS) for side in Side}


def by_kind(turn, kind):
    return [finding for finding in judge(turn).findings if finding.kind == kind]


def test_a_pin_lost_without_a_hole_is_hardly_believed_where_photographs_would_show_the_hole():
    few = [replace(PINS[i], condition=Condition.STUB) for i in (3, 9, 30)]
    pins = (*few, *(p for i, p in enumerate(PINS) if i not in (3, 9, 30, 20)))  # 20 is gone, with its hole
    told_by_a_table = turn_of(pins, tune())
    (gap,) = [f for f in by_kind(told_by_a_table, "missing") if f.pin_id is None]
    assert gap.tooth == PINS[20].tooth
    assert not [f for f in by_kind(replace(told_by_a_table, seen=MAPS), "missing") if f.pin_id is None]


def test_one_sign_of_damage_is_little():
    assert without_trace_log_odds(0.0, False) == NO_SIGN_LOG_ODDS
    one, two, many = (without_trace_log_odds(share, False) for share in (0.01, 0.02, 0.05))
    assert NO_SIGN_LOG_ODDS < one < two < many == 0.0
    assert without_trace_log_odds(0.05, True) == pytest.approx(-2.7, abs=0.05)
    assert signs_share([replace(PINS[0], condition=Condition.STUB), *PINS[1:]], set()) == 1 / len(PINS)


def test_a_pin_too_many_is_no_surer_than_the_reading_is_that_it_stands():
    def extra(confidence):
        stray = Pin(900, Side.UPPER, 5.5, 200.0, 0.25, 0.5, confidence=confidence, condition_probability=0.99)
        return by_kind(turn_of((*PINS, stray), tune()), "extra")

    (sure,) = extra(0.999)
    (less,) = extra(0.7)
    assert sure.probability == pytest.approx(MOST_SURE_EXTRA * 0.99, rel=0.01) and less.probability == pytest.approx(
        sure.probability * 0.7 / 0.999, rel=1e-6
    )


def test_a_leaning_pin_is_never_surer_than_was_tried():
    leaning = replace(PINS[5], condition=Condition.BENT, lean_x_mm=0.3, lean_y_mm=0.1)
    spread = turn_of(PINS, tune()).spread
    sure, less = (judge_lean(replace(leaning, confidence=c), PLATE, spread) for c in (None, 0.8))
    assert sure is not None and less is not None
    assert sure.probability == pytest.approx(MOST_SURE_LEAN * BY_HAND)
    assert less.probability == pytest.approx(MOST_SURE_LEAN * 0.8)


def stub(number, theta_deg, sure=0.85):
    return Pin(
        number, Side.UPPER, 7.0, theta_deg, 0.25, 0.05, Condition.STUB, tooth=3, confidence=0.99,
        condition_probability=sure,
    )  # fmt: skip


def test_many_marks_side_by_side_are_a_shadow_sooner_than_breaks():
    alone, crowd = stub(1, 10.0), [stub(n, 200.0 + 6.0 * n) for n in range(2, 3 + FEW_BESIDE)]
    sure = stub(20, 210.0, sure=0.999)
    stubs = [alone, *crowd, sure]
    assert alike_beside(alone, stubs) == 0 and alike_beside(sure, stubs) == 0
    assert all(alike_beside(one, stubs) == FEW_BESIDE for one in crowd)
    plain, doubted = judge_stub(crowd[0]), judge_stub(crowd[0], beside=FEW_BESIDE)
    assert plain is not None and doubted is not None
    assert plain.probability > 0.8 and doubted.probability < 0.3
    assert f"{FEW_BESIDE} marks beside it look so" in doubted.evidence[-1].words


def test_the_other_faces_hole_seen_from_behind_is_no_hole_given_up():
    k = next(i for i, pin in enumerate(PINS) if pin.tooth == 8)  # no track of the upper face lies so far out
    hole = replace(PINS[k], condition=Condition.MISSING, height_mm=None)
    behind = Pin(901, Side.UPPER, hole.r_mm, hole.theta_deg, 0.25, None, Condition.MISSING, confidence=0.99)
    found = judge(turn_of((*PINS[:k], hole, *PINS[k + 1 :], behind), tune())).findings
    (told,) = [f for f in found if f.pin_id == 901]
    assert told.kind == "in-doubt" and told.probability < 0.01
    assert f"the hole of pin {hole.id} on the {hole.side.value} face" in told.evidence[0].words


def test_what_is_measured_is_told_without_a_percentage():
    measured = Finding("in-rest-arc", Side.UPPER, 7.0, 3.0, 0.957, (Evidence("mechanical", "1.2 degrees inside", 7.0),))
    assert sure_words(measured) == "measured" and "measured: 1.2 degrees" in finding_line(measured)
    assert sure_words(replace(measured, probability=1.0)) == "> 99 %"  # a person's word
    assert sure_words(replace(measured, kind="bent", probability=0.9)) == "90 %"


@pytest.mark.parametrize(
    ("probability", "word"),
    [(0.99, "hardly in doubt"), (0.9, "likely"), (0.6, "sooner so than not"), (0.3, "in doubt"), (1.0, "> 99 %")],
)
def test_what_too_few_cases_were_tried_of_is_told_in_a_word(probability, word):
    stub = Finding("stub", Side.UPPER, 7.0, 3.0, probability, (Evidence("seen", "a root without a pin", 7.0),))
    assert sure_words(stub) == word and (probability == 1.0 or "%" not in finding_line(stub))
    assert {kind for kind in Kind if KINDS[kind].measured} == {
        Kind.OFF_TRACK, Kind.OFF_BEAT, Kind.CLOSE_ON_TRACK, Kind.IN_REST_ARC, Kind.IN_THE_WAY, Kind.UNEVEN_HEIGHT,
        Kind.THIN_WALL,
    }  # fmt: skip
