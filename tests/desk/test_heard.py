"""A recorded turn laid over the pins, from what listening stored of it."""

from __future__ import annotations

import json

import numpy as np
import pytest

from disc.comb.strikes import strikes_from_pins
from disc.desk.open_job.events import News
from disc.desk.open_job.heard import page_heard
from disc.desk.open_job.session import Session
from disc.job import open_for_writing

REVOLUTION_S, BEGUN = 47.0, 0.3  # seconds of the recorded turn, and which part of it had passed when it began


@pytest.fixture
def listened(job):
    """The sample with the result of a recorded turn: (folder, strikes)."""
    return job, _store(job)


def _store(folder, change=lambda content: content):
    with open_for_writing(folder) as opened:
        strikes = strikes_from_pins(opened.pins(), opened.comb(), opened.plate, as_it_stands=True)
        at = [((s.turn_deg / 360.0 - BEGUN) % 1.0) * REVOLUTION_S for s in strikes]
        rows = sorted(zip(at, strikes, strict=True), key=lambda row: row[0])
        times = np.linspace(0.0, REVOLUTION_S, 50)
        content = {
            "schema": 1,
            "turn": {
                "onsets": [[t, 70.0, s.tooth] for t, s in rows] + [[20.0, 70.0, None]],
                "revolution_s": REVOLUTION_S,
            },
            "course": [[t, BEGUN + t / REVOLUTION_S] for t in times],
            "onset_pins": [s.pin_id for _, s in rows] + [None],
            "findings": [],
        }
        with opened.step("listen") as stage:
            stage.write_text("out/listen.json", json.dumps(change(content)))
            opened.content.results["listen"] = {"file": "turn.wav"}
    return strikes


def _heard(folder, strikes):
    with open_for_writing(folder) as opened:
        return page_heard(opened, strikes), opened.plate


def test_each_sound_stands_at_its_pin_and_its_place(listened):
    folder, strikes = listened
    heard, plate = _heard(folder, strikes)
    assert heard["why"] == "" and heard["revolution_s"] == REVOLUTION_S
    by_pin = {s.pin_id: s for s in strikes}
    found = [row for row in heard["sounds"] if row[3] is not None]
    assert len(found) == len(strikes)
    for _, second, tooth, pin in found:
        assert tooth == by_pin[pin].tooth
        assert second == pytest.approx(by_pin[pin].turn_deg / 360.0 * plate.revolution_s, abs=0.01)
    assert heard["path"][0] == pytest.approx([0.0, BEGUN])
    assert [row for row in heard["sounds"] if row[3] is None] == [
        [20.0, pytest.approx((BEGUN + 20.0 / REVOLUTION_S) * plate.revolution_s, abs=0.01), None, None]
    ]


def test_a_pin_taken_away_loses_its_sound_only(listened):
    folder, strikes = listened
    heard, _ = _heard(folder, strikes[1:])
    assert {row[3] for row in heard["sounds"]} == {None, *(s.pin_id for s in strikes[1:])}


def test_other_pins_are_not_laid_under_the_recording(listened):
    folder, strikes = listened
    heard, _ = _heard(folder, strikes[: len(strikes) // 3])
    assert "does not lie on the pins" in heard["why"] and heard["sounds"] == []


def test_what_an_earlier_version_stored_is_to_be_compared_again(job):
    strikes = _store(job, lambda content: {k: v for k, v in content.items() if k != "course"})
    assert "Compare the recording again" in _heard(job, strikes)[0]["why"]


def test_the_desk_lays_it_over_the_turn_as_resolved(listened):
    """Where no tip was measured the pins strike all the same: their tips are estimated, once, for everything."""
    folder, strikes = listened
    lines = (folder / "comb.csv").read_text(encoding="utf-8").splitlines()
    at = lines[0].split(",").index("tip_theta_deg")
    bare = [",".join("" if i == at else cell for i, cell in enumerate(line.split(","))) for line in lines[1:]]
    (folder / "comb.csv").write_text("\n".join([lines[0], *bare]) + "\n", encoding="utf-8")
    news = News()
    told = []
    news.send = lambda kind, content: told.append((kind, content))
    session = Session(folder, news)
    try:
        session.wait_for_thoughts()
        pins = {row[3] for row in session.heard_now()["sounds"] if row[3] is not None}
        assert pins == {s.pin_id for s in strikes}
        assert [content["heard"] for kind, content in told if kind == "music"][-1] == session.heard_now()
        session.derived_rev = -1  # asked before what follows is worked out
        assert {row[3] for row in session.heard_now()["sounds"] if row[3] is not None} == pins
    finally:
        session.close()


@pytest.mark.parametrize("course", [[], [[0.0]], "x", [[0.0, None], [1.0, 1.0]]])
def test_a_damaged_course_is_said(job, course):
    strikes = _store(job, lambda content: content | {"course": course})
    assert "damaged" in _heard(job, strikes)[0]["why"]
