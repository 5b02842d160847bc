"""The session without a browser: what lies on disk after each act, after a restart, and after a kill."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from disc.check.check_job import check_job
from disc.comb.comb_job import fixed_teeth
from disc.desk.open_job.history import ValueChange
from disc.desk.open_job.session import Session
from disc.desk.page.findings import page_findings
from disc.desk.page.score import page_score
from disc.desk.server import server
from disc.desk.work.decide import decide
from disc.errors import BadInput
from disc.job import open_for_writing, open_job
from disc.job.schema import SCHEMA_VERSION
from disc.records import Condition
from disc.tables import format_pins, read_pins

from .rig import make_job, pins


@pytest.fixture
def session(tmp_path):
    made = Session(make_job(tmp_path / "watch"))
    yield made
    made.close()


def test_an_edit_answers_with_the_changed_pin_alone(session):
    answer = session.change({"do": "change", "pins": [3], "changes": {"condition": "bent"}})
    session.page_change()
    answer = session.change({"do": "change", "pins": [5], "changes": {"condition": "stub", "height_mm": "0"}})
    assert [pin["id"] for pin in answer["pins"]] == [5] and answer["gone"] == []
    assert answer["pins"][0]["condition"] == "stub"
    saved = {pin.id: pin for pin in read_pins(session.folder / "pins.csv")}
    assert saved[5].condition is Condition.STUB and saved[5].height_mm == 0.0 and saved[3].condition is Condition.BENT


def test_a_pin_moved_to_another_track_gets_its_tooth_and_keeps_one_given_by_hand(session):
    teeth = {tooth.number: tooth for tooth in open_job(session.folder).comb().teeth}
    pin = next(p for p in session.pins if p.side == "upper" and p.tooth is not None)
    other = next(t for t in teeth.values() if t.side is pin.side and t.number != pin.tooth)
    session.change({"do": "move", "pin": pin.id, "r_mm": other.tip_r_mm, "theta_deg": pin.theta_deg})
    assert next(p for p in session.pins if p.id == pin.id).tooth == other.number
    session.change({"do": "change", "pins": [pin.id], "changes": {"tooth": pin.tooth}})
    job = open_job(session.folder)
    assert next(p for p in session.pins if p.id == pin.id).tooth == pin.tooth
    assert fixed_teeth(job, job.comb())[pin.id] == pin.tooth


def test_undo_of_everything_restores_every_file_that_was_changed(session):
    folder = session.folder
    watched = ("pins.csv", "comb.csv")
    before = {name: (folder / name).read_bytes() for name in watched}
    plate = open_job(folder).plate
    session.change({"do": "remove", "pins": [1, 2, 7]})
    session.set_values(
        "metre", (ValueChange("settings", "metre", None, "3/4"), ValueChange("plate", "revolution_s", 40.0, 50.0))
    )
    session.change({"do": "add", "side": "lower", "r_mm": 12.9, "theta_deg": 123.0})
    session.set_values(
        "comb", (ValueChange("comb", "comb.csv", before["comb.csv"].decode(), "number,side,tip_r_mm\n1,upper,5\n"),)
    )
    session.change({"do": "note", "pins": [9], "note": "look again"})
    assert open_job(folder).plate.revolution_s == 50.0 and len(open_job(folder).comb().teeth) == 1
    session.go_to(0)
    assert {name: (folder / name).read_bytes() for name in watched} == before
    assert open_job(folder).plate == plate and "metre" not in open_job(folder).settings
    session.go_to(5)
    assert open_job(folder).plate.revolution_s == 50.0 and len(open_job(folder).comb().teeth) == 1
    assert len(session.notes[9]) == 1


def test_a_refused_edit_changes_no_file(session):
    before = {path: path.read_bytes() for path in session.folder.iterdir() if path.is_file()}
    with pytest.raises(BadInput, match=r"pin \d+ stands within 0.3 mm of there"):
        pin = session.pins[0]
        session.change({"do": "add", "side": pin.side.value, "r_mm": pin.r_mm, "theta_deg": pin.theta_deg})
    assert {path: path.read_bytes() for path in session.folder.iterdir() if path.is_file()} == before


def test_a_table_edited_in_a_spreadsheet_becomes_a_step_that_can_be_undone(session):
    session.change({"do": "change", "pins": [3], "changes": {"condition": "bent"}})
    path = session.folder / "pins.csv"
    kept = [pin for pin in read_pins(path) if pin.id != 11]
    path.write_text(format_pins(kept), encoding="utf-8")
    with open_for_writing(session.folder):
        pass
    session.notice_outside_change()
    assert [step.words for step in session.history.steps][-1] == "edited in the table"
    assert 11 not in {pin.id for pin in session.pins}
    session.go_to(0)
    assert {pin.id for pin in session.pins} == {pin.id for pin in pins()}


def test_the_score_is_engraved_in_whatever_thread_asks_for_it(session):
    """The engraver keeps the place of its fonts for each thread; the page and the step "score" use different ones."""
    session.wait_for_thoughts()
    for _ in range(2):
        with ThreadPoolExecutor(1) as thread:
            assert thread.submit(page_score, session).result()["pages"]


def test_a_decision_is_in_force_at_once(tmp_path):
    folder = make_job(tmp_path / "watch")
    with open_for_writing(folder) as job:
        check_job(job)
    session = Session(folder)
    session.wait_for_thoughts()
    found = session.checked.settled[0].as_found
    where = {"kind": found.kind, "side": found.side.value, "r_mm": found.r_mm, "theta_deg": found.theta_deg}
    decide(session, {"finding": where, "verdict": "rejected", "reason": "so it was made"})
    assert page_findings(session.checked)["findings"][0]["verdict"] == "rejected"  # before anything is checked anew
    session.close()


def test_the_look_for_changes_of_other_commands_never_meets_an_edit(session, monkeypatch):
    """An edit half written looks like another command's change; the desk once tripped over its own lock there."""
    monkeypatch.setattr(server, "OUTSIDE_LOOK_S", 0.0005)
    told = []
    session.news.send = lambda kind, content: told.append(kind)

    async def work():
        ended = asyncio.Event()
        watch = asyncio.create_task(server.watch_until(ended, session))
        for number in range(20):
            note = {"do": "note", "pins": [1 + number], "note": "x"}
            await asyncio.get_running_loop().run_in_executor(session.bench, session.change, note)
        assert not watch.done()
        ended.set()
        await watch

    with ThreadPoolExecutor(1) as thread:  # in the main thread the browser's driver has a loop of its own
        thread.submit(asyncio.run, work()).result()
    assert session.history.done == 20 and "reload" not in told and "trouble" not in told


def test_a_change_made_by_another_command_is_noticed(session):
    session.wait_for_thoughts()
    with open_for_writing(session.folder) as job, job.step("other"):
        job.settings["title"] = "from elsewhere"
    before = session.rev
    session.notice_outside_change()
    assert session.rev > before and session.job.settings["title"] == "from elsewhere"
    session.notice_outside_change()
    assert session.rev == before + 1


def test_runs_do_not_pile_up(session):
    for index in range(5):
        session.change({"do": "note", "pins": [1 + index], "note": "x"})
    assert [run.command for run in open_job(session.folder).content.runs].count("desk") == 1


KILLED = """
import sys
from pathlib import Path
from disc.desk.open_job.session import Session
session = Session(Path(sys.argv[1]))
number = 0
while True:
    pin = session.pins[number % len(session.pins)]
    session.change({"do": "note", "pins": [pin.id], "note": f"note {number}"})
    print(number, flush=True)
    number += 1
"""


@pytest.mark.parametrize("after_s", [0.01, 0.05, 0.11, 0.17])
def test_killed_at_any_moment_every_confirmed_edit_is_there(tmp_path, after_s):
    folder = make_job(tmp_path / "watch")
    process = subprocess.Popen([sys.executable, "-c", KILLED, str(folder)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    for _ in range(3):
        confirmed = int(process.stdout.readline())
    time.sleep(after_s)
    os.kill(process.pid, signal.SIGKILL)
    rest = process.communicate()[0].split()
    confirmed = int(rest[-1]) if rest else confirmed
    session = Session(folder)
    notes = [c.note for c in session.job.corrections()[0]]
    # Every edit that was confirmed, and at most the one that was under way.
    assert notes[: confirmed + 1] == [f"note {i}" for i in range(confirmed + 1)] and len(notes) <= confirmed + 2
    assert session.history.done == len(notes)
    assert json.loads((folder / "job.json").read_text())["schema_version"] == SCHEMA_VERSION
    session.close()
