"""A person's decisions: kept over new readings, never lost silently."""

from __future__ import annotations

from dataclasses import replace

import pytest

from disc.check.decisions import (
    DECISIONS_FILE,
    Verdict,
    decided,
    decision_on,
    load_decisions,
    settle,
    stage_decisions,
    withdrawn,
)
from disc.errors import BadInput
from disc.job import create_job
from disc.records import Finding, Plate, Side

HOLE = Finding("in-doubt", Side.UPPER, 7.31, 359.9, 0.6, pin_id=5, tooth=3)
LEAN = Finding("bent", Side.UPPER, 7.31, 359.9, 0.99, pin_id=6)


def test_a_decision_survives_a_new_reading_with_other_numbers_and_kind():
    decision = decision_on(HOLE, Verdict.ACCEPTED, "wire found in the case", kind="missing")
    # 0.1 degrees at 7.31 mm are 0.013 mm; the angle goes over the stop slot; the check now calls it missing.
    again = replace(HOLE, kind="missing", theta_deg=0.1, r_mm=7.33, pin_id=41, probability=0.9)
    (settled,), unfit = settle([again], [decision])
    assert unfit == ()
    assert settled.verdict is Verdict.ACCEPTED and settled.finding.kind == "missing"
    assert settled.finding.probability == 1.0 and settled.as_found == again


@pytest.mark.parametrize(
    ("found", "said", "verdict", "kind", "probability"),
    [
        ("in-doubt", "missing", Verdict.ACCEPTED, "missing", 1.0),
        ("in-doubt", "abandoned", Verdict.ACCEPTED, "abandoned", 1.0),
        ("missing", "missing", Verdict.REJECTED, "abandoned", 1.0),  # the hole stays
        ("abandoned", "abandoned", Verdict.REJECTED, "missing", 1.0),
        ("missing", "missing", Verdict.DOUBT, "missing", 0.6),
    ],
)
def test_a_hole_is_decided_either_way(found, said, verdict, kind, probability):
    finding = replace(HOLE, kind=found)
    (settled,), _ = settle([finding], [decision_on(finding, verdict, kind=said)])
    assert (settled.finding.kind, settled.finding.probability) == (kind, probability)
    assert not settled.is_rejected


def test_a_rejected_lean_or_gap_is_left_out():
    gap = replace(HOLE, kind="missing", pin_id=None)
    settled, _ = settle([LEAN, gap], [decision_on(LEAN, Verdict.REJECTED), decision_on(gap, Verdict.REJECTED)])
    assert [s.is_rejected for s in settled] == [True, True]


def test_subjects_at_one_place_are_kept_apart_and_far_places_do_not_fit():
    on_hole = decision_on(HOLE, Verdict.REJECTED, kind="missing")
    far = replace(on_hole, theta_deg=10.0)
    other_face = replace(on_hole, side=Side.LOWER)
    (settled,), unfit = settle([LEAN], [on_hole, far, other_face])
    assert settled.decision is None and unfit == (on_hole, far, other_face)


def test_a_later_decision_takes_the_place_of_the_earlier_and_can_be_withdrawn():
    first = decision_on(HOLE, Verdict.DOUBT)
    second = decision_on(replace(HOLE, r_mm=7.35), Verdict.ACCEPTED, kind="missing")
    both = decided(decided((), first), second)
    assert both == (second,)
    assert decided(both, decision_on(LEAN, Verdict.ACCEPTED))[0] == second
    assert withdrawn(both, HOLE) == ()


def test_written_and_read_back_and_damaged(tmp_path):
    job = create_job(tmp_path / "watch", Plate(25.0))
    assert load_decisions(job) == ()
    decisions = (decision_on(HOLE, Verdict.ACCEPTED, "grün, “sicher”", "2026-01-02T03:04:05+00:00", "missing"),)
    with job.step("decide") as stage:
        stage_decisions(stage, decisions)
    assert load_decisions(job) == decisions
    text = job.path(DECISIONS_FILE).read_text(encoding="utf-8")
    job.path(DECISIONS_FILE).write_text(text.replace('"missing"', '"gone"'), encoding="utf-8")
    with pytest.raises(BadInput, match=r"decisions\.json: the list of decisions is damaged .*'gone'.* move it away"):
        load_decisions(job)
