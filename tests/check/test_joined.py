"""What other rooms bring: findings of a recorded turn, a known tune kept in the job, an identified tune."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.check.check_disc import judge
from disc.check.evidence import combine
from disc.check.music.known_file import KNOWN_FILE, load_known, stage_known
from disc.check.recorded import join_recorded
from disc.errors import BadInput
from disc.job import create_job
from disc.library.records import ReferenceTune, TuneKey
from disc.records import Condition, Evidence, Finding, Side

from .making import COMB, PLATE, sound_disc, tune, turn_of

PINS = sound_disc()


def heard_of(pin, kind: str, words: str = "heard") -> Finding:
    return Finding(kind, pin.side, pin.r_mm, pin.theta_deg, 0.9, (Evidence("heard", words, 2.0),), pin.id, pin.tooth)


def test_a_silent_strike_joins_with_its_bar_and_the_number_the_pin_has_now():
    old = replace(PINS[12], id=999, r_mm=PINS[12].r_mm + 0.05)
    (finding,) = judge(turn_of(PINS, tune()), recorded=(heard_of(old, "silent-strike"),)).findings
    assert (finding.kind, finding.pin_id, finding.tooth) == ("silent-strike", PINS[12].id, PINS[12].tooth)
    assert finding.bar is not None


def test_a_recording_older_than_the_loss_of_a_pin_is_left_out():
    gone = replace(PINS[12], condition=Condition.MISSING)
    assert join_recorded((), (heard_of(PINS[12], "silent-strike"),), (gone,)) == ()
    assert join_recorded((), (heard_of(PINS[12], "silent-strike"),), ()) == ()


def test_the_same_fault_seen_and_heard_is_one_finding_and_surer():
    seen = replace(heard_of(PINS[4], "off-beat"), probability=0.8, evidence=(Evidence("seen", "late", 2.0),))
    (both,) = join_recorded((seen,), (heard_of(PINS[4], "off-beat"),), PINS)
    # odds 4 to 1 times e**2
    assert both.probability == pytest.approx(4 * np.e**2 / (1 + 4 * np.e**2))
    assert [e.kind for e in both.evidence] == ["seen", "heard"]
    assert both.probability > combine(0.5, both.evidence[1:])


def test_an_extra_sound_is_about_no_pin_and_gaps_are_kept_apart():
    sound = Finding("extra-sound", Side.UPPER, 7.0, 10.0, 0.8, (Evidence("heard", "e", 2.0),), None, 3)
    gaps = tuple(Finding("missing", Side.UPPER, 7.0, float(t), 0.8, (), None, 3) for t in (20, 40))
    assert join_recorded(gaps, (sound, replace(sound, theta_deg=50.0)), PINS) == (
        *gaps,
        sound,
        replace(sound, theta_deg=50.0),
    )


def reference() -> ReferenceTune:
    ticks = np.arange(12, dtype=np.int64) * 10080
    return ReferenceTune(
        TuneKey("aird.abc", 7), "Two strains", "own", ticks, ticks + 1, ticks % 7 + 60, ticks // 20160 + 1, (2, 4), -1
    )


def test_the_known_tune_is_kept_and_taken_away_again(tmp_path):
    job = create_job(tmp_path / "watch", PLATE)
    assert load_known(job) is None
    with job.step("check") as stage:
        stage_known(stage, reference())
    back = load_known(job)
    assert back is not None and (back.key, back.title, back.metre, back.fifths) == (
        TuneKey("aird.abc", 7), "Two strains", (2, 4), -1,
    )  # fmt: skip
    for name in ("onset_tick", "duration_tick", "pitch", "bar"):
        assert np.array_equal(getattr(back, name), getattr(reference(), name))
    with job.step("check") as stage:
        stage_known(stage, None)
    assert load_known(job) is None
    job.path(KNOWN_FILE).write_text("{}", encoding="utf-8")
    with pytest.raises(BadInput, match=r"known\.json: the known tune is damaged .*Run disc check .*watch again"):
        load_known(job)


def test_a_tune_that_was_only_found_is_no_judge_and_is_asked_about(tmp_path):
    from disc.check.check_job import check_job

    job = create_job(tmp_path / "watch", PLATE)
    with job.step("read") as stage:
        job.stage_comb(stage, COMB)
        job.stage_reading(stage, PINS)
    job.content.results["identify"] = {"matches": [{"file": "a.abc", "number": 7, "probability": 0.99, "title": "Two"}]}
    checked = check_job(job)
    assert checked.summary["known_tune"] is None and load_known(job) is None
    (asked,) = (doubt for doubt in checked.doubts if "'Two'" in doubt.say)
    assert "--accept 1" in asked.advice
