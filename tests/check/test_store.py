"""out/findings.json there and back, and what is said of a damaged one."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from disc.check.kinds import KINDS, Kind, Subject, WorkKind
from disc.check.sentences import finding_line, summary_line
from disc.check.store import (
    FINDINGS,
    FINDINGS_FILE,
    finding_to_json,
    load_findings,
    load_summary,
    stage_findings,
)
from disc.errors import BadInput
from disc.job import create_job
from disc.records import Evidence, Finding, Plate, Side
from disc.stored import json_text
from disc.turn.places import beat_words

FINDING = Finding(
    "missing", Side.UPPER, 7.31, 121.4, 0.97,
    (Evidence("heard", "the same strike is there in bar 4", 2.5), Evidence("seen", "an empty hole on the track", 1.0),
     Evidence("heard", "hardly worth telling", 0.1)),
    pin_id=None, tooth=5, bar=12, beat=Fraction(5, 2),
)  # fmt: skip

whole = st.none() | st.integers(0, 400)
findings = st.builds(
    Finding,
    kind=st.sampled_from([k.value for k in Kind]),
    side=st.sampled_from(Side),
    r_mm=st.floats(0, 50),
    theta_deg=st.floats(0, 360, exclude_max=True),
    probability=st.floats(0, 1),
    evidence=st.lists(
        st.builds(Evidence, st.sampled_from(["seen", "heard"]), st.text(), st.floats(-9, 9).map(lambda w: round(w, 4))),
        max_size=3,
    ).map(tuple),
    pin_id=whole, tooth=whole, bar=whole, beat=st.none() | st.fractions(1, 9),
)  # fmt: skip


@given(findings)
def test_there_and_back(finding):
    text = json_text({"schema": FINDINGS.schema, "findings": [finding_to_json(finding)]})
    assert FINDINGS.parse(text, Path("findings.json")).findings == (finding,)


def test_stored_in_a_job_and_read_back(tmp_path):
    job = create_job(tmp_path / "watch", Plate(25.0))
    assert load_findings(job) == () and load_summary(job) == {}
    with job.step("check") as stage:
        stage_findings(stage, (FINDING,), {"setting_error_s": 0.02})
    assert load_findings(job) == (FINDING,) and load_summary(job) == {"setting_error_s": 0.02}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "damaged"),
        ("{}", "damaged"),
        ('{"schema": 1, "findings": [{"kind": "missing"}]}', "damaged .*Make it again: disc check .*watch"),
        ('{"schema": 99, "findings": []}', "schema 99, this program knows 1. Update the program"),
    ],
)
def test_a_damaged_file_is_named(tmp_path, text, words):
    job = create_job(tmp_path / "watch", Plate(25.0))
    job.path(FINDINGS_FILE).write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=rf"findings\.json: .*{words}"):
        load_findings(job)


def test_the_sentence_a_restorer_reads():
    assert finding_line(FINDING) == (
        "missing pin, upper face, r 7.31 mm, 121.4 degrees, tooth 5, bar 12, beat 2½, 97 %: "
        "an empty hole on the track (seen); the same strike is there in bar 4 (heard)"
    )
    assert beat_words(Fraction(3)) == "3"
    assert summary_line([FINDING, FINDING]) == "2 x missing pin"
    assert summary_line([]) == "Nothing found that needs a hand."


def test_every_kind_has_its_line():
    assert set(KINDS) == set(Kind)
    assert {KINDS[k].subject for k in (Kind.MISSING, Kind.ABANDONED, Kind.IN_DOUBT)} == {Subject.SITE}
    assert KINDS[Kind.ABANDONED].work is WorkKind.LEAVE
